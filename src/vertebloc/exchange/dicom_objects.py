"""What every DICOM object that is written about a case says: who, when, of which study."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.uid import UID

from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange.dicom_write import IMPLEMENTATION, identifier, person_name
from vertebloc.exchange.masks import BoxedMask
from vertebloc.space.frames import Side

OWN_SCHEME = "99VERTEBLOC"  #: DICOM lets private code schemes begin with 99


@dataclass(frozen=True, slots=True, kw_only=True)
class ObjectSettings:
    """Whose outlines they are and where they belong."""

    seed_text: str  #: every identifier that is new follows from it
    made_at: datetime  #: with a zone offset
    identity: Identity
    study_uid: str = ""  #: empty: a new one
    frame_of_reference_uid: str = ""  #: empty: a new one
    study_id: str = ""  #: the study's short name
    author: str = ""  #: who answers for the outlines

    def completed(self) -> ObjectSettings:
        """The same with new identifiers where there were none."""
        if self.made_at.tzinfo is None:
            raise InputError(f"the time needs a zone offset, got {self.made_at}")
        return replace(
            self,
            study_uid=self.study_uid or identifier(self.seed_text, "study"),
            frame_of_reference_uid=self.frame_of_reference_uid
            or identifier(self.seed_text, "frame of reference"),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class AboutObject:
    """What an object of regions says it holds."""

    label: str  #: in capitals, at most 16 letters
    description: str
    series: str  #: description of its series, at most 64 letters
    algorithm: str = ""  #: name of what computed the regions; empty: drawn by people


OUTLINES = AboutObject(
    label="OUTLINES",
    description="outlines, planning aid: verify against the images",
    series="outlines, planning aid",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """A named part of the images, as an object of regions holds it."""

    words: str
    description: str
    category: Dataset  #: code of what kind of thing
    kind: Dataset  #: code of the thing itself
    side: Side | None = None
    therapy_kind: str  #: DICOM's word for a structure set; may be empty
    mask: BoxedMask | None  #: None: no voxel


def region_of(contour: Contour, mask: BoxedMask | None) -> Region:
    """An outline as a region.

    Parameters
    ----------
    contour : Contour
        What it is of.
    mask : BoxedMask or None
        Where it is.

    Returns
    -------
    Region
        With its codes.
    """
    return Region(
        words=contour.words,
        description=contour.words,
        category=category_of(contour),
        kind=type_of(contour),
        side=contour.side,
        therapy_kind=_THERAPY.get(contour.structure, "ORGAN"),
        mask=mask,
    )


_THERAPY = {Structure.TUMOUR: "GTV", Structure.SKIN: "EXTERNAL", Structure.IMPLANT: "FIXATION"}


def start_object(sop_class: UID, syntax: UID, modality: str, settings: ObjectSettings) -> Dataset:
    """Begin an object: file meta group, person, study, series, equipment.

    Parameters
    ----------
    sop_class : UID
        What kind of object.
    syntax : UID
        Transfer syntax.
    modality : str
        Such as SEG.
    settings : ObjectSettings
        Already completed.

    Returns
    -------
    Dataset
        To which the object's own elements are added.
    """
    seed, when = settings.seed_text, settings.made_at
    day, clock = when.strftime("%Y%m%d"), when.strftime("%H%M%S")
    meta = FileMetaDataset()
    meta.TransferSyntaxUID = syntax
    meta.MediaStorageSOPClassUID = sop_class
    meta.MediaStorageSOPInstanceUID = identifier(seed, f"{modality} object")
    meta.ImplementationClassUID = IMPLEMENTATION
    meta.ImplementationVersionName = "VERTEBLOC"
    dataset = Dataset()
    dataset.file_meta = meta
    who = settings.identity
    for keyword, value in {
        "SpecificCharacterSet": "ISO_IR 192",
        "SOPClassUID": sop_class,
        "SOPInstanceUID": meta.MediaStorageSOPInstanceUID,
        "StudyDate": day,
        "StudyTime": clock,
        "SeriesDate": day,
        "SeriesTime": clock,
        "ContentDate": day,
        "ContentTime": clock,
        "InstanceCreationDate": day,
        "InstanceCreationTime": clock,
        "TimezoneOffsetFromUTC": when.strftime("%z")[:5],
        "AccessionNumber": "",
        "Modality": modality,
        "Manufacturer": "vertebloc",
        "ManufacturerModelName": "vertebloc",
        "DeviceSerialNumber": "none",
        "SoftwareVersions": "vertebloc",
        "ReferringPhysicianName": "",
        "SeriesDescription": "outlines, planning aid",
        "PatientName": person_name(who.name),
        "PatientID": who.number,
        "PatientBirthDate": who.birth_date.replace("-", ""),
        "PatientSex": "",
        "StudyInstanceUID": settings.study_uid,
        "SeriesInstanceUID": identifier(seed, f"{modality} series"),
        "StudyID": settings.study_id,
        "SeriesNumber": 1,
        "InstanceNumber": 1,
        "CodingSchemeIdentificationSequence": [_own_scheme()],
        "FrameOfReferenceUID": settings.frame_of_reference_uid,
        "PositionReferenceIndicator": "",
    }.items():
        setattr(dataset, keyword, value)
    return dataset


def _own_scheme() -> Dataset:
    """Whose the codes are that are not SNOMED CT's."""
    item = Dataset()
    item.CodingSchemeDesignator, item.CodingSchemeName = OWN_SCHEME, "words of vertebloc"
    item.CodingSchemeResponsibleOrganization = "vertebloc"
    return item


def coded(value: str, meaning: str, scheme: str = "SCT") -> Dataset:
    """A coded concept.

    Parameters
    ----------
    value, meaning : str
        The code and what it says.
    scheme : str
        Who defined it: SCT is SNOMED CT.

    Returns
    -------
    Dataset
        One item of a code sequence.
    """
    item = Dataset()
    item.CodeValue, item.CodingSchemeDesignator, item.CodeMeaning = value, scheme, meaning[:64]
    return item


def type_of(contour: Contour) -> Dataset:
    """The coded type of an outline; our own code where SNOMED CT's was not checked.

    Parameters
    ----------
    contour : Contour
        The outline.

    Returns
    -------
    Dataset
        One item of a code sequence.
    """
    known = contour.snomed
    if known is not None:
        return coded(known.value, known.meaning)
    return coded(contour.structure.name[:16], contour.structure.value, OWN_SCHEME)


def category_of(contour: Contour) -> Dataset:
    """The coded category of an outline: tissue that is ill, a thing put in, or anatomy.

    Parameters
    ----------
    contour : Contour
        The outline.

    Returns
    -------
    Dataset
        One item of a code sequence.
    """
    if contour.structure in (Structure.TUMOUR, Structure.SCAR, Structure.TRACT):
        return coded("49755003", "Morphologically Altered Structure")
    if contour.structure is Structure.IMPLANT:
        return coded("260787004", "Physical object")
    return coded("123037004", "Anatomical Structure")


def side_of(side: Side) -> Dataset:
    """The coded side.

    Parameters
    ----------
    side : Side
        Left or right.

    Returns
    -------
    Dataset
        One item of a code sequence.
    """
    return coded("7771000", "Left") if side is Side.LEFT else coded("24028007", "Right")
