"""Vertebral bodies between their discs: a wall all round, chosen as one smooth sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vertebloc.outlining.first_drafts.box import read_at
from vertebloc.outlining.first_drafts.canal import TrackedCanal
from vertebloc.outlining.first_drafts.discs import Disc, endplates
from vertebloc.outlining.first_drafts.settings import SETTINGS
from vertebloc.outlining.first_drafts.sheets import smoothest_sheet
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points

_ANGLES = 72
_RADII_MM = np.arange(3.0, 34.01, 0.5)
_HALF_MM = 26.0  #: half width of the square in which endplates are looked for

Slices = tuple[slice, slice, slice]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """A body's place, its wall and the voxels in it."""

    above: Disc
    below: Disc
    centre: NDArray[np.float64]  #: (3,) mm
    left: NDArray[np.float64]  #: (3,) unit vectors
    back: NDArray[np.float64]
    up: NDArray[np.float64]
    height_mm: float  #: between the middles of both discs
    half_width_mm: float
    half_depth_mm: float
    box: Slices  #: of the working box
    inside: NDArray[np.bool_]  #: voxels of that box

    @property
    def is_whole(self) -> bool:
        """Whether both discs are in the images."""
        return not (self.above.is_end or self.below.is_end)

    def own(self, points: Points) -> Points:
        """Points along its own left, back and up from its centre, (..., 3)."""
        axes = np.stack((self.left, self.back, self.up), axis=1)
        return np.asarray((points - self.centre) @ axes)


def draft_body(box: Volume, canal: TrackedCanal, above: Disc, below: Disc, dense: float) -> Body:
    """The body between two discs.

    Parameters
    ----------
    box : Volume
        Hounsfield units on even voxels.
    canal : TrackedCanal
        Behind the body.
    above, below : Disc
        Planes of the discs, or of the images' ends.
    dense : float, HU
        Typical spongy bone.

    Returns
    -------
    Body
        Its wall and voxels.

    Notes
    -----
    Rays leave the body's axis at several heights. A place on a ray is good if it is brighter
    within than without, and bad if a good place came before it: so the wall does not pass a
    dark seam to lie on the far side of a vessel filled with contrast. The wall is the smoothest
    good sheet (messages along rings and heights).
    """
    middle = 0.5 * (above.s_mm + below.s_mm)
    n = int(np.argmin(np.abs(canal.s_mm - middle)))
    front = float(canal.wall_mm[n, 0])
    heights = max(6, round(float(np.linalg.norm(above.centre - below.centre))))
    share = (np.arange(heights) + 0.5) / heights
    left, back, axis = _axis(above, below, share)
    axis = axis + _axis_shift(canal, axis, back, front)[:, None] * back
    ring = _ring(axis, left, back, _wall(box, axis, left, back, dense))
    axis = ndimage.gaussian_filter1d(ring.mean(axis=1), 4.0, axis=0, mode="nearest")
    radius = _wall(box, axis, left, back, dense)
    return _fill(box, above, below, dense, (share, axis, left, back, radius))


def _axis(above: Disc, below: Disc, share: NDArray[np.float64]) -> tuple[Points, Points, Points]:
    f = share[:, None]
    left = (1.0 - f) * below.left + f * above.left
    left = left / np.linalg.norm(left, axis=1, keepdims=True)
    back = (1.0 - f) * below.back + f * above.back
    back = back - np.einsum("ij,ij->i", back, left)[:, None] * left
    back = back / np.linalg.norm(back, axis=1, keepdims=True)
    return left, back, (1.0 - f) * below.centre + f * above.centre


def _axis_shift(
    canal: TrackedCanal, axis: Points, back: Points, front: float
) -> NDArray[np.float64]:
    """How far back the axis must move to start 11 mm before the canal's front wall."""
    at = canal.line.at(canal.line.nearest_s_mm(axis))
    now = np.einsum("ij,ij->i", at - axis, back)
    return np.asarray(now - (front + 11.0))


def _rays(left: Points, back: Points) -> Points:
    angles = 2.0 * np.pi * np.arange(_ANGLES) / _ANGLES
    return np.asarray(
        np.sin(angles)[:, None] * left[:, None] - np.cos(angles)[:, None] * back[:, None]
    )


def _ring(axis: Points, left: Points, back: Points, radius: NDArray[np.float64]) -> Points:
    return np.asarray(axis[:, None] + radius[:, :, None] * _rays(left, back))


def _wall(
    box: Volume, axis: Points, left: Points, back: Points, dense: float
) -> NDArray[np.float64]:
    """Distance of the wall along each ray, (heights, angles) mm."""
    step = float(_RADII_MM[1] - _RADII_MM[0])
    rays = _rays(left, back)
    points = axis[:, None, None] + _RADII_MM[:, None] * rays[:, :, None]
    seen = np.clip(read_at(box, points), -100.0, dense + 250.0)
    seen = ndimage.gaussian_filter(seen, (1.0, 0.7, 0.0), mode=("nearest", "wrap", "nearest"))
    width = 2 * round(1.0 / step) + 1
    shift = width // 2  # the window ends, or begins, at the place itself
    inner = ndimage.uniform_filter1d(seen, width, axis=2, mode="nearest", origin=shift)
    outer = ndimage.uniform_filter1d(seen, width, axis=2, mode="nearest", origin=-shift)
    drop = np.clip((inner - outer) / 100.0, 0.0, SETTINGS.wall_most_drop)
    gone = np.maximum.accumulate(drop, axis=2)
    back_mm = round(SETTINGS.wall_second_mm / step)
    passed = np.zeros_like(gone)
    passed[:, :, back_mm:] = gone[:, :, :-back_mm]
    dark = np.clip((SETTINGS.wall_dark_hu - seen) / 100.0, 0.0, 1.5)
    void = np.cumsum(dark, axis=2) * step
    cost = -drop + SETTINGS.wall_passed * passed + SETTINGS.wall_void * void
    chosen = smoothest_sheet(cost, SETTINGS.wall_bend)
    return _half_way(seen, drop, _RADII_MM[0] + step * chosen)


def _half_way(
    seen: NDArray[np.float32], drop: NDArray[np.float32], radius: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Where the wall has an edge: half way in brightness between cortex and what is outside."""
    from_wall = _RADII_MM - radius[:, :, None]
    peak = np.where((from_wall > -3.0) & (from_wall <= 1.0), seen, -np.inf).max(axis=2)
    low = np.where((from_wall >= 0.0) & (from_wall <= 2.5), seen, np.inf).min(axis=2)
    above = (seen > 0.5 * (peak + low)[:, :, None]) & (from_wall <= 0.5) & (from_wall > -3.0)
    last = seen.shape[2] - 1 - np.argmax(above[:, :, ::-1], axis=2)
    edge = np.take_along_axis(
        drop, np.clip(np.rint(radius * 2.0 - 6.0), 0, last.max()).astype(int)[:, :, None], 2
    )[:, :, 0]
    found = above.any(axis=2) & (edge > 0.6)
    refined = np.where(found, _RADII_MM[last] + 0.25, radius)
    return np.asarray(ndimage.gaussian_filter(refined, (0.7, 0.7), mode=("nearest", "wrap")))


def _fill(
    box: Volume,
    above: Disc,
    below: Disc,
    dense: float,
    wall: tuple[NDArray[np.float64], Points, Points, Points, NDArray[np.float64]],
) -> Body:
    """Voxels within the wall and between the endplates."""
    share, axis, left, back, radius = wall
    ring = _ring(axis, left, back, radius)
    low, high = ring.min(axis=(0, 1)) - 6.0, ring.max(axis=(0, 1)) + 6.0
    index = box.grid.lps_from_ijk.inverse.points(np.stack((low, high)))
    start = np.maximum(np.floor(index[0]).astype(int), 0)
    stop = np.minimum(np.ceil(index[1]).astype(int) + 1, box.grid.shape)
    where = box.grid.crop(start, stop).centres()
    over = (where - below.centre) @ below.up
    under = (above.centre - where) @ above.up
    f = over / np.maximum(over + under, 1e-6)
    row = np.clip(f * len(share) - 0.5, 0.0, len(share) - 1.0)
    at = np.column_stack([np.interp(row, np.arange(len(share)), c) for c in axis.T])
    n = np.rint(row).astype(int)
    from_axis = where - at
    u = np.einsum("ij,ij->i", from_axis, left[n])
    v = np.einsum("ij,ij->i", from_axis, back[n])
    angle = np.arctan2(u, -v) % (2.0 * np.pi) / (2.0 * np.pi) * _ANGLES
    reach = ndimage.map_coordinates(
        np.pad(radius, ((0, 0), (0, 1)), mode="wrap"), (row, angle), order=1, mode="nearest"
    )
    inside = (np.hypot(u, v) <= reach) & (over > 0.0) & (under > 0.0)
    for disc, sign in ((above, -1), (below, 1)):
        if not disc.is_end:
            inside &= _beyond_endplate(box, disc, where, ring, dense, sign)
    size = tuple(int(b - a) for a, b in zip(start, stop, strict=True))
    middle = len(share) // 2
    mean_left, mean_back = left[middle], back[middle]
    up = np.cross(mean_left, mean_back)
    own = (ring[middle] - axis[middle]) @ np.stack((mean_left, mean_back), axis=1)
    half = 0.5 * np.ptp(own, axis=0)
    return Body(
        above=above,
        below=below,
        centre=ring[middle].mean(axis=0),
        left=mean_left,
        back=mean_back,
        up=up,
        height_mm=float(np.linalg.norm(above.centre - below.centre)),
        half_width_mm=float(half[0]),
        half_depth_mm=float(half[1]),
        box=(
            slice(int(start[0]), int(stop[0])),
            slice(int(start[1]), int(stop[1])),
            slice(int(start[2]), int(stop[2])),
        ),
        inside=inside.reshape(size),
    )


def _beyond_endplate(
    box: Volume, disc: Disc, where: Points, ring: Points, dense: float, sign: int
) -> NDArray[np.bool_]:
    """Whether voxels lie on the body's side of its endplate (sign +1: body above the disc)."""
    axis, above, below = endplates(box, disc, _HALF_MM, dense)
    height = above if sign > 0 else below
    rim = ring[0] if sign > 0 else ring[-1]
    known = _within(axis, disc, rim, 0.82)
    nearest = ndimage.distance_transform_edt(~known, return_distances=False, return_indices=True)
    height = ndimage.gaussian_filter(height[tuple(nearest)], 1.0, mode="nearest")
    off = where - disc.centre
    u = (off @ disc.left - axis[0]) / (axis[1] - axis[0])
    v = (off @ disc.back - axis[0]) / (axis[1] - axis[0])
    edge = ndimage.map_coordinates(height, (u, v), order=1, mode="nearest")
    return np.asarray(sign * (off @ disc.up - edge) >= 0.0)


def _within(axis: NDArray[np.float64], disc: Disc, rim: Points, share: float) -> NDArray[np.bool_]:
    """Columns of the disc's square that lie inside the body's rim, shrunk by a share."""
    flat = (rim - disc.centre) @ np.stack((disc.left, disc.back), axis=1)
    middle = flat.mean(axis=0)
    angles = np.arctan2(flat[:, 0] - middle[0], flat[:, 1] - middle[1])
    order = np.argsort(angles)
    radius = np.linalg.norm(flat - middle, axis=1)[order]
    u, v = np.meshgrid(axis - middle[0], axis - middle[1], indexing="ij")
    limit = np.interp(np.arctan2(u, v), angles[order], radius, period=2.0 * np.pi)
    inside = np.hypot(u, v) <= share * limit
    if not inside.any():
        inside[len(axis) // 2, len(axis) // 2] = True
    return np.asarray(inside)
