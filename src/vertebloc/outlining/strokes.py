"""Which voxels a stroke on a slice touches; the slice may lie in any direction.

The browser paints by the same rule (``app/static/viewer/tips.mjs``), so that what is seen at
once is what is saved; a test holds the two together.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.outlining.model import OutlineMask, Stroke
from vertebloc.space.grids import Grid

#: Where a slice runs exactly between two layers of voxels, it takes the one on the normal's far
#: side; so far from a tie, mm, rounding cannot change that.
_TIE_MM = 1e-6


def half_slice_mm(grid: Grid, normal: NDArray[np.float64]) -> float:
    """Half the thickness of a slice: a voxel that the slice passes through belongs to it.

    Parameters
    ----------
    grid : Grid
        Of the images.
    normal : (3,) float64, -
        Of the slice, unit length.

    Returns
    -------
    float, mm
        Half the extent of a voxel along the normal.
    """
    return float(np.sum(np.abs(normal @ grid.lps_from_ijk.matrix[:3, :3])) / 2.0)


def voxels_of_stroke(grid: Grid, stroke: Stroke) -> OutlineMask:
    """The voxels of a slice that a stroke touches.

    Parameters
    ----------
    grid : Grid
        Of the images.
    stroke : Stroke
        A line with a round tip, or a closed loop.

    Returns
    -------
    OutlineMask
        Voxels through which the slice passes and whose centres, seen along its normal, lie
        under the tip or within the loop. Empty outside the images.
    """
    points = stroke.points
    if stroke.radius_mm == 0.0:
        return _voxels_of_loop(grid, stroke)
    ends = pairwise(points) if len(points) > 1 else [(points[0], points[0])]
    low, high = _box(grid, points, _reach_mm(grid, stroke))
    inside = np.zeros(tuple(np.maximum(high - low, 0)), dtype=np.bool_)
    for start, end in ends:
        segment = np.array([start, end])
        a, b = _box(grid, segment, _reach_mm(grid, stroke))
        if np.any(a >= b):
            continue
        box = tuple(slice(p, q) for p, q in zip(a - low, b - low, strict=True))
        inside[box] |= _under_tip(grid, stroke, segment, a, b)
    return OutlineMask.of(low, inside)


def draw(mask: OutlineMask, grid: Grid, stroke: Stroke, *, rub_out: bool = False) -> OutlineMask:
    """An outline after a stroke.

    Parameters
    ----------
    mask : OutlineMask
        As it was.
    grid : Grid
        Of the images.
    stroke : Stroke
        What was drawn.
    rub_out : bool
        Take the touched voxels away instead of adding them.

    Returns
    -------
    OutlineMask
        As it is now.
    """
    touched = voxels_of_stroke(grid, stroke)
    return mask.without(touched) if rub_out else mask.united(touched)


def _reach_mm(grid: Grid, stroke: Stroke) -> float:
    return float(np.hypot(stroke.radius_mm, half_slice_mm(grid, stroke.normal)))


def _box(
    grid: Grid, points: NDArray[np.float64], reach_mm: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Indices of all voxels whose centres lie within reach of points, kept on the grid."""
    ijk_from_lps = grid.lps_from_ijk.inverse
    index = ijk_from_lps.points(points)
    reach = reach_mm * np.linalg.norm(ijk_from_lps.matrix[:3, :3], axis=1)
    low = np.floor(index.min(axis=0) - reach).astype(np.int64)
    high = np.ceil(index.max(axis=0) + reach).astype(np.int64) + 1
    shape = np.asarray(grid.shape, dtype=np.int64)
    return np.clip(low, 0, shape), np.clip(high, 0, shape)


def _centres(
    grid: Grid, low: NDArray[np.int64], high: NDArray[np.int64], origin: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Voxel centres of a box as seen from a point, (ni, nj, nk, 3)."""
    matrix = grid.lps_from_ijk.matrix
    i, j, k = (np.arange(a, b, dtype=np.float64) for a, b in zip(low, high, strict=True))
    away = (
        i[:, None, None, None] * matrix[:3, 0]
        + j[None, :, None, None] * matrix[:3, 1]
        + k[None, None, :, None] * matrix[:3, 2]
    )
    return np.asarray(away + (matrix[:3, 3] - origin), dtype=np.float64)


def _in_slice(grid: Grid, stroke: Stroke, height: NDArray[np.float64]) -> NDArray[np.bool_]:
    half = half_slice_mm(grid, stroke.normal)
    return np.asarray((height > -half - _TIE_MM) & (height <= half - _TIE_MM))


def _under_tip(
    grid: Grid,
    stroke: Stroke,
    segment: NDArray[np.float64],
    low: NDArray[np.int64],
    high: NDArray[np.int64],
) -> NDArray[np.bool_]:
    normal = stroke.normal
    away = _centres(grid, low, high, segment[0])
    height = away @ normal
    flat = away - height[..., None] * normal
    along = segment[1] - segment[0]
    along = along - (along @ normal) * normal
    length2 = float(along @ along)
    if length2 > 0.0:
        share = np.clip((flat @ along) / length2, 0.0, 1.0)
        flat = flat - share[..., None] * along
    near = np.einsum("...x,...x", flat, flat) <= stroke.radius_mm**2 + _TIE_MM
    lift = float((segment[0] - stroke.points[0]) @ normal)
    return np.asarray(near & _in_slice(grid, stroke, height + lift))


def _voxels_of_loop(grid: Grid, stroke: Stroke) -> OutlineMask:
    normal, points = stroke.normal, stroke.points
    low, high = _box(grid, points, half_slice_mm(grid, normal))
    if np.any(low >= high):
        return OutlineMask.empty()
    right = np.cross(normal, np.eye(3)[int(np.argmin(np.abs(normal)))])
    right /= np.linalg.norm(right)
    up = np.cross(normal, right)
    away = _centres(grid, low, high, points[0])
    inside = _in_slice(grid, stroke, away @ normal)
    x, y = away @ right, away @ up
    corners = np.column_stack(((points - points[0]) @ right, (points - points[0]) @ up))
    odd = np.zeros(inside.shape, dtype=np.bool_)
    for (ax, ay), (bx, by) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if ay == by:
            continue
        crosses = ((ay > y) != (by > y)) & (x < ax + (y - ay) * ((bx - ax) / (by - ay)))
        odd ^= crosses
    return OutlineMask.of(low, inside & odd)


def stroke_from_numbers(points: object, normal: object, radius_mm: object) -> Stroke:
    """A stroke as the browser sends it.

    Parameters
    ----------
    points : (n, 3) float64, mm, patient LPS
        Where the pointer went.
    normal : (3,) float64, -
        Of the slice.
    radius_mm : float, mm
        Of the tip; 0: a loop.

    Returns
    -------
    Stroke
        Checked.

    Raises
    ------
    InputError
        If they are no numbers, or cannot have been drawn.
    """
    try:
        there = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        across = np.asarray(normal, dtype=np.float64)
        radius = float(radius_mm)  # type: ignore[arg-type]
    except (TypeError, ValueError) as error:
        raise InputError(f"that is no stroke: {error}") from error
    return Stroke(there, across, radius)
