"""The spinal canal in a CT: a soft tube with bone around, followed up and down from one place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from vertebloc.anatomy.model import CanalSpline
from vertebloc.anatomy.rays import across_canal
from vertebloc.errors import InputError
from vertebloc.outlining.first_drafts.box import cut_box, read_at
from vertebloc.outlining.first_drafts.settings import SETTINGS
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.transforms import Points

_COARSE_MM = 1.5
_DIRECTIONS = 16
_RAYS = 48


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrackedCanal:
    """Middle of the canal and how far its wall is all round."""

    line: CanalSpline
    s_mm: NDArray[np.float64]  #: (n,) every mm
    angles: NDArray[np.float64]  #: (m,) radians, from the front over the left
    wall_mm: NDArray[np.float64]  #: (n, m) from the middle to the wall

    def axes(self, s_mm: ArrayLike) -> tuple[Points, Points, Points]:
        """Unit vectors to the left, the back and the head, each (n, 3)."""
        up = self.line.tangent(s_mm)
        back = across_canal(self.line, s_mm, (0.0, 1.0, 0.0))
        return np.cross(back, up), back, up


def track_canal(ct: Volume, bodies: Points) -> TrackedCanal:
    """Follow the canal over the bodies clicked on and beyond.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    bodies : (n, 3) float64, mm, patient LPS
        A place inside each body clicked on.

    Returns
    -------
    TrackedCanal
        Reaching some 85 mm past the outermost clicks or to the images' end.

    Raises
    ------
    InputError
        If there is no tube of soft tissue ringed by bone behind the places.

    Notes
    -----
    In each slice a soft place scores the share of 16 directions in which bone is met within
    15 mm. The line of the greatest sum is found by dynamic programming from slice to slice (at
    most 45 degrees of lean), through a window behind each body; then each point is put in the
    middle between opposite walls, and the line smoothed.
    """
    low = bodies.min(axis=0) - np.array([55.0, 25.0, SETTINGS.canal_reach_mm])
    high = bodies.max(axis=0) + np.array([55.0, 80.0, SETTINGS.canal_reach_mm])
    box = cut_box(ct, low, high, _COARSE_MM)
    smooth = ndimage.gaussian_filter(np.asarray(box.values, dtype=np.float32), 0.6)
    score = _enclosure(smooth)
    score = _only_behind(score, box.grid, bodies)
    path = _best_path(score)
    k = np.arange(len(path))
    points = box.grid.lps_from_ijk.points(np.column_stack((path, k)).astype(np.float64))
    on_path = score[path[:, 0], path[:, 1], k]
    first, last = _trusted(on_path, box.grid, bodies)
    line = _line(points[first : last + 1])
    for _ in range(2):
        line = _centred(box, line)
    return _measure_wall(box, line)


def find_spine(ct: Volume, low_mm: float, high_mm: float) -> Points:
    """Places in the bodies of the spine, found without a click on any.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    low_mm, high_mm : float, mm
        Between which heights (patient LPS) to look.

    Returns
    -------
    (n, 3) float64, mm, patient LPS
        Some 22 mm before the middle of the most canal-like tube, every 6 mm.

    Raises
    ------
    InputError
        If there is no such tube.
    """
    ends = ct.grid.corners()
    first, last = ends.min(axis=0), ends.max(axis=0)
    first[2], last[2] = max(first[2], low_mm), min(last[2], high_mm)
    box = cut_box(ct, first, last, 2.0 * _COARSE_MM)
    score = _enclosure(np.asarray(box.values), SETTINGS.find_bone_hu, 2.0 * _COARSE_MM)
    path = _best_path(score)
    k = np.arange(len(path))
    if float(np.median(score[path[:, 0], path[:, 1], k])) < SETTINGS.canal_least_score:
        raise InputError("no spinal canal was found at this height: is the spine in the images?")
    points = box.grid.lps_from_ijk.points(np.column_stack((path, k)).astype(np.float64))
    points = ndimage.gaussian_filter1d(points, 3.0, axis=0, mode="nearest")
    return np.asarray(points[1:-1:2] - np.array([0.0, 22.0, 0.0]))


def _enclosure(
    values: NDArray[np.float32],
    bone_hu: float = SETTINGS.canal_bone_hu,
    voxel_mm: float = _COARSE_MM,
) -> NDArray[np.float32]:
    """Share of directions in which bone is met within reach; -1 in bone and beside it."""
    bone = values > bone_hu
    met = np.zeros(values.shape, dtype=np.float32)
    steps = int(SETTINGS.canal_radius_mm / voxel_mm)
    for turn in range(_DIRECTIONS):
        angle = 2.0 * np.pi * turn / _DIRECTIONS
        hit = np.zeros(bone.shape, dtype=bool)
        for step in range(1, steps + 1):
            di, dj = round(step * np.cos(angle)), round(step * np.sin(angle))
            hit |= _shifted(bone, di, dj)
        met += hit
    met /= _DIRECTIONS
    disc = np.hypot(*np.mgrid[-2:3, -2:3]) * voxel_mm <= 3.2
    near = ndimage.binary_dilation(bone, disc[:, :, None])
    bad = near | (values < -150.0)
    return np.where(bad, np.float32(-1.0), met - np.float32(0.35))


def _shifted(mask: NDArray[np.bool_], di: int, dj: int) -> NDArray[np.bool_]:
    """The mask's value ``(di, dj)`` away; False beyond the edge."""
    out = np.zeros_like(mask)
    ni, nj = mask.shape[:2]
    to = (slice(max(0, -di), ni - max(0, di)), slice(max(0, -dj), nj - max(0, dj)))
    of = (slice(max(0, di), ni - max(0, -di)), slice(max(0, dj), nj - max(0, -dj)))
    out[to] = mask[of]
    return out


def _only_behind(score: NDArray[np.float32], grid: Grid, bodies: Points) -> NDArray[np.float32]:
    """Forbid all but a window behind each body in its slice."""
    out = score.copy()
    i, j = np.indices(score.shape[:2])
    for index in grid.lps_from_ijk.inverse.points(bodies):
        aside = (i - index[0]) * _COARSE_MM
        behind = (j - index[1]) * _COARSE_MM
        window = (np.abs(aside) <= 20.0) & (behind >= 8.0) & (behind <= 48.0)
        k = int(np.clip(np.rint(index[2]), 0, score.shape[2] - 1))
        out[:, :, k] = np.where(window, out[:, :, k], -50.0)
    return out


def _best_path(score: NDArray[np.float32]) -> NDArray[np.int64]:
    """The line of the greatest sum through all slices, (nk, 2) indices."""
    ni, nj, nk = score.shape
    total = score[:, :, 0].astype(np.float32)
    came = np.zeros((nk, ni, nj), dtype=np.int8)
    moves = [(a, b) for a in (-1, 0, 1) for b in (-1, 0, 1)]
    for k in range(1, nk):
        best = np.full((ni, nj), -np.inf, dtype=np.float32)
        for number, (di, dj) in enumerate(moves):
            padded = np.full((ni + 2, nj + 2), -np.inf, dtype=np.float32)
            padded[1:-1, 1:-1] = total
            moved = padded[1 + di : 1 + di + ni, 1 + dj : 1 + dj + nj]
            moved = moved - np.float32(0.04 * (di * di + dj * dj))
            better = moved > best
            best = np.where(better, moved, best)
            came[k][better] = number
        total = best + score[:, :, k]
    i, j = np.unravel_index(int(np.argmax(total)), total.shape)
    path = np.zeros((nk, 2), dtype=np.int64)
    path[-1] = (i, j)
    for k in range(nk - 1, 0, -1):
        path[k - 1] = path[k] + moves[came[k][tuple(path[k])]]
    return path


def _trusted(on_path: NDArray[np.float32], grid: Grid, bodies: Points) -> tuple[int, int]:
    """First and last slice, around the clicks, up to which the tube is ringed by bone."""
    window = max(1, round(20.0 / _COARSE_MM))
    smooth = ndimage.uniform_filter1d(np.maximum(on_path, -1.0), window, mode="nearest")
    good = smooth > SETTINGS.canal_least_score
    k = np.rint(grid.lps_from_ijk.inverse.points(bodies)[:, 2]).astype(int)
    low, high = int(np.clip(k.min(), 0, len(good) - 1)), int(np.clip(k.max(), 0, len(good) - 1))
    if not good[low : high + 1].all():
        raise InputError(
            "no spinal canal ringed by bone was found behind the place clicked on: click in the "
            "middle of a vertebral body"
        )
    while low > 0 and good[low - 1]:
        low -= 1
    while high < len(good) - 1 and good[high + 1]:
        high += 1
    return low, high


def _line(points: Points) -> CanalSpline:
    """A smooth line through points that run from feet to head."""
    sigma = SETTINGS.canal_smooth_mm / _COARSE_MM
    ends = round(3.0 * sigma)
    before = points[0] - (points[ends:0:-1] - points[0]) if len(points) > ends else points[:0]
    after = points[-1] - (points[-2 : -ends - 2 : -1] - points[-1])
    after = after if len(points) > ends + 1 else points[:0]
    whole = np.concatenate((before, points, after))
    smooth = ndimage.gaussian_filter1d(whole, sigma, axis=0, mode="nearest")
    smooth = smooth[len(before) : len(before) + len(points)][::-1]  # from the head
    along = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(smooth, axis=0), axis=1))))
    knots = np.arange(0.0, along[-1], 3.0)
    if len(knots) < 4:
        raise InputError("too little of the spinal canal is in the images to draft a vertebra")
    at = np.column_stack([np.interp(knots, along, c) for c in smooth.T])
    return CanalSpline(knots, at, "followed in the CT")


def _rays(line: CanalSpline, s: NDArray[np.float64]) -> tuple[Points, NDArray[np.float64]]:
    back = across_canal(line, s, (0.0, 1.0, 0.0))
    left = np.cross(back, line.tangent(s))
    angles = 2.0 * np.pi * np.arange(_RAYS) / _RAYS
    rays = np.sin(angles)[:, None] * left[:, None] - np.cos(angles)[:, None] * back[:, None]
    return rays, angles


def _hits(box: Volume, line: CanalSpline, s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Way to bone along each ray, (n, rays); NaN where none is met."""
    rays, _ = _rays(line, s)
    r = np.arange(2.0, SETTINGS.canal_radius_mm + 0.1, 0.5)
    points = line.at(s)[:, None, None] + r[:, None] * rays[:, :, None]
    seen = read_at(box, points) > SETTINGS.canal_bone_hu
    first = r[np.argmax(seen, axis=2)]
    return np.where(seen.any(axis=2), first, np.nan)


def _centred(box: Volume, line: CanalSpline) -> CanalSpline:
    """Each point in the middle between opposite walls, where both are met."""
    s = np.arange(line.s_mm[0], line.s_mm[-1] + 0.1, _COARSE_MM)
    rays, _ = _rays(line, s)
    hit = _hits(box, line, s)
    half = _RAYS // 2
    off = 0.5 * (hit[:, :half] - hit[:, half:])
    known = np.isfinite(off)
    towards = rays[:, :half] * np.where(known, off, 0.0)[:, :, None]
    count = known.sum(axis=1)
    shift = 2.0 * towards.sum(axis=1) / np.maximum(count, 1)[:, None]
    weight = np.clip(count / half, 0.05, 1.0)
    sigma = 6.0 / _COARSE_MM
    even = ndimage.gaussian_filter1d(shift * weight[:, None], sigma, axis=0, mode="nearest")
    even /= ndimage.gaussian_filter1d(weight, sigma, mode="nearest")[:, None]
    length = np.linalg.norm(even, axis=1, keepdims=True)
    even *= np.minimum(1.0, 4.0 / np.maximum(length, 1e-6))
    return _line((line.at(s) + even)[::-1])


def _measure_wall(box: Volume, line: CanalSpline) -> TrackedCanal:
    """Distance of the wall all round, bridged where nerves leave and at the discs."""
    s = np.arange(line.s_mm[0], line.s_mm[-1], 1.0)
    hit = _hits(box, line, s)
    _, angles = _rays(line, s)
    known = np.isfinite(hit)
    value = np.where(known, hit, 0.0)
    typical = float(np.median(hit[known])) if known.any() else 8.0
    filled = value
    for sigma in ((1.0, 1.0), (4.0, 1.5), (12.0, 3.0)):
        weight = ndimage.gaussian_filter(known.astype(float), sigma, mode=("nearest", "wrap"))
        mean = ndimage.gaussian_filter(value, sigma, mode=("nearest", "wrap")) / np.maximum(
            weight, 1e-6
        )
        use = (filled == 0.0) & (weight > 0.2)
        filled = np.where(use, mean, filled)
    filled = np.where(filled == 0.0, typical, filled)
    wrapped = np.pad(filled, ((0, 0), (2, 2)), mode="wrap")
    lowest = ndimage.median_filter(wrapped, (9, 5), mode="nearest")[:, 2:-2]
    return TrackedCanal(line=line, s_mm=s, angles=angles, wall_mm=np.minimum(filled, lowest + 2.0))
