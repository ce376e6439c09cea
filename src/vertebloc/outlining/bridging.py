"""The gaps between drawn slices, filled by shapes that pass from one slice's to the next's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vertebloc.errors import InputError
from vertebloc.outlining.model import OutlineMask
from vertebloc.outlining.strokes import half_slice_mm
from vertebloc.space.grids import Grid

#: Layers that lie farther apart than this share of a slice's thickness have a gap between them.
_GAP_SHARE = 0.5
_SAME_LAYER = 1e-6


@dataclass(frozen=True, slots=True)
class _Slice:
    """A drawn shape at the brink of a gap, seen along the normal."""

    height_mm: float
    distance_mm: NDArray[np.float64]  #: (nu, nv) signed, positive inside


@dataclass(frozen=True, slots=True)
class _Raster:
    """Flat pixels square to the normal, on which shapes are compared."""

    axes: NDArray[np.float64]  #: (3, 3) rows: two in the slice, the normal
    low_mm: NDArray[np.float64]  #: (2,) of the first pixel's middle
    pixel_mm: float
    size: tuple[int, int]


def bridge_slices(mask: OutlineMask, grid: Grid, normal: NDArray[np.float64]) -> OutlineMask:
    """Fill the gaps between slices that were drawn in one direction.

    Parameters
    ----------
    mask : OutlineMask
        An outline with empty slices between drawn ones.
    grid : Grid
        Of the images.
    normal : (3,) float64, -
        Of the drawn slices, unit length.

    Returns
    -------
    OutlineMask
        With every gap filled; drawn slices stay as they are.

    Raises
    ------
    InputError
        If there is no gap in this direction.

    Notes
    -----
    At a share t of the way from one drawn slice to the next, a point is inside where
    (1 - t) d1 + t d2 >= 0, d1 and d2 being its signed distances (positive inside) to the edges of
    the two shapes, seen along the normal. Two discs about one middle give discs whose radius goes
    evenly from one to the other. Shapes that do not overlap, seen along the normal, give nothing
    midway: a slice between them must be drawn.
    """
    if mask.is_empty:
        raise InputError("nothing is drawn yet: draw two slices with a gap between them first")
    normal = np.asarray(normal, dtype=np.float64)
    index = np.argwhere(mask.inside) + np.asarray(mask.start)
    heights = grid.lps_from_ijk.points(index) @ normal
    order = np.argsort(heights, kind="stable")
    index, heights = index[order], heights[order]
    thick = 2.0 * half_slice_mm(grid, normal)
    filled = mask
    for last in np.flatnonzero(np.diff(heights) > _GAP_SHARE * thick):
        brinks = (
            (heights > heights[last] - thick + _SAME_LAYER) & (heights <= heights[last]),
            (heights < heights[last + 1] + thick - _SAME_LAYER) & (heights >= heights[last + 1]),
        )
        gap = (float(heights[last]), float(heights[last + 1]))
        filled = filled.united(_between(grid, normal, [index[b] for b in brinks], gap))
    if filled.is_same(mask):
        raise InputError(
            "there is no gap between drawn slices in this direction: turn the picture to the "
            "direction in which they were drawn"
        )
    return filled


def _between(
    grid: Grid,
    normal: NDArray[np.float64],
    brinks: list[NDArray[np.int64]],
    gap: tuple[float, float],
) -> OutlineMask:
    points = [grid.lps_from_ijk.points(index) for index in brinks]
    raster = _raster(grid, normal, np.concatenate(points))
    lower, upper = (
        _slice_of(grid, raster, index, at) for index, at in zip(brinks, points, strict=True)
    )
    if upper.height_mm <= lower.height_mm:
        return OutlineMask.empty()
    ends = [
        at + np.outer(height - at @ normal, normal)
        for at in points
        for height in (lower.height_mm, upper.height_mm)
    ]
    low, high = _index_box(grid, np.concatenate(ends))
    box = grid.crop(low, high)
    centres = box.centres()
    height = centres @ normal
    inside = np.zeros(len(centres), dtype=np.bool_)
    between = (height > gap[0] + _SAME_LAYER) & (height < gap[1] - _SAME_LAYER)
    share = (height[between] - lower.height_mm) / (upper.height_mm - lower.height_mm)
    share = np.clip(share, 0.0, 1.0)
    there = [_look_up(raster, one.distance_mm, centres[between]) for one in (lower, upper)]
    inside[between] = (1.0 - share) * there[0] + share * there[1] >= 0.0
    return OutlineMask.of(low, inside.reshape(box.shape))


def _index_box(
    grid: Grid, points: NDArray[np.float64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    index = grid.lps_from_ijk.inverse.points(points)
    low = np.clip(np.floor(index.min(axis=0)).astype(np.int64) - 1, 0, grid.shape)
    high = np.clip(np.ceil(index.max(axis=0)).astype(np.int64) + 2, 0, grid.shape)
    return low, high


def _raster(grid: Grid, normal: NDArray[np.float64], points: NDArray[np.float64]) -> _Raster:
    """Pixels as fine as the finest voxel edge, along that edge and through a voxel's middle."""
    edges = grid.lps_from_ijk.matrix[:3, :3]
    flat = edges - np.outer(normal, normal @ edges)  # voxel edges as seen along the normal
    lengths = np.linalg.norm(flat, axis=0)
    first = int(np.argmax(lengths > 0.9 * grid.spacing_mm))
    right = flat[:, first] / lengths[first]
    axes = np.array([right, np.cross(normal, right), normal])
    pixel = float(np.min(grid.spacing_mm))
    at = points @ axes[:2].T
    anchor = at[0]
    low = anchor - pixel * (np.ceil((anchor - at.min(axis=0)) / pixel) + 2)
    size = np.ceil((at.max(axis=0) - low) / pixel).astype(int) + 3
    return _Raster(axes, low, pixel, (int(size[0]), int(size[1])))


def _slice_of(
    grid: Grid, raster: _Raster, index: NDArray[np.int64], points: NDArray[np.float64]
) -> _Slice:
    """A shape in its slice's plane, as signed distances; a voxel counts for its whole width."""
    height = float(np.mean(points @ raster.axes[2]))
    low = index.min(axis=0)
    held = np.zeros(tuple(index.max(axis=0) - low + 1), dtype=np.bool_)
    held[tuple((index - low).T)] = True
    u, v = np.indices(raster.size, dtype=np.float64)
    at = np.stack((u, v), axis=-1).reshape(-1, 2) * raster.pixel_mm + raster.low_mm
    lps = at @ raster.axes[:2] + height * raster.axes[2]
    nearest = np.rint(grid.lps_from_ijk.inverse.points(lps)).astype(np.int64) - low
    on = np.all((nearest >= 0) & (nearest < held.shape), axis=1)
    inside = np.zeros(len(at), dtype=np.bool_)
    inside[on] = held[tuple(nearest[on].T)]
    shape = inside.reshape(raster.size)
    half = 0.5 * raster.pixel_mm  # the edge lies midway between a pixel inside and one outside
    within = ndimage.distance_transform_edt(shape, sampling=raster.pixel_mm)
    beyond = ndimage.distance_transform_edt(~shape, sampling=raster.pixel_mm)
    return _Slice(height, np.where(shape, within - half, half - beyond))


def _look_up(
    raster: _Raster, distance_mm: NDArray[np.float64], points: NDArray[np.float64]
) -> NDArray[np.float64]:
    at = (points @ raster.axes[:2].T - raster.low_mm) / raster.pixel_mm
    return np.asarray(ndimage.map_coordinates(distance_mm, at.T, order=1, mode="nearest"))
