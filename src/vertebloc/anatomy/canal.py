"""The middle line of the spinal canal, from whatever outline of it there is.

It cannot see the canal itself where only a sac or a cord was outlined: these may lie off
the canal's middle by some mm, and a tumour may push them further.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import make_smoothing_spline
from scipy.spatial import cKDTree

from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.model import CanalSpline
from vertebloc.anatomy.outlines import mask_points, outline_mask, split_components
from vertebloc.anatomy.structures import Structure
from vertebloc.errors import InputError
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points

_STEP_MM = 3.0  #: length of canal that gives one centre
_SMOOTH_MM = 60.0  #: waves of the line shorter than this are the cord's, not the spine's
_NEAR_TUMOUR_MM = 3.0  #: a sac or cord that close to tumour may be pushed
_GAP_MM = 12.0  #: longer gaps of the outline are mentioned
_ASIDE_MM = 8.0  #: a part that lies further off the line of the largest part is a stray island
_CRUMB = 0.02  #: parts smaller than this share of the largest are strays

_SOURCES = (
    (Structure.CANAL, "outline of the spinal canal"),
    (Structure.SAC, "outline of the sac (no canal was outlined)"),
    (Structure.CORD, "outline of the spinal cord (neither canal nor sac was outlined)"),
)


@dataclass(frozen=True, slots=True)
class _Centres:
    """Centres of the outline along a line, with their weights."""

    s_mm: NDArray[np.float64]
    points: Points
    weights: NDArray[np.float64]


def find_canal(contours: ContourSet) -> CanalSpline:
    """Middle of the spinal canal from the canal's, else the sac's, else the cord's outline.

    Parameters
    ----------
    contours : ContourSet
        Outlines of one time point.

    Returns
    -------
    CanalSpline
        From head to feet over the length of the outline, with its source and notes.

    Raises
    ------
    InputError
        If none of the three is outlined, or the outline is shorter than two steps of 3 mm.

    Notes
    -----
    Centres of 3 mm long pieces of the outline, pieces taken across the line itself (second
    pass), then a smoothing spline that halves waves of 60 mm length, with weights that fade
    where a centre lies off (Huber). Stray islands are left out. Where a sac or a cord comes
    within 3 mm of tumour, the line is bridged from above and below, and the note says how
    far the outline lies from the bridge. Which end is the head is known from patient LPS.
    """
    structure, source, mask = _canal_outline(contours)
    points, notes = _leave_out_islands(mask, structure)
    axis = _long_axis(points)
    centres = _centres_of(points, points @ -axis)
    line = _line_through(_without_short_ends(centres), source)
    centres = _without_short_ends(_centres_of(points, line.nearest_s_mm(points)))
    if structure is not Structure.CANAL:
        centres, note = _bridge_tumour(contours, points, line, centres)
        notes += note
    gaps = np.diff(centres.s_mm)
    notes += [
        f"the {structure.value}'s outline has a gap of {gap:.0f} mm, bridged"
        for gap in gaps[gaps > _GAP_MM]
        if not notes or "bridged from above" not in notes[-1]
    ]
    line = _line_through(centres, source)
    return CanalSpline(line.s_mm, line.points, source, tuple(notes))


def _canal_outline(contours: ContourSet) -> tuple[Structure, str, Volume]:
    """The best outline to find the canal from, its words and its mask."""
    for structure, source in _SOURCES:
        mask = outline_mask(contours, contours.of(structure))
        if mask is not None:
            return structure, source, mask
    raise InputError(
        "no spinal canal, sac or spinal cord is outlined: outline one of them, "
        "the vertebral frames are built on it"
    )


def _leave_out_islands(mask: Volume, structure: Structure) -> tuple[Points, list[str]]:
    """Points of the outline without stray islands, and a note if there were any."""
    parts = split_components(mask)
    largest = mask_points(parts[0])
    axis = _long_axis(largest)
    kept, strays = [largest], 0
    middle = largest.mean(axis=0)
    for part in parts[1:]:
        points = mask_points(part)
        offset = points.mean(axis=0) - middle
        along = float(offset @ axis)
        beyond = max(0.0, abs(along) - float(np.abs((largest - middle) @ axis).max()))
        near = largest[np.abs((largest - middle) @ axis - along) < beyond + 10.0]
        line = near.mean(axis=0) if len(near) else middle
        aside = points.mean(axis=0) - line
        aside_mm = float(np.linalg.norm(aside - (aside @ axis) * axis))
        if len(points) < _CRUMB * len(largest) or aside_mm > _ASIDE_MM + 0.7 * beyond:
            strays += 1
        else:
            kept.append(points)
    note = [f"stray islands of the {structure.value}'s outline left out: {strays}"] * bool(strays)
    return np.concatenate(kept), note


def _long_axis(points: Points) -> NDArray[np.float64]:
    """Direction of the outline's length towards the head; patient +z where it is short."""
    _, spread, axes = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)
    axis = np.array(axes[0] if spread[0] > 1.5 * spread[1] else (0.0, 0.0, 1.0))
    return np.asarray(axis * (1.0 if axis[2] >= 0 else -1.0), dtype=np.float64)


def _centres_of(points: Points, s_mm: NDArray[np.float64]) -> _Centres:
    """Centre of the points of each step along a line, weighted by their number."""
    bins = np.floor((s_mm - s_mm.min()) / _STEP_MM).astype(int)
    count = np.bincount(bins).astype(np.float64)
    full = count > 0
    sums = np.stack([np.bincount(bins, weights=p) for p in (*points.T, s_mm)])
    means = (sums[:, full] / count[full]).T
    weights = np.minimum(1.0, count[full] / np.median(count[full]))
    return _Centres(means[:, 3], means[:, :3], weights)


def _without_short_ends(centres: _Centres) -> _Centres:
    """Leave out steps with few points: cut obliquely at the ends, they lie off the middle."""
    keep = centres.weights > 0.5
    if np.count_nonzero(keep) < 2:
        raise InputError(
            f"the canal's outline is only {np.ptp(centres.s_mm):.0f} mm long: outline at least "
            f"{3 * _STEP_MM:.0f} mm of it"
        )
    return _Centres(centres.s_mm[keep], centres.points[keep], centres.weights[keep])


def _line_through(centres: _Centres, source: str) -> CanalSpline:
    """Robust smooth line through centres, its knots evenly spaced along its own length."""
    s, points = centres.s_mm, centres.points
    fine = np.linspace(s[0], s[-1], max(3, int(np.ceil(np.ptp(s)))))
    if len(s) < 5:  # too short to know any bend
        line = np.stack([np.polyval(np.polyfit(s, p, 1), fine) for p in points.T], axis=1)
    else:
        # transfer 1 / (1 + lam h k^4) is one half at the wavelength _SMOOTH_MM
        lam = (_SMOOTH_MM / (2.0 * np.pi)) ** 4 / float(np.median(np.diff(s)))
        weights = np.array(centres.weights)
        for _ in range(4):
            splines = [make_smoothing_spline(s, p, w=weights, lam=lam) for p in points.T]
            off = np.linalg.norm(np.stack([f(s) for f in splines], axis=1) - points, axis=1)
            scale = max(0.3, 1.5 * float(np.median(off)))
            weights = centres.weights * np.minimum(1.0, scale / np.maximum(off, 1e-9))
        line = np.stack([f(fine) for f in splines], axis=1)
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    even = np.linspace(0.0, length[-1], max(3, int(np.ceil(length[-1] / _STEP_MM)) + 1))
    knots = np.stack([np.interp(even, length, p) for p in line.T], axis=1)
    return CanalSpline(even, knots, source)


def _bridge_tumour(
    contours: ContourSet, points: Points, line: CanalSpline, centres: _Centres
) -> tuple[_Centres, list[str]]:
    """Leave out centres where tumour touches the outline, if there are some on both sides."""
    mask = outline_mask(contours, contours.of(Structure.TUMOUR))
    if mask is None:
        return centres, []
    reach = _NEAR_TUMOUR_MM + float(mask.grid.spacing_mm.max()) / 2.0
    near = np.isfinite(cKDTree(mask_points(mask)).query(points, distance_upper_bound=reach)[0])
    if not near.any():
        return centres, []
    touched = line.nearest_s_mm(points[near])
    pushed = (centres.s_mm > touched.min() - _STEP_MM) & (centres.s_mm < touched.max() + _STEP_MM)
    above = np.count_nonzero(centres.s_mm[~pushed] < touched.min())
    below = np.count_nonzero(centres.s_mm[~pushed] > touched.max())
    if min(above, below) < 4:
        return centres, [
            "tumour touches the outline at its end: the line may be pushed there, "
            "outline more of it above and below"
        ]
    rest = _Centres(centres.s_mm[~pushed], centres.points[~pushed], centres.weights[~pushed])
    bridge = _line_through(rest, line.source)
    there = centres.points[pushed]
    off = float(np.linalg.norm(there - bridge.at(bridge.nearest_s_mm(there)), axis=1).max())
    return rest, [
        f"tumour touches the outline over {np.ptp(touched):.0f} mm: the line is bridged from "
        f"above and below there; the outline lies up to {off:.1f} mm from it"
    ]
