"""A folder of DICOM files in, one CT volume in Hounsfield units out, or a named refusal."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange.dicom_fast import read_plain_file
from vertebloc.exchange.dicom_frames import split_frames
from vertebloc.exchange.dicom_general import read_any_file
from vertebloc.exchange.dicom_geometry import Stack, stack_slices
from vertebloc.exchange.dicom_header import ImageHeader, read_header
from vertebloc.exchange.dicom_pixels import Remarks, read_hounsfield, read_raw_values
from vertebloc.exchange.dicom_series import choose_series, refuse_mixed_series
from vertebloc.space.grids import Volume


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ImportedSeries:
    """A CT as it came in."""

    volume: Volume  #: Hounsfield units, int16 or float32, indexed [i = column, j = row, k = slice]
    identity: Identity
    series_uid: str
    study_uid: str
    frame_of_reference_uid: str
    description: str
    kvp: float | None  #: tube voltage, kV; None if not stated or not the same in all images
    contrast: str  #: contrast agent as the scanner wrote it; empty if none is stated
    patient_position: str  #: such as HFS; kept as a remark, never used for geometry
    left_out: tuple[str, ...]  #: what was left out, and why
    tolerated: tuple[str, ...]  #: what is odd but was read
    files: int  #: number of files the volume was read from
    study_id: str = ""  #: the study's short name, as the scanner wrote it


def read_dicom_folder(
    folder: Path, *, series_uid: str | None = None, kind: str = "CT"
) -> ImportedSeries:
    """Read one series of a folder and the folders below it.

    Parameters
    ----------
    folder : Path
        Where the DICOM files lie.
    series_uid : str or None
        Which series to read, if there are several.
    kind : str
        ``CT``, or ``MR``: its values are then the scanner's own, not Hounsfield units.

    Returns
    -------
    ImportedSeries
        The volume, who it is of, what was left out and what was tolerated.

    Raises
    ------
    InputError
        If there is no series, more than one, or one that is incomplete or contradicts itself.
    MissingBackendError
        If the library that decompresses the images is not installed.

    Notes
    -----
    Slices are sorted by their position along the normal of their plane. Hounsfield values are
    ``stored value * Rescale Slope + Rescale Intercept`` of each image. A header that was
    altered so that it still agrees with itself (a mirrored image) cannot be noticed here.
    """
    headers, strangers = read_headers(folder)
    images, others = choose_series(headers, series_uid, str(folder), kind)
    refuse_mixed_series(images, kind)
    stack = stack_slices(images)
    dropped = _drop_doubles(stack)
    remarks = Remarks()
    values = read_hounsfield(stack.images, remarks)
    return ImportedSeries(
        volume=Volume(stack.grid, np.asarray(values).transpose(2, 1, 0)),
        identity=images[0].identity,
        series_uid=images[0].series_uid,
        study_uid=images[0].study_uid,
        study_id=images[0].study_id,
        frame_of_reference_uid=images[0].frame_uid,
        description=images[0].description,
        kvp=images[0].kvp if len({image.kvp for image in images}) == 1 else None,
        contrast=images[0].contrast,
        patient_position=images[0].patient_position,
        left_out=strangers + others + dropped,
        tolerated=stack.tolerated + remarks.told() + _header_notes(stack.images, kind),
        files=len({image.path for image in stack.images}),
    )


def read_headers(folder: Path) -> tuple[list[ImageHeader], tuple[str, ...]]:
    """Read the headers of all files of a folder and the folders below it.

    Parameters
    ----------
    folder : Path
        Where the DICOM files lie.

    Returns
    -------
    headers : list of ImageHeader
        One for each image; a multi-frame file gives one for each of its frames.
    strangers : tuple of str
        What is no DICOM file, and why.

    Raises
    ------
    InputError
        If the folder is none or empty, or a file is damaged.
    """
    if not folder.is_dir():
        raise InputError(f"{folder} is not a folder: give the folder that holds the DICOM files")
    headers: list[ImageHeader] = []
    strangers = []
    for path in _entries(str(folder)):
        label = os.path.relpath(path, folder)
        if not os.path.isfile(path):  # noqa: PTH113 - a Path for each file would take long
            strangers.append(f"{label}: neither a file nor a folder of its own (a link?)")
            continue
        try:
            raw = read_plain_file(Path(path), label) or read_any_file(Path(path), label)
        except OSError as error:
            raise InputError(f"{label} cannot be read: {error.strerror or error}") from error
        if raw is None:
            strangers.append(f"{label}: not a DICOM file")
        else:
            headers += split_frames(read_header(raw))
    if not headers and not strangers:
        raise InputError(f"{folder} is empty: give the folder that holds the DICOM files")
    return headers, tuple(strangers)


def _entries(folder: str) -> Iterator[str]:
    """All but folders below a folder, by name, so that no result depends on the disk's order."""
    with os.scandir(folder) as entries:
        ordered = sorted(entries, key=lambda entry: entry.name)
    for entry in ordered:
        if entry.is_dir(follow_symlinks=False):
            yield from _entries(entry.path)
        else:
            yield entry.path


def _drop_doubles(stack: Stack) -> tuple[str, ...]:
    dropped = []
    for kept, further in stack.doubles:
        same = (kept.slope, kept.intercept) == (further.slope, further.intercept)
        if not same or not np.array_equal(read_raw_values(kept), read_raw_values(further)):
            raise InputError(
                f"{kept.label} and {further.label} lie at the same place but differ "
                f"({len(stack.doubles)} such pair{'s' if len(stack.doubles) > 1 else ''}): does "
                "the series hold two phases or reconstructions? Keep one of them"
            )
        dropped.append(f"{further.label}: the same image as {kept.label}")
    return tuple(dropped)


def _header_notes(images: Sequence[ImageHeader], kind: str) -> tuple[str, ...]:
    notes = []
    if any(image.lossy for image in images):
        notes.append("the images were compressed with loss: fine detail may be altered")
    if kind == "CT" and any(image.rescale_type == "US" for image in images):
        notes.append("the scanner does not say that its values are Hounsfield units")
    if len({(image.slope, image.intercept) for image in images}) > 1:
        notes.append("each image has its own rescale, which was applied")
    remarks = dict.fromkeys(remark for image in images for remark in image.remarks)
    return (*notes, *remarks)
