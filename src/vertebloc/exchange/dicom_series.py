"""Which images of a folder make up one CT series; everything else is left out by name."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence

from pydicom.config import IGNORE
from pydicom.uid import UID

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange.dicom_header import ImageHeader

CT_IMAGE = "1.2.840.10008.5.1.4.1.1.2"
ENHANCED_CT = ("1.2.840.10008.5.1.4.1.1.2.1", "1.2.840.10008.5.1.4.1.1.2.2")
MR_IMAGE = "1.2.840.10008.5.1.4.1.1.4"
ENHANCED_MR = ("1.2.840.10008.5.1.4.1.1.4.1", "1.2.840.10008.5.1.4.1.1.4.4")
ENHANCED = (*ENHANCED_CT, *ENHANCED_MR)
#: kind of image -> the classes of objects that carry it
CLASSES = {"CT": (CT_IMAGE, *ENHANCED_CT), "MR": (MR_IMAGE, *ENHANCED_MR)}
_A = {"CT": "a CT", "MR": "an MR"}
_NO_SLICE = {
    "LOCALIZER": "a localiser (overview image)",
    "SCREEN SAVE": "a stored screen",
    "SCREENSAVE": "a stored screen",
    "DOSE REPORT": "a dose report",
}


def why_not_slice(header: ImageHeader, kind: str = "CT") -> str:
    """Why an object is no slice of the wanted kind.

    Parameters
    ----------
    header : ImageHeader
        The object's record.
    kind : str
        ``CT`` or ``MR``.

    Returns
    -------
    str
        The reason in words; empty if it is one.
    """
    if header.sop_class not in CLASSES[kind]:
        name = (
            UID(header.sop_class, IGNORE).name
            if header.sop_class
            else "an object that says not what it is"
        )
        return f"{name}: not {_A[kind]} image"
    for word, reason in _NO_SLICE.items():
        if word in header.image_type:
            return reason
    if header.samples != 1:
        return f"a colour picture: not {kind} values"
    if not header.rows or not header.columns:
        return f"{_A[kind]} object without an image"
    return ""


def choose_series(
    headers: Sequence[ImageHeader], series_uid: str | None, folder: str, kind: str = "CT"
) -> tuple[list[ImageHeader], tuple[str, ...]]:
    """Find the one series to read.

    Parameters
    ----------
    headers : sequence of ImageHeader
        All DICOM objects of the folder.
    series_uid : str or None
        The wanted series, if the folder holds several.
    folder : str
        Its name, for messages.
    kind : str
        ``CT`` or ``MR``.

    Returns
    -------
    images : list of ImageHeader
        The series' images, in the order given.
    left_out : tuple of str
        Every other object, with the reason.

    Raises
    ------
    InputError
        If no series or several come into question, or objects are of two people.
    """
    refuse_two_people(headers, folder)
    left_out, found = [], defaultdict(list)
    for header in headers:
        if reason := why_not_slice(header, kind):
            left_out.append(f"{header.label}: {reason}")
        else:
            found[header.series_uid].append(header)
    for uid, images in list(found.items()):
        if not any(h.position for h in images):
            left_out += [f"{h.label}: no position in the patient: not a slice" for h in images]
            del found[uid]
    if not found:
        reasons = f" (left out: {_some(left_out)})" if left_out else ""
        raise InputError(
            f"{folder} holds no {kind} series{reasons}: give the folder of {_A[kind]} series"
        )
    if series_uid is not None and series_uid not in found:
        raise InputError(
            f"{folder} holds no {kind} series {series_uid}; it holds {_listing(found)}"
        )
    if series_uid is None and len(found) > 1:
        raise InputError(
            f"{folder} holds {len(found)} {kind} series: {_listing(found)}: choose one by its "
            "number (see vertebloc import SOURCE --list) or series UID, or give a folder that "
            "holds only one"
        )
    chosen = series_uid if series_uid is not None else next(iter(found))
    for uid, images in found.items():
        if uid != chosen:
            left_out += [f"{h.label}: of another series, {_described(h)}" for h in images]
    return found[chosen], tuple(left_out)


def refuse_mixed_series(images: Sequence[ImageHeader], kind: str = "CT") -> None:
    """Make sure that a series' images belong together and that their values have a meaning.

    Parameters
    ----------
    images : sequence of ImageHeader
        The series.
    kind : str
        ``CT`` or ``MR``; only a CT's values must be Hounsfield units.

    Raises
    ------
    InputError
        If a property that must be the same is not, or one that is needed is missing.
    """
    for image in images:
        missing = [
            title
            for title, value in (
                ("Image Position (Patient)", image.position),
                ("Image Orientation (Patient)", image.orientation),
                ("Pixel Spacing", image.spacing),
                ("Rescale Slope", image.slope is not None),
                ("Rescale Intercept", image.intercept is not None),
            )
            if not value
        ]
        if missing:
            raise InputError(
                f"{image.label} has no {' and no '.join(missing)}: where it lies and what its "
                "values mean is not known; export the series again with complete headers"
            )
        _refuse_odd_values(image, kind)
    for title, values in (
        ("image size (columns x rows)", [f"{h.columns} x {h.rows}" for h in images]),
        ("pixel spacing", [" x ".join(f"{mm:g}" for mm in h.spacing) + " mm" for h in images]),
        ("study", [h.study_uid for h in images]),
        ("frame of reference", [h.frame_uid for h in images]),
        ("identity of the patient", [h.identity.words for h in images]),
    ):
        refuse_different(title, values, images)


def refuse_different(title: str, values: Sequence[str], images: Sequence[ImageHeader]) -> None:
    """Refuse a series whose images differ in something.

    Parameters
    ----------
    title : str
        What must be the same.
    values : sequence of str
        It, for each image, in words.
    images : sequence of ImageHeader
        The images.

    Raises
    ------
    InputError
        If there are two values or more.
    """
    if len(set(values)) <= 1:
        return
    holders = defaultdict(list)
    for value, image in zip(values, images, strict=True):
        holders[value].append(image.label)
    parts = [f"{value or 'none'} in {_some(labels)}" for value, labels in holders.items()]
    raise InputError(
        f"the series mixes {len(parts)} values of {title}: {'; '.join(parts[:4])}: move "
        "the images that do not belong into another folder"
    )


def _refuse_odd_values(image: ImageHeader, kind: str) -> None:
    if kind == "CT" and image.rescale_type not in ("", "HU", "US"):
        raise InputError(
            f"{image.label}: its values are of type {image.rescale_type!r}, not Hounsfield units "
            "(HU): give a plain CT series"
        )
    if image.frames != 1 and image.frame is None:
        raise InputError(
            f"{image.label} holds {image.frames} frames but is no multi-frame CT or MR (enhanced "
            "storage), so where they lie is not known: export the series again as single images"
        )
    if image.bits_allocated not in (8, 16, 32) or image.high_bit != image.bits_stored - 1:
        raise InputError(
            f"{image.label}: {image.bits_stored} bits up to bit {image.high_bit} in "
            f"{image.bits_allocated} allocated: 8, 16 or 32 allocated bits, with the stored ones "
            "lowest, can be read"
        )
    if min(image.spacing) <= 0 or image.slope == 0:
        raise InputError(
            f"{image.label}: Pixel Spacing {image.spacing} and Rescale Slope {image.slope:g} must "
            "be above 0"
        )


def refuse_two_people(headers: Iterable[ImageHeader], folder: str) -> None:
    """Refuse objects whose stated name, birth date or number contradict each other.

    Parameters
    ----------
    headers : iterable of ImageHeader
        All objects of the folder.
    folder : str
        Its name, for messages.

    Raises
    ------
    InputError
        If they are of two people.
    """
    first: dict[str, tuple[str, Identity, str]] = {}
    for header in headers:
        who = header.identity
        for field, value in (
            ("number", who.number),
            ("birth", who.birth_date),
            ("name", who.name),
        ):
            key = " ".join(value.casefold().replace(",", " ").split())
            if not key:
                continue
            known = first.setdefault(field, (key, who, header.label))
            if known[0] != key:
                raise InputError(
                    f"{folder} holds images of two people: {known[1].words} in {known[2]}; "
                    f"{who.words} in {header.label}: give each person a folder of their own"
                )


def _described(header: ImageHeader) -> str:
    return f"'{header.description or 'no description'}'"


def _listing(found: dict[str, list[ImageHeader]]) -> str:
    return "; ".join(
        f"{_described(images[0])} with {len(images)} image{'s' if len(images) > 1 else ''} "
        f"(series UID {uid or 'empty'})"
        for uid, images in found.items()
    )


def _some(labels: Sequence[str], most: int = 3) -> str:
    more = f" and {len(labels) - most} more" if len(labels) > most else ""
    return ", ".join(labels[:most]) + more
