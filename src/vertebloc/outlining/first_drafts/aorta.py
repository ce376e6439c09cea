"""First draft of a vessel between two places in it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from vertebloc.errors import InputError
from vertebloc.outlining.first_drafts.box import cut_box, on_grid, read_at
from vertebloc.outlining.first_drafts.settings import SETTINGS
from vertebloc.outlining.first_drafts.sheets import smoothest_sheet
from vertebloc.outlining.first_drafts.soft import index_of
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points

_VOXEL_MM = 1.2
_ANGLES = 48
_RADII_MM = np.arange(2.0, 26.01, 0.5)
_REACH_MM, _ARCH_MM = 100.0, 130.0  #: around both places; above them, where an arch may lie
_TUBE_MM = (5.0, 16.0)  #: radius of a large vessel
_SPECK = 30  #: fewer dark voxels in blood are noise


def draft_vessel(ct: Volume, first: ArrayLike, second: ArrayLike) -> Volume:
    """A large vessel such as the aorta, from one end to the other.

    Parameters
    ----------
    ct : Volume
        Hounsfield units, with or without contrast.
    first, second : (3,) float64, mm, patient LPS
        In the vessel, at both ends of the stretch wanted.

    Returns
    -------
    Volume
        Boolean, on the CT's grid: the stretch between the two places.

    Raises
    ------
    InputError
        If no way through even brightness joins the places.

    Notes
    -----
    The cheapest way from place to place through voxels as bright as both; then the wall all
    round that way as the smoothest sheet across which brightness leaves that of the blood,
    three times, each about the middle of the one before.
    """
    ends = np.array([np.ravel(first), np.ravel(second)], dtype=np.float64)
    low, high = ends.min(axis=0) - _REACH_MM, ends.max(axis=0) + _REACH_MM
    high[2] += _ARCH_MM - _REACH_MM
    box = cut_box(ct, low, high, _VOXEL_MM)
    levels, spread = _blood(box, ends)
    path = _way(box, ends, levels, spread)
    for turn in range(3):
        tangent, *across = _frame(path)
        radius = _wall(box, path, (across[0], across[1]), levels, spread)
        if turn < 2:
            rays = _rays(across[0], across[1])
            off = (radius[:, :, None] * rays).mean(axis=1)
            path = path + ndimage.gaussian_filter1d(off, 2.0, axis=0, mode="nearest")
    if levels.mean() > SETTINGS.contrast_hu:
        radius = radius + SETTINGS.vessel_wall_mm  # what shines is the blood, not the wall
    return on_grid(_filled(box, path, radius, (tangent, across[0], across[1])), ct.grid)


def _blood(box: Volume, ends: Points) -> tuple[NDArray[np.float64], float]:
    """Brightness of blood at both ends, and its spread."""
    ball = np.indices((7, 7, 7)).reshape(3, -1).T - 3.0
    ball = ball[np.linalg.norm(ball, axis=1) <= 3.0]
    seen = np.stack([read_at(box, end + ball) for end in ends])
    levels = np.median(seen, axis=1).astype(np.float64)
    most = max(SETTINGS.blood_differs_hu, SETTINGS.blood_differs_share * float(levels.max()))
    if abs(float(levels[0] - levels[1])) > most:
        raise InputError(
            f"the two places differ too much in brightness ({levels[0]:.0f} and {levels[1]:.0f} "
            "HU): click inside the same vessel twice"
        )
    return levels, float(max(seen.std(axis=1).mean(), 10.0))


def _way(box: Volume, ends: Points, levels: NDArray[np.float64], spread: float) -> Points:
    """Cheapest way through blood, as smooth points every 2 mm."""
    from vertebloc.outlining.first_drafts._kernels import grow

    values = ndimage.gaussian_filter(np.asarray(box.values, dtype=np.float32), 0.6)
    low, high = float(levels.min()), float(levels.max())
    scale = SETTINGS.blood_way_share * abs(low) + 2.0 * spread
    off = np.maximum(np.maximum(low - values, values - high), 0.0) / scale
    depth = _depth(off < 1.0)
    tube = np.clip(min(_deepest(depth, box, end) for end in ends), *_TUBE_MM)
    # Neighbours as bright lie behind a thin wall: a way may narrow to half the tube, no further.
    narrow = 0.6 * tube / np.maximum(depth, 0.25)
    cost = (1.0 + narrow**4).astype(np.float32)
    cost[off > 3.0] *= 4.0
    seeds = np.zeros(values.shape, dtype=np.int32)
    seeds[index_of(box.grid, ends[0])] = 1
    came = grow(cost, seeds, np.zeros(2, dtype=np.float32))[2]
    at = int(np.ravel_multi_index(index_of(box.grid, ends[1]), values.shape))
    way = []
    while at >= 0:
        way.append(np.unravel_index(at, values.shape))
        at = int(came[at])
    points = box.grid.lps_from_ijk.points(np.array(way, dtype=np.float64))[::-1]
    return _even(points, 6.0)


def _depth(blood: NDArray[np.bool_]) -> NDArray[np.float64]:
    """How deep each voxel lies in blood, mm; specks of noise in it are no wall."""
    dark, count = ndimage.label(~blood)
    if count:
        small = np.bincount(dark.ravel()) < _SPECK
        small[0] = True
        blood = small[dark]
    return np.asarray(ndimage.distance_transform_edt(blood) * _VOXEL_MM)


def _deepest(depth: NDArray[np.float64], box: Volume, end: NDArray[np.float64]) -> float:
    """Radius of the vessel about a place: the greatest depth near it."""
    at = np.array(index_of(box.grid, end))
    around = round(_TUBE_MM[0] / _VOXEL_MM)
    low = np.maximum(at - around, 0)
    near = tuple(slice(int(a), int(b)) for a, b in zip(low, at + around + 1, strict=True))
    return float(depth[near].max())


def _even(points: Points, smooth_mm: float) -> Points:
    """Points every 2 mm along a smoothed line."""
    for _ in range(2):
        along = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))))
        at = np.arange(0.0, along[-1] + 1e-9, 2.0)
        if len(at) < 4:
            raise InputError("the two places are too close together: click at both ends")
        points = np.column_stack([np.interp(at, along, c) for c in points.T])
        ends = points[[0, -1]]
        points = ndimage.gaussian_filter1d(points, smooth_mm / 4.0, axis=0, mode="nearest")
        points[[0, -1]] = ends
    return points


def _frame(path: Points) -> tuple[Points, Points, Points]:
    """Tangents and two vectors across, turned as little as possible along the way."""
    tangent = np.gradient(path, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    u = np.empty_like(tangent)
    start = np.eye(3)[int(np.argmin(np.abs(tangent[0])))]
    for n, t in enumerate(tangent):
        start = start - (start @ t) * t
        start = start / np.linalg.norm(start)
        u[n] = start
    return tangent, u, np.cross(tangent, u)


def _rays(u: Points, v: Points) -> Points:
    angles = 2.0 * np.pi * np.arange(_ANGLES) / _ANGLES
    return np.asarray(np.cos(angles)[:, None] * u[:, None] + np.sin(angles)[:, None] * v[:, None])


def _wall(
    box: Volume,
    path: Points,
    across: tuple[Points, Points],
    levels: NDArray[np.float64],
    spread: float,
) -> NDArray[np.float64]:
    """Distance of the wall from the way all round, (n, angles) mm."""
    points = path[:, None, None] + _RADII_MM[:, None] * _rays(*across)[:, :, None]
    seen = ndimage.gaussian_filter(
        read_at(box, points), (1.0, 1.0, 0.0), mode=("nearest", "wrap", "nearest")
    )
    level = np.linspace(levels[0], levels[1], len(path))[:, None, None]  # contrast thins out
    scale = np.maximum(SETTINGS.blood_spread_share * np.abs(level), 3.0 * spread)
    off = np.clip(np.abs(seen - level) / scale, 0.0, 2.0)
    inner = ndimage.uniform_filter1d(off, 5, axis=2, mode="nearest", origin=2)
    outer = ndimage.uniform_filter1d(off, 5, axis=2, mode="nearest", origin=-2)
    step = float(_RADII_MM[1] - _RADII_MM[0])
    strange = np.cumsum(np.maximum(off - 1.0, 0.0), axis=2) * step
    cost = -np.clip(outer - inner, 0.0, 1.5) + 0.2 * strange
    return np.asarray(_RADII_MM[0] + step * smoothest_sheet(cost, SETTINGS.vessel_bend))


def _filled(
    box: Volume, path: Points, radius: NDArray[np.float64], frame: tuple[Points, Points, Points]
) -> Volume:
    """Voxels within the wall, between the planes across both ends."""
    tangent, u, v = frame
    low, high = path.min(axis=0) - 28.0, path.max(axis=0) + 28.0
    index = box.grid.lps_from_ijk.inverse.points(np.stack((low, high)))
    start = np.maximum(np.floor(index[0]).astype(int), 0)
    stop = np.minimum(np.ceil(index[1]).astype(int) + 1, box.grid.shape)
    grid = box.grid.crop(start, stop)
    where = grid.centres()
    distance, nearest = cKDTree(path).query(where)
    near = np.flatnonzero(distance <= float(radius.max()) + 2.0)
    n = np.asarray(nearest)[near]
    off = where[near] - path[n]
    along = np.einsum("ij,ij->i", off, tangent[n])
    x, y = np.einsum("ij,ij->i", off, u[n]), np.einsum("ij,ij->i", off, v[n])
    angle = np.arctan2(y, x) % (2.0 * np.pi) / (2.0 * np.pi) * _ANGLES
    first = angle.astype(int) % _ANGLES
    part = angle - np.floor(angle)
    reach = radius[n, first] * (1.0 - part) + radius[n, (first + 1) % _ANGLES] * part
    inside = np.hypot(x, y) <= reach
    inside &= ~((n == 0) & (along < 0.0)) & ~((n == len(path) - 1) & (along > 0.0))
    values = np.zeros(len(where), dtype=np.float32)
    values[near[inside]] = 1.0
    share = ndimage.gaussian_filter(values.reshape(grid.shape), 0.5)
    return Volume(grid, share)
