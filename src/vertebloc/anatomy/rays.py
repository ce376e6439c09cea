"""Looking along straight lines through bone, from the canal outwards and from a body outwards."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.anatomy.model import CanalSpline
from vertebloc.anatomy.outlines import sample_mask
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points, as_points

_STEP_MM = 0.5  #: sampling along a ray; crossings are interpolated between samples


def across_canal(canal: CanalSpline, s_mm: ArrayLike, towards: ArrayLike) -> Points:
    """Unit vectors across the canal nearest to given directions.

    Parameters
    ----------
    canal : CanalSpline
        Middle of the canal.
    s_mm : (n,) float64, mm
        Where along the canal.
    towards : (n, 3) or (3,) float64, -
        Directions, not along the canal.

    Returns
    -------
    (n, 3) float64, -
        Unit vectors.
    """
    tangent = canal.tangent(s_mm)
    along = np.broadcast_to(as_points(towards), tangent.shape)
    flat = along - np.einsum("ij,ij->i", along, tangent)[:, None] * tangent
    return np.asarray(flat / np.linalg.norm(flat, axis=1, keepdims=True))


def first_entry_mm(
    masks: tuple[Volume, ...], starts: Points, directions: ArrayLike, reach_mm: float
) -> NDArray[np.float64]:
    """Way along each ray until it first enters a mask.

    Parameters
    ----------
    masks : tuple of Volume
        Boolean volumes, united.
    starts : (n, 3) float64, mm, patient LPS
        Where the rays start.
    directions : (n, 3) or (3,) float64, -
        Unit vectors.
    reach_mm : float, mm
        How far to look.

    Returns
    -------
    (n,) float64, mm
        NaN where a ray enters none.
    """
    return _first_crossing_mm(masks, starts, directions, reach_mm, leaving=False)


def first_exit_mm(
    masks: tuple[Volume, ...], starts: Points, directions: ArrayLike, reach_mm: float
) -> NDArray[np.float64]:
    """Way along each ray until it last leaves the masks.

    Parameters
    ----------
    masks : tuple of Volume
        Boolean volumes, united.
    starts : (n, 3) float64, mm, patient LPS
        Where the rays start.
    directions : (n, 3) or (3,) float64, -
        Unit vectors.
    reach_mm : float, mm
        How far to look.

    Returns
    -------
    (n,) float64, mm
        The last exit within reach, so that holes in spongy bone do not stop the ray;
        NaN where a ray never is inside.
    """
    return _first_crossing_mm(masks, starts, directions, reach_mm, leaving=True)


def _first_crossing_mm(
    masks: tuple[Volume, ...],
    starts: Points,
    directions: ArrayLike,
    reach_mm: float,
    *,
    leaving: bool,
) -> NDArray[np.float64]:
    """Where a ray's value passes one half; leaving = looked at from its far end."""
    way = np.arange(0.0, reach_mm + _STEP_MM, _STEP_MM)
    if leaving:
        way = way[::-1]
    points = (
        starts[:, None, :]
        + way[None, :, None] * np.broadcast_to(directions, starts.shape)[:, None, :]
    )
    values = np.max([sample_mask(m, points) for m in masks], axis=0).astype(np.float64)
    inside = values >= 0.5
    found = inside.any(axis=1)
    first = np.argmax(inside, axis=1)
    row = np.arange(len(starts))
    before = np.maximum(first - 1, 0)
    low, high = values[row, before], values[row, first]
    share = np.where(first > 0, (0.5 - low) / np.maximum(high - low, 1e-9), 1.0)
    crossing = way[before] + share * (way[first] - way[before])
    return np.asarray(np.where(found, crossing, np.nan))
