"""The vertebrae in view, one by one from head to feet, named or not yet."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.frames import find_own_frame
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import CanalSpline, Vertebra
from vertebloc.anatomy.outlines import mask_points, outline_mask, split_components, unite_masks
from vertebloc.anatomy.separation import (
    BodyProfile,
    measure_body_profile,
    separate_vertebrae,
)
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.space.grids import Grid, Volume

_STRAY = 0.02  #: parts smaller than this share of a vertebra's largest part are stray islands
_RIM_MM = 3.0  #: rims of a body stand out that far beyond its walls
_BONY = (Structure.VERTEBRA, Structure.BODY, Structure.ARCH)


@dataclass(frozen=True, slots=True, eq=False)
class FoundBone:
    """One vertebra's bone and what could be found on it."""

    mask: Volume  #: without stray islands
    outline: Contour | None  #: as given; None if it was separated or put together from parts
    named: Level | None  #: as given
    vertebra: Vertebra | None  #: None if no frame can be found on it
    s_mm: float  #: where along the canal
    is_cut: bool  #: whether the edge of the images cuts its body
    trouble: str = ""  #: why there is no frame


def find_bones(contours: ContourSet, canal: CanalSpline) -> tuple[list[FoundBone], list[str]]:
    """All vertebrae above the sacrum, from head to feet, and notes.

    Parameters
    ----------
    contours : ContourSet
        Vertebrae outlined one by one with their levels, or all as one outline without.
    canal : CanalSpline
        Middle of the canal.

    Returns
    -------
    tuple of list of FoundBone and list of str
        Named ones if there are any; else those separated from the common outline.

    Raises
    ------
    InputError
        If no vertebra is outlined.
    """
    bony = tuple(c for c in contours.contours() if _is_named(c) or _is_unnamed(c))
    everything = outline_mask(contours, bony)
    if everything is None:
        raise InputError(
            "no vertebra is outlined above the sacrum: outline at least the diseased one and "
            "its neighbours"
        )
    tumour = outline_mask(contours, contours.of(Structure.TUMOUR))
    masks = (everything,) if tumour is None else (everything, tumour)
    profile = measure_body_profile(masks, canal)
    found, notes = _named_masks(contours)
    unnamed = outline_mask(contours, tuple(c for c in bony if _is_unnamed(c)))
    if found and unnamed is not None:
        notes.append("an outline of vertebrae without levels was not used beside named ones")
    elif unnamed is not None:
        parts = separate_vertebrae(unnamed, canal, profile)
        notes.append(f"{len(parts)} vertebrae separated at their discs from one outline")
        found = [(None, None, _without_strays(part)[0]) for part in parts]
    edge = None if contours.label_map is None else contours.label_map.volume.grid
    bones = [
        replace(_examine(mask, canal, profile, edge), outline=outline, named=level)
        for level, outline, mask in found
    ]
    order = sorted(bones, key=lambda bone: bone.s_mm)
    named = [bone.named for bone in order if bone.named is not None]
    if named != sorted(named):
        notes.append(
            "THE NAMES OF THE VERTEBRAE DO NOT RUN FROM HEAD TO FEET: in the images they come as "
            f"{', '.join(str(level) for level in named)}; check names and orientation"
        )
    return order, notes


def _named_masks(
    contours: ContourSet,
) -> tuple[list[tuple[Level | None, Contour | None, Volume]], list[str]]:
    """Level, outline and mask of each named vertebra, and notes."""
    found: list[tuple[Level | None, Contour | None, Volume]] = []
    notes = []
    for level in sorted({c.level for c in contours.contours() if _is_named(c) and c.level}):
        same = [c for c in contours.contours() if _is_named(c) and c.level == level]
        mask = outline_mask(contours, tuple(same))
        if mask is None:
            continue
        clean, strays = _without_strays(mask)
        if strays:
            notes.append(f"stray islands left out when the frame of {level} was found: {strays}")
        whole = len(same) == 1 and same[0].structure is Structure.VERTEBRA
        found.append((level, same[0] if whole else None, clean))
    return found, notes


def _is_named(contour: Contour) -> bool:
    """Whether an outline is bone of a named vertebra above the sacrum."""
    level = contour.level
    return contour.structure in _BONY and level is not None and level.region != "S"


def _is_unnamed(contour: Contour) -> bool:
    """Whether an outline is bone of vertebrae without a level."""
    return contour.structure in _BONY and contour.level is None


def _without_strays(mask: Volume) -> tuple[Volume, int]:
    """The vertebra without small parts, and how many were left out."""
    parts = split_components(mask)
    largest = np.count_nonzero(parts[0].values)
    kept = [p for p in parts if np.count_nonzero(p.values) >= _STRAY * largest]
    return unite_masks(kept), len(parts) - len(kept)


def _examine(
    mask: Volume, canal: CanalSpline, profile: BodyProfile, edge: Grid | None
) -> FoundBone:
    """Find a bone's frame and whether the images cut it."""
    points = mask_points(mask)
    try:
        vertebra = find_own_frame(mask, canal, profile)
    except InputError as trouble:
        s_mm = float(np.median(canal.nearest_s_mm(points[:: max(1, len(points) // 4000)])))
        cut = edge is not None and _touches_edge(mask, edge)
        return FoundBone(mask, None, None, None, s_mm, cut, str(trouble))
    low = [vertebra.right_wall_mm, vertebra.anterior_wall_mm, vertebra.lower_endplate_mm]
    high = [vertebra.left_wall_mm, vertebra.posterior_wall_mm, vertebra.upper_endplate_mm]
    local = vertebra.lps_from_vertebra.inverse.points(points)
    body = np.zeros(mask.values.shape, dtype=bool)
    body[mask.values.astype(bool)] = np.all(
        (local > np.array(low) - _RIM_MM) & (local < np.array(high) + _RIM_MM), axis=1
    )
    cut = edge is not None and _touches_edge(Volume(mask.grid, body), edge)
    return FoundBone(mask, None, None, vertebra, vertebra.canal_s_mm, cut)


def _touches_edge(mask: Volume, whole: Grid) -> bool:
    """Whether a mask reaches the outermost voxels of the images."""
    values = mask.values
    start = whole.lps_from_ijk.inverse.points(mask.grid.lps_from_ijk.origin)[0].round()
    for axis in range(3):
        others = tuple(a for a in range(3) if a != axis)
        at = np.flatnonzero(values.any(axis=others)) + start[axis]
        if len(at) and (at.min() <= 0 or at.max() >= whole.shape[axis] - 1):
            return True
    return False
