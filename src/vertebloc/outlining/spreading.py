"""An outline that spreads over alike voxels, inside limits of intensity, reach and fence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from vertebloc.errors import InputError
from vertebloc.outlining.model import OutlineMask
from vertebloc.space.grids import Volume

#: How far an outline spreads unless told otherwise, mm.
REACH_MM = 10.0
_ENOUGH = 200_000  #: so many voxels tell the percentiles of any outline
_SHARE = (5.0, 95.0)  #: percentiles of the outline's own voxels that limit it at first


@dataclass(frozen=True, slots=True, kw_only=True)
class SpreadLimits:
    """Where an outline may spread to."""

    low: float  #: of the images' values, both ends included
    high: float
    reach_mm: float = REACH_MM  #: assumed: nobody measured it

    def __post_init__(self) -> None:
        """Refuse limits that leave nothing, or everything.

        Raises
        ------
        InputError
            If the range is empty, or the reach is not above 0 and at most 100 mm.
        """
        if not self.low <= self.high:
            raise InputError(
                f"the range of intensity is empty ({self.low:g} to {self.high:g}): give a lower "
                "end that is not above the upper one"
            )
        if not 0.0 < self.reach_mm <= 100.0:
            raise InputError(f"a reach of {self.reach_mm:g} mm: more than 0, at most 100 is taken")


def limits_of(mask: OutlineMask, images: Volume, reach_mm: float = REACH_MM) -> SpreadLimits:
    """Limits that the outline's own voxels suggest.

    Parameters
    ----------
    mask : OutlineMask
        As drawn so far.
    images : Volume
        Of which it is an outline.
    reach_mm : float, mm
        How far it may spread.

    Returns
    -------
    SpreadLimits
        From the 5th to the 95th percentile of the values inside.

    Raises
    ------
    InputError
        If nothing is drawn yet.
    """
    if mask.is_empty:
        raise InputError("nothing is drawn yet: draw a stroke inside first")
    box = tuple(slice(a, b) for a, b in zip(mask.start, mask.stop, strict=True))
    values = images.values[box][mask.inside]
    some = values[:: values.size // _ENOUGH + 1].astype(np.float64)
    low, high = np.percentile(some, _SHARE)
    return SpreadLimits(low=float(low), high=float(high), reach_mm=reach_mm)


def spread_inside(
    mask: OutlineMask, images: Volume, limits: SpreadLimits, fence: OutlineMask
) -> OutlineMask:
    """Let an outline spread over voxels that are joined to it and lie within all limits.

    Parameters
    ----------
    mask : OutlineMask
        From where.
    images : Volume
        Whose values decide.
    limits : SpreadLimits
        Range of values, and how far.
    fence : OutlineMask
        What it must not enter; may be empty.

    Returns
    -------
    OutlineMask
        The outline and what it has spread to, face to face.

    Raises
    ------
    InputError
        If nothing is drawn yet.
    """
    if mask.is_empty:
        raise InputError("nothing is drawn yet: draw a stroke inside first")
    grid = images.grid
    start, stop = box_around(mask, grid.shape, limits.reach_mm / grid.spacing_mm)
    seeds = mask.on_box(start, stop)
    values = values_on_box(images, start, stop)
    allowed = (values >= limits.low) & (values <= limits.high) & ~fence.on_box(start, stop)
    away = ndimage.distance_transform_edt(~seeds, sampling=grid.spacing_mm)
    allowed &= away <= limits.reach_mm
    parts, _ = ndimage.label(allowed | seeds)
    joined = np.unique(parts[seeds])
    return OutlineMask.of(start, np.isin(parts, joined))


def box_around(
    mask: OutlineMask, shape: tuple[int, int, int], pad: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """An outline's box with room around it, kept on the grid.

    Parameters
    ----------
    mask : OutlineMask
        Not empty.
    shape : (3,) int
        Of the grid.
    pad : (3,) float64, -
        Room in voxels along each axis.

    Returns
    -------
    tuple of two (3,) int64
        First index, and one past the last.
    """
    room = np.ceil(pad).astype(np.int64) + 1
    start = np.maximum(np.asarray(mask.start) - room, 0)
    stop = np.minimum(np.asarray(mask.stop) + room, shape)
    return start, stop


def values_on_box(images: Volume, start: ArrayLike, stop: ArrayLike) -> NDArray[np.float64]:
    """The images' values on a box.

    Parameters
    ----------
    images : Volume
        Hounsfield units or any other numbers.
    start, stop : (3,) int
        First index, and one past the last.

    Returns
    -------
    (ni, nj, nk) float64, -
        An array of its own.
    """
    low, high = np.asarray(start, dtype=np.int64), np.asarray(stop, dtype=np.int64)
    box = tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))
    return np.asarray(images.values[box], dtype=np.float64)
