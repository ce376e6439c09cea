"""What a folder from a scanner holds, series by series, so that one can be chosen."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydicom.config import IGNORE
from pydicom.uid import UID

from vertebloc.errors import InputError, VertBlocError
from vertebloc.exchange.dicom_geometry import stack_slices
from vertebloc.exchange.dicom_header import ImageHeader
from vertebloc.exchange.dicom_pixels import read_raw_values
from vertebloc.exchange.dicom_read import read_headers
from vertebloc.exchange.dicom_series import (
    CLASSES,
    refuse_mixed_series,
    refuse_two_people,
    why_not_slice,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ListedSeries:
    """One series as a line of the list."""

    number: int  #: its place in the list, from 1: what --series takes
    kind: str  #: modality as DICOM writes it, such as CT, MR, SEG, RTSTRUCT
    uid: str
    images: int  #: slices, frames or other objects
    size: str  #: such as ``512 x 512``; empty if it has no image
    step: str  #: such as ``1.25 mm apart``; empty if it is no stack
    date: str  #: YYYY-MM-DD, empty if not stated
    description: str
    whom: str  #: the person, as the list's pictures must never mix two
    why_not: str  #: why it cannot be planned on; empty if it can
    headers: tuple[ImageHeader, ...]  #: its images along their normal, or as they come

    @property
    def words(self) -> str:
        """The line for people."""
        parts = (
            f"{self.kind or 'unknown kind'}, {self.images} image{'s' * (self.images != 1)}",
            self.size,
            self.step,
            self.date or "no date",
            f"'{self.description or 'no description'}'",
        )
        line = f"{self.number}: " + ", ".join(part for part in parts if part)
        return line + (f" (not for planning: {self.why_not})" if self.why_not else "")


def list_series(folder: Path) -> tuple[tuple[ListedSeries, ...], tuple[str, ...]]:
    """List the series of a folder and the folders below it.

    Parameters
    ----------
    folder : Path
        Where the DICOM files lie.

    Returns
    -------
    series : tuple of ListedSeries
        By date, series number and identifier, numbered from 1: the order depends on what the
        files say, never on their names.
    notes : tuple of str
        What is no DICOM file; and if objects are of two people, that.

    Raises
    ------
    InputError
        If the folder is none, is empty, holds no DICOM file, or holds a damaged one.
    """
    headers, strangers = read_headers(folder)
    notes = list(strangers)
    if not headers:
        raise InputError(f"{folder} holds no DICOM file: give the folder of a scanner's export")
    try:
        refuse_two_people(headers, str(folder))
    except InputError as error:
        notes.append(str(error))
    found: dict[tuple[str, str], list[ImageHeader]] = defaultdict(list)
    for header in headers:
        overview = "LOCALIZER" in header.image_type  # shown apart from the slices it lies beside
        found[header.series_uid, "overview" if overview else ""].append(header)
    ordered = sorted(found.values(), key=_order)
    return tuple(_listed(n, images) for n, images in enumerate(ordered, start=1)), tuple(notes)


def series_numbered(folder: Path, number: int) -> ListedSeries:
    """Find a series by its number in the list.

    Parameters
    ----------
    folder : Path
        Where the DICOM files lie.
    number : int
        From 1, as ``list_series`` numbers them.

    Returns
    -------
    ListedSeries
        The series.

    Raises
    ------
    InputError
        If there is none of that number, or it cannot be planned on.
    """
    series, _ = list_series(folder)
    if not 1 <= number <= len(series):
        raise InputError(
            f"{folder} holds no series {number}: 1 to {len(series)} are there "
            "(see vertebloc import SOURCE --list)"
        )
    return series[number - 1]


def read_middle_image(series: ListedSeries) -> tuple[NDArray[np.float64], float] | None:
    """The stored values of a series' middle image, for a small picture.

    Parameters
    ----------
    series : ListedSeries
        The series.

    Returns
    -------
    tuple of ((rows, columns) float64, float) or None
        Stored values with the image's own rescale, HU for CT, the scanner's own for others;
        and how much taller than wide a pixel is. None if the series has no grey image.

    Raises
    ------
    InputError
        If the image is damaged.
    """
    drawn = [h for h in series.headers if h.rows and h.columns and h.samples == 1]
    if not drawn:
        return None
    middle = drawn[len(drawn) // 2]
    if middle.frame is None and middle.frames != 1:
        return None
    values: NDArray[Any] = read_raw_values(middle)
    slope = 1.0 if middle.slope is None else middle.slope
    tall = middle.spacing[0] / middle.spacing[1] if min(middle.spacing, default=0.0) > 0 else 1.0
    return np.asarray(values * slope + (middle.intercept or 0.0), dtype=np.float64), tall


def _order(images: Sequence[ImageHeader]) -> tuple[str, int, str, str]:
    number = images[0].series_number
    place = int(number) if number.lstrip("+-").isdigit() else 0
    return images[0].date, place, images[0].series_uid, images[0].image_type[-1]


def _listed(number: int, images: list[ImageHeader]) -> ListedSeries:
    first = images[0]
    kind = first.modality if first.modality in CLASSES else "CT"
    why_not, step, ordered = why_not_slice(first, kind), "", tuple(images)
    if not why_not:
        try:
            refuse_mixed_series(images, kind)
            stack = stack_slices(images)
            ordered = stack.images
            step = f"{stack.grid.spacing_mm[2]:.4g} mm apart"
        except VertBlocError as error:
            why_not = str(error)
    if not why_not and kind != "CT":
        why_not = f"{kind}: it can be laid on the CT, not planned on"
    sizes = {(h.columns, h.rows) for h in images if h.rows and h.columns}
    size = "several sizes" if len(sizes) > 1 else "".join(f"{c} x {r}" for c, r in sizes)
    return ListedSeries(
        number=number,
        kind=first.modality or (UID(first.sop_class, IGNORE).name if first.sop_class else ""),
        uid=first.series_uid,
        images=len(images),
        size=size,
        step=step,
        date=first.date,
        description=first.description,
        whom=first.identity.words,
        why_not=why_not,
        headers=ordered,
    )
