"""A PDF out as a DICOM object, so that it lies in the study beside the images."""

from __future__ import annotations

from pathlib import Path

from pydicom.uid import EncapsulatedPDFStorage, ExplicitVRLittleEndian

from vertebloc.errors import InputError
from vertebloc.exchange.aside import write_file_aside
from vertebloc.exchange.dicom_objects import ObjectSettings, start_object

_PDF_BEGINS = b"%PDF-"


def write_pdf_object(
    path: Path, pdf: bytes, title: str, series: str, settings: ObjectSettings
) -> None:
    """Write a PDF as Encapsulated PDF Storage.

    Parameters
    ----------
    path : Path
        The file; one that is there is replaced.
    pdf : bytes
        The document.
    title : str
        Of the document.
    series : str
        Description of its series, at most 64 letters.
    settings : ObjectSettings
        Who, when, of which study.

    Raises
    ------
    InputError
        If it is no PDF.

    Notes
    -----
    DICOM part 3, A.45.1. Explicit VR little endian. It is said to name the person, as a sheet
    does (Burned In Annotation), and not to be verified.
    """
    if not pdf.startswith(_PDF_BEGINS):
        raise InputError(f"{path}: what is to be written is no PDF: plan again")
    settings = settings.completed()
    dataset = start_object(EncapsulatedPDFStorage, ExplicitVRLittleEndian, "DOC", settings)
    # a document lies in no frame of reference, and holds no code of ours
    del dataset.FrameOfReferenceUID, dataset.PositionReferenceIndicator
    del dataset.CodingSchemeIdentificationSequence
    day, clock = settings.made_at.strftime("%Y%m%d"), settings.made_at.strftime("%H%M%S")
    for keyword, value in {
        "SeriesDescription": series,
        "ConversionType": "WSD",  # made at a workstation
        "AcquisitionDateTime": f"{day}{clock}",
        "BurnedInAnnotation": "YES",
        "DocumentTitle": title,
        "ConceptNameCodeSequence": [],
        "VerificationFlag": "UNVERIFIED",
        "MIMETypeOfEncapsulatedDocument": "application/pdf",
        "EncapsulatedDocumentLength": len(pdf),
    }.items():
        setattr(dataset, keyword, value)
    dataset.add_new("EncapsulatedDocument", "OB", pdf + b"\0" * (len(pdf) % 2))
    with write_file_aside(path) as file:
        dataset.save_as(file, enforce_file_format=True)
