"""Where the slices of a series lie: from position and orientation alone.

Instance number, slice location, slice thickness, spacing between slices, the gantry tag and
the patient position are not looked at: scanners write them in ways that contradict each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.exchange.dicom_header import ImageHeader
from vertebloc.exchange.dicom_series import refuse_different
from vertebloc.space import tolerances
from vertebloc.space.grids import Grid

#: A stack is called tilted above this angle between its step and its normal, degrees.
#: Positions written to 0.001 mm every 0.5 mm make 0.1 degrees for two neighbouring slices.
TILT_NOTED_DEG = 0.1

#: Positions may lie this far off an even row, mm: each may be rounded to 0.1 mm, and so may
#: the two ends that define the row.
UNEVEN_MM = 2.0 * tolerances.SLICE_GAP_MM


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stack:
    """A series' images in their order along the normal."""

    images: tuple[ImageHeader, ...]
    doubles: tuple[tuple[ImageHeader, ImageHeader], ...]  #: same place: (kept, further one)
    grid: Grid
    tolerated: tuple[str, ...]


def stack_slices(images: Sequence[ImageHeader]) -> Stack:
    """Sort a series' images along their normal and find their grid.

    Parameters
    ----------
    images : sequence of ImageHeader
        Images that have passed ``refuse_mixed_series``.

    Returns
    -------
    Stack
        Sorted images, those at the same place, the grid and what was tolerated.

    Raises
    ------
    InputError
        If orientations are mixed or skewed, or slices missing, uneven, out of line or alone.

    Notes
    -----
    The affine's columns are the row direction times the column spacing, the column direction
    times the row spacing, and the mean step from the first to the last slice: a step that is
    not along the normal gives a sheared grid. Says nothing about moving tables or patients.
    """
    row, column = _directions(images)
    normal = np.cross(row, column)
    positions = np.array([image.position for image in images])
    order = np.argsort(positions @ normal, kind="stable")
    ordered = [images[index] for index in order]
    kept, doubles = _doubles(ordered, positions[order] @ normal)
    if len(kept) < 2:
        raise InputError(
            f"the series has {len(kept)} slice ({kept[0].label}): at least two are needed, since "
            "the distance between slices is measured from their positions"
        )
    places = np.array([image.position for image in kept])
    along = places @ normal
    _refuse_uneven(kept, along)
    step = (places[-1] - places[0]) / (len(kept) - 1)
    off = places - (places[0] + np.arange(len(kept))[:, None] * step)
    aside = np.linalg.norm(off - np.outer(off @ normal, normal), axis=1)
    if aside.max() > UNEVEN_MM:
        worst = int(np.argmax(aside))
        raise InputError(
            f"the slices do not lie on one straight line: {kept[worst].label} lies "
            f"{aside[worst]:.2f} mm aside, {UNEVEN_MM:g} mm is allowed; was the series put "
            "together from two?"
        )
    between_rows, between_columns = images[0].spacing
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1] = row * between_columns, column * between_rows
    matrix[:3, 2], matrix[:3, 3] = step, places[0]
    shape = (images[0].columns, images[0].rows, len(kept))
    return Stack(
        images=tuple(kept),
        doubles=tuple(doubles),
        grid=Grid.from_matrix(shape, matrix),
        tolerated=_notes(step, normal, float(np.abs(off).max())),
    )


def _directions(images: Sequence[ImageHeader]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Row and column direction, made exactly perpendicular."""
    every = np.array([image.orientation for image in images])
    first = every[0]
    same = np.all(np.abs(every - first) <= tolerances.COSINE, axis=1)
    if not same.all():
        words = [" ".join(f"{c:.4g}" for c in image.orientation) for image in images]
        refuse_different("orientation", words, images)
    row, column = first[:3], first[3:]
    skew = max(abs(row @ column), abs(row @ row - 1), abs(column @ column - 1))
    if skew > 2 * tolerances.COSINE:
        raise InputError(
            f"{images[0].label}: Image Orientation (Patient) {first.tolist()} is not two "
            f"perpendicular directions of length 1 (off by {skew:.2g})"
        )
    normal = np.cross(row, column)
    normal /= np.linalg.norm(normal)
    row = row / np.linalg.norm(row)
    return row, np.cross(normal, row)


def _doubles(
    ordered: Sequence[ImageHeader], along: NDArray[np.float64]
) -> tuple[list[ImageHeader], list[tuple[ImageHeader, ImageHeader]]]:
    kept = [ordered[0]]
    doubles = []
    last = along[0]
    for image, place in zip(ordered[1:], along[1:], strict=True):
        if place - last <= tolerances.POSITION_MM:
            doubles.append((kept[-1], image))
        else:
            kept.append(image)
            last = place
    return kept, doubles


def _refuse_uneven(kept: Sequence[ImageHeader], along: NDArray[np.float64]) -> None:
    even = np.linspace(along[0], along[-1], len(along))
    if np.abs(along - even).max() <= UNEVEN_MM:
        return
    gaps = np.diff(along)
    usual = float(np.median(gaps))
    lost = np.rint(gaps / usual).astype(int) - 1
    multiple = np.all(np.abs(gaps - (lost + 1) * usual) <= UNEVEN_MM)
    # a few gaps of two or three slices are lost slices; many different gaps are a mixture
    if multiple and lost.sum() and np.count_nonzero(lost) <= max(1, len(gaps) // 4):
        where = int(np.flatnonzero(lost)[0])
        raise InputError(
            f"{int(lost.sum())} slice{'s are' if lost.sum() > 1 else ' is'} missing: between "
            f"{kept[where].label} and {kept[where + 1].label} lie {gaps[where]:.2f} mm, elsewhere "
            f"{usual:.2f} mm; copy the whole series"
        )
    worst = int(np.argmax(np.abs(gaps - usual)))
    raise InputError(
        f"the slice spacing is mixed: {gaps.min():.2f} to {gaps.max():.2f} mm, mostly "
        f"{usual:.2f} mm, {gaps[worst]:.2f} mm between {kept[worst].label} and "
        f"{kept[worst + 1].label}; give an evenly spaced series with no slice missing"
    )


def _notes(
    step: NDArray[np.float64], normal: NDArray[np.float64], uneven_mm: float
) -> tuple[str, ...]:
    notes = []
    cosine = abs(float(step @ normal)) / float(np.linalg.norm(step))
    tilt_deg = float(np.degrees(np.arccos(min(1.0, cosine))))
    if tilt_deg > TILT_NOTED_DEG:
        notes.append(
            f"tilted stack: slices follow each other at {tilt_deg:.1f} degrees to their normal "
            "(gantry tilt); the grid is sheared accordingly"
        )
    if uneven_mm > tolerances.POSITION_MM:
        notes.append(f"slice positions lie up to {uneven_mm:.2f} mm off an even row: rounded")
    return tuple(notes)
