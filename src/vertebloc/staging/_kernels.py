"""Array work of staging: arrays in, arrays out."""

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Whole = NDArray[np.int64]


def canal_walls(bone: Flags, step_mm: float, wall_ratio: float) -> tuple[Floats, Floats, Flags]:
    """Radii of the canal's wall and of the bone's outer surface on every ray.

    ``bone`` is (planes, rays, radii). A ray whose first bone is farther out than ``wall_ratio``
    times the median looks through a gap (foramen, between laminae); its wall is that of the same
    ray in the nearest plane that has one, or lies between those of the neighbouring rays.
    Returns wall and outer radius, (planes, rays), and which rays met a wall themselves.
    """
    met = bone.any(axis=2)
    wall = bone.argmax(axis=2) * step_mm
    outer = (bone.shape[2] - bone[:, :, ::-1].argmax(axis=2)) * step_mm
    own = met & (wall > 0.0)
    if not own.any():
        return np.zeros(met.shape), np.zeros(met.shape), own
    own &= wall <= wall_ratio * np.median(wall[own])
    planes = np.arange(len(bone))
    filled = np.full(met.shape, np.nan)
    for ray in range(bone.shape[1]):
        known = np.flatnonzero(own[:, ray])
        if len(known):
            nearest = np.abs(planes[:, None] - known[None, :]).argmin(axis=1)
            filled[:, ray] = wall[known[nearest], ray]
    seen = ~np.isnan(filled[0])
    rays = np.arange(bone.shape[1])
    for plane in range(len(bone)):
        filled[plane] = np.interp(rays, rays[seen], filled[plane, seen], period=len(rays))
    return filled, np.where(met, outer, 0.0), own


def areas_by_group(groups: Whole, areas: Floats, count: int) -> Floats:
    """Total area of each group, (count,)."""
    return np.bincount(groups, weights=areas, minlength=count).astype(np.float64)


def growth_to_share(
    groups: Whole,
    growth: Floats,
    areas: tuple[Floats, Floats],
    bone: Floats,
    share_of: tuple[float, float],
) -> Floats:
    """Least growth at which tumour fills a share of each group's tumour and bone together.

    A sample joins the tumour when the outline has grown by its ``growth``. ``areas`` are, for
    each sample, its area, and the part of it that is bone; ``bone`` is the area of all bone of
    each group; ``share_of`` is (share, least area that counts as the whole). Returns one growth
    a group, inf if the share is never reached. The share can only rise with growth.
    """
    order = np.lexsort((growth, groups))
    group = groups[order]
    starts = np.searchsorted(group, np.arange(len(bone)))
    tumour, eaten = (_running_sum(one[order], group, starts) for one in areas)
    whole = np.maximum(tumour + bone[group] - eaten, share_of[1])
    return _first_growth(tumour >= share_of[0] * whole, group, growth[order], len(bone))


def growth_to_area(
    groups: Whole, growth: Floats, areas: Floats, count: int, least: float
) -> Floats:
    """Least growth at which tumour fills ``least`` area of each group; inf if never, (count,)."""
    order = np.lexsort((growth, groups))
    group = groups[order]
    starts = np.searchsorted(group, np.arange(count))
    full = _running_sum(areas[order], group, starts) >= least
    return _first_growth(full, group, growth[order], count)


def _first_growth(full: Flags, group: Whole, growth: Floats, count: int) -> Floats:
    found = np.full(count, np.inf)
    np.minimum.at(found, group[full], growth[full])
    return found


def _running_sum(values: Floats, group: Whole, starts: Whole) -> Floats:
    """Cumulative sum that begins anew in each group (groups in order)."""
    total = np.concatenate(([0.0], np.cumsum(values)))
    return np.asarray(total[1:] - total[starts[group]])
