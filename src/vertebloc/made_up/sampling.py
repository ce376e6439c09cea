"""A solid on a voxel grid, looked at closely only where its surface passes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.space.grids import Grid
from vertebloc.space.solids import Solid
from vertebloc.space.transforms import Points

_BLOCK_MM = 16.0  #: blocks small enough to be mostly wholly inside or outside
_PARTS = 8  #: each block is looked at again in this many parts along each axis

Box = tuple[slice, slice, slice]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SampledBlock:
    """Signed distances on one box of voxels, cut off at the band."""

    box: Box
    distance_mm: NDArray[np.float32] | None  #: None: all deeper inside than the band


def sample_solid(solid: Solid, grid: Grid, band_mm: float) -> Iterator[SampledBlock]:
    """Signed distance to a solid at voxel centres, block by block.

    Parameters
    ----------
    solid : Solid
        What to sample; its distance must not change by more than 1 mm per mm.
    grid : Grid
        Where.
    band_mm : float, mm
        Distances beyond plus or minus this are cut off.

    Yields
    ------
    SampledBlock
        Each block that the solid or its band reaches; voxels of no block lie farther outside.

    Notes
    -----
    A block is settled without looking at its voxels if the distance at its middle exceeds its
    radius plus the band; the others are cut into 8 x 8 x 8 parts, settled in the same way.
    """
    part = np.maximum(np.rint(_BLOCK_MM / _PARTS / grid.spacing_mm).astype(np.int64), 1)
    block = part * _PARTS
    start, stop = _index_box(solid, grid, band_mm)
    counts = -(-(stop - start) // block)
    if np.any(stop <= start):
        return
    corners = start + np.indices(tuple(counts)).reshape(3, -1).T * block
    seen = solid.signed_distance_mm(_middles(grid, corners, block))
    reach = _radius_mm(grid, block) + band_mm
    for corner, distance in zip(corners, seen, strict=True):
        if distance > reach:
            continue
        end = np.minimum(corner + block, stop)
        box = (slice(corner[0], end[0]), slice(corner[1], end[1]), slice(corner[2], end[2]))
        inside = distance < -reach
        values = None if inside else _look_closely(solid, grid, corner, part, band_mm)
        if values is not None:
            size = end - corner
            values = values[: size[0], : size[1], : size[2]]
        yield SampledBlock(box=box, distance_mm=values)


def _look_closely(
    solid: Solid, grid: Grid, corner: NDArray[np.int64], part: NDArray[np.int64], band_mm: float
) -> NDArray[np.float32]:
    """Distances in one block: coarse for parts far from the surface, exact near it."""
    corners = corner + np.indices((_PARTS,) * 3).reshape(3, -1).T * part
    seen = solid.signed_distance_mm(_middles(grid, corners, part))
    coarse = np.clip(seen, -band_mm, band_mm).astype(np.float32)
    near = np.abs(seen) <= _radius_mm(grid, part) + band_mm
    within = np.indices(tuple(part)).reshape(3, -1).T
    values = np.repeat(coarse[:, None], len(within), axis=1)
    if near.any():
        index = (corners[near][:, None, :] + within).reshape(-1, 3).astype(np.float64)
        exact = solid.signed_distance_mm(grid.lps_from_ijk.points(index))
        values[near] = np.clip(exact, -band_mm, band_mm).reshape(int(near.sum()), -1)
    whole = values.reshape((_PARTS,) * 3 + tuple(part)).transpose(0, 3, 1, 4, 2, 5)
    return whole.reshape(tuple(part * _PARTS))


def _index_box(
    solid: Solid, grid: Grid, band_mm: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Smallest index box of the grid that holds the solid and its band."""
    low, high = solid.bounds_mm()
    shape = np.array(grid.shape, dtype=np.int64)
    if not np.all(np.isfinite(low) & np.isfinite(high)):
        return np.zeros(3, dtype=np.int64), shape
    low, high = low - band_mm, high + band_mm
    ends = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)])
    index = grid.lps_from_ijk.inverse.points(low + ends * (high - low))
    start = np.maximum(np.floor(index.min(axis=0)).astype(np.int64), 0)
    return start, np.minimum(np.ceil(index.max(axis=0)).astype(np.int64) + 1, shape)


def _middles(grid: Grid, corners: NDArray[np.int64], size: NDArray[np.int64]) -> Points:
    """Middles of boxes of voxels, (n, 3), patient LPS."""
    return grid.lps_from_ijk.points(corners + 0.5 * (size - 1.0))


def _radius_mm(grid: Grid, size: NDArray[np.int64]) -> float:
    """Distance from the middle of a box of voxels to its farthest voxel centre."""
    ends = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)])
    corners = grid.lps_from_ijk.vectors(0.5 * ends * (size - 1.0))
    return float(np.linalg.norm(corners, axis=1).max())
