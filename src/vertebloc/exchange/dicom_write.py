"""A CT or MR volume out as a DICOM series: the same input gives the same bytes."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.uid import CTImageStorage, ExplicitVRLittleEndian, MRImageStorage
from pydicom.valuerep import format_number_as_ds

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange.aside import write_folder_aside
from vertebloc.space import tolerances
from vertebloc.space.grids import Grid, Volume

_NAMESPACE = uuid.UUID("6f1d3c1e-7f0e-5b7a-9a52-5d1f3a0b6c11")  # ours; makes all identifiers
IMPLEMENTATION = "2.25." + str(uuid.uuid5(_NAMESPACE, "vertebloc").int)


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesSettings:
    """What a written series says about itself."""

    seed_text: str  #: every identifier follows from it: same text, same identifiers
    made_at: datetime  #: date and time written into the series; with a zone offset
    description: str  #: of the series
    study_description: str = ""
    kvp: float = 120.0  #: tube voltage, kV; assumed where nothing was scanned
    patient_position: str = "HFS"
    body_part: str = "TSPINE"  #: DICOM's word; an unpaired part, so that no side is needed
    contrast: str = ""
    sex: str = ""  #: M, F, O or empty
    kind: str = "CT"  #: ``CT``, or ``MR``: then the tube voltage is not written


def write_dicom_series(
    folder: Path, volume: Volume, identity: Identity, settings: SeriesSettings
) -> tuple[Path, ...]:
    """Write a volume as a series of CT or MR images, one file a slice.

    Parameters
    ----------
    folder : Path
        The new folder; must not exist yet, or be empty.
    volume : Volume
        Whole values within int16: HU for CT, the scanner's own for MR.
    identity : Identity
        Who it is said to be of.
    settings : SeriesSettings
        Descriptions, date and the text all identifiers follow from.

    Returns
    -------
    tuple of Path
        The files, by slice index.

    Raises
    ------
    InputError
        If the folder holds something, values do not fit int16, rows and columns are not
        perpendicular, or the time has no zone offset.

    Notes
    -----
    CT or MR Image Storage, explicit VR little endian, signed 16 bits; a CT with rescale slope
    1 and intercept 0, an MR without a rescale. The files are written in a folder beside it
    that is then renamed.
    """
    stored = _stored_values(volume)
    common = _common(volume, identity, settings)
    names = [f"{settings.kind.lower()}_{k + 1:04d}.dcm" for k in range(volume.grid.shape[2])]
    with write_folder_aside(folder) as aside:
        for k, name in enumerate(names):
            _slice(common, volume, k, stored[k], settings.seed_text).save_as(
                aside / name, enforce_file_format=True
            )
    return tuple(folder / name for name in names)


def _stored_values(volume: Volume) -> NDArray[np.int16]:
    """Slices in the order of the file's bytes: (k, j, i)."""
    values = np.asarray(volume.values)
    if values.dtype.kind not in "iu":
        raise InputError(
            "images are written with whole values, a CT with whole Hounsfield units, "
            f"got {values.dtype}"
        )
    low, high = int(values.min()), int(values.max())
    if low < -32768 or high > 32767:
        raise InputError(f"values from {low} to {high}: -32768 to 32767 can be written")
    return np.ascontiguousarray(values.transpose(2, 1, 0), dtype="<i2")


def _common(volume: Volume, identity: Identity, settings: SeriesSettings) -> Dataset:
    """Everything that all slices share."""
    if settings.made_at.tzinfo is None:
        raise InputError(f"the time of the series needs a zone offset, got {settings.made_at}")
    row, column, apart_mm = slice_directions(volume.grid)
    along_row, down_column = volume.grid.spacing_mm[:2]
    day, clock = settings.made_at.strftime("%Y%m%d"), settings.made_at.strftime("%H%M%S")
    seed = settings.seed_text
    shared: dict[str, object] = {
        "SpecificCharacterSet": "ISO_IR 192",
        "ImageType": ["ORIGINAL", "PRIMARY", "AXIAL"],
        "SOPClassUID": CTImageStorage,
        **{f"{event}Date": day for event in ("Study", "Series", "Acquisition", "Content")},
        **{f"{event}Time": clock for event in ("Study", "Series", "Acquisition", "Content")},
        "AccessionNumber": "",
        "Modality": "CT",
        "Manufacturer": "vertebloc",
        "ReferringPhysicianName": "",
        "StudyDescription": settings.study_description,
        "SeriesDescription": settings.description,
        "PatientName": person_name(identity.name),
        "PatientID": identity.number,
        "PatientBirthDate": identity.birth_date.replace("-", ""),
        "PatientSex": settings.sex,
        "BodyPartExamined": settings.body_part,
        "SliceThickness": decimal_text(apart_mm),
        "KVP": decimal_text(settings.kvp),
        "PatientPosition": settings.patient_position,
        "TimezoneOffsetFromUTC": settings.made_at.strftime("%z")[:5],
        "StudyInstanceUID": identifier(seed, "study"),
        "SeriesInstanceUID": identifier(seed, "series"),
        "FrameOfReferenceUID": identifier(seed, "frame of reference"),
        "StudyID": "1",
        "SeriesNumber": 1,
        "AcquisitionNumber": 1,
        "PositionReferenceIndicator": "",
        "ImageOrientationPatient": [decimal_text(value) for value in (*row, *column)],
        "SamplesPerPixel": 1,
        "PhotometricInterpretation": "MONOCHROME2",
        "Rows": volume.grid.shape[1],
        "Columns": volume.grid.shape[0],
        "PixelSpacing": [decimal_text(down_column), decimal_text(along_row)],
        "BitsAllocated": 16,
        "BitsStored": 16,
        "HighBit": 15,
        "PixelRepresentation": 1,
        "WindowCenter": 300,
        "WindowWidth": 1500,
        "RescaleIntercept": 0,
        "RescaleSlope": 1,
        "RescaleType": "HU",
    }
    if settings.contrast:
        shared["ContrastBolusAgent"] = settings.contrast
    if settings.kind == "MR":
        shared = {key: value for key, value in shared.items() if key not in _CT_ONLY} | _MR_ONLY
    dataset = Dataset()
    for keyword, value in shared.items():
        if value != "" or keyword in _MAY_BE_EMPTY:
            setattr(dataset, keyword, value)
    return dataset


def slice_directions(grid: Grid) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """Row and column direction, and the distance between slices along their normal.

    Parameters
    ----------
    grid : Grid
        The grid.

    Returns
    -------
    tuple of ((3,) float64, (3,) float64, float)
        Unit vectors in patient LPS, and mm.

    Raises
    ------
    InputError
        If rows and columns are not perpendicular.
    """
    matrix = grid.lps_from_ijk.matrix[:3, :3]
    row, column = matrix[:, 0] / grid.spacing_mm[0], matrix[:, 1] / grid.spacing_mm[1]
    if abs(row @ column) > tolerances.COSINE:
        raise InputError("rows and columns must be perpendicular to be written as DICOM")
    return row, column, abs(float(matrix[:, 2] @ np.cross(row, column)))


_CT_ONLY = ("KVP", "RescaleIntercept", "RescaleSlope", "RescaleType")
#: What DICOM part 3, C.8.3.1 demands of an MR; made up, since nothing was scanned.
_MR_ONLY: dict[str, object] = {
    "SOPClassUID": MRImageStorage,
    "Modality": "MR",
    "ImageType": ["ORIGINAL", "PRIMARY", "OTHER"],
    "ScanningSequence": "SE",
    "SequenceVariant": "SK",
    "ScanOptions": "",
    "MRAcquisitionType": "2D",
    "RepetitionTime": "3000",
    "EchoTime": "100",
    "EchoTrainLength": 16,
    "WindowCenter": 350,
    "WindowWidth": 700,
}

#: Elements that must be there even if nothing is known (type 2); others are left out.
_MAY_BE_EMPTY = frozenset(
    (
        "AccessionNumber",
        "ReferringPhysicianName",
        "PatientName",
        "PatientID",
        "PatientBirthDate",
        "PatientSex",
        "PositionReferenceIndicator",
        "ScanOptions",
    )
)


def _slice(
    common: Dataset, volume: Volume, k: int, stored: NDArray[np.int16], seed: str
) -> Dataset:
    """One image: what all share, and its place, number and pixels."""
    meta = FileMetaDataset()
    meta.TransferSyntaxUID = ExplicitVRLittleEndian
    meta.MediaStorageSOPClassUID = common.SOPClassUID
    meta.MediaStorageSOPInstanceUID = identifier(seed, f"image {k}")
    meta.ImplementationClassUID = IMPLEMENTATION
    meta.ImplementationVersionName = "VERTEBLOC"
    dataset = Dataset()
    dataset.update(common)
    dataset.file_meta = meta
    dataset.SOPInstanceUID = meta.MediaStorageSOPInstanceUID
    dataset.InstanceNumber = k + 1
    place = volume.grid.lps_from_ijk.points([0.0, 0.0, float(k)])[0]
    dataset.ImagePositionPatient = [decimal_text(value) for value in place]
    dataset.add_new("PixelData", "OW", stored.tobytes())
    return dataset


def identifier(seed_text: str, role: str) -> str:
    """Make a DICOM unique identifier that follows from a text.

    Parameters
    ----------
    seed_text : str
        Same text, same identifier.
    role : str
        What is identified.

    Returns
    -------
    str
        ``2.25.`` and the number of a name-based UUID, as DICOM part 5, B.2 describes.
    """
    return f"2.25.{uuid.uuid5(_NAMESPACE, f'{role}: {seed_text}').int}"


def person_name(name: str) -> str:
    """Turn a name as people write it into a DICOM person name.

    Parameters
    ----------
    name : str
        ``Family, Given Middle``; without a comma it is all family name.

    Returns
    -------
    str
        ``Family^Given Middle``.
    """
    family, _, given = (part.strip() for part in name.partition(","))
    return f"{family}^{given}" if given else family


def decimal_text(value: float) -> str:
    """A number as DICOM writes it in text.

    Parameters
    ----------
    value : float
        The number.

    Returns
    -------
    str
        At most 16 characters; a zero never has a sign.
    """
    return str(format_number_as_ds(round(float(value), 10) + 0.0))
