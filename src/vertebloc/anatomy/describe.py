"""Everything about the spine that later steps need, from the outlines of one time point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.bones import FoundBone, find_bones
from vertebloc.anatomy.canal import find_canal
from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.counting import count_levels
from vertebloc.anatomy.frames import interpolate_frame, measure_diseased_walls
from vertebloc.anatomy.handedness import judge_handedness
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.markers import find_markers
from vertebloc.anatomy.model import (
    Anatomy,
    CanalSpline,
    Rib,
    SideVerdict,
    Vertebra,
)
from vertebloc.anatomy.outlines import mask_points, outline_mask
from vertebloc.anatomy.ribs import RibPiece, assign_owners, find_rib_pieces, find_side
from vertebloc.anatomy.structures import Structure
from vertebloc.case.choice_words import CountedFrom
from vertebloc.errors import InputError
from vertebloc.space.frames import Side
from vertebloc.space.grids import Grid

_TURNED_DEG = 10.0  #: own and interpolated frame of the diseased vertebra differ notably
_LOUD = "LEVELS DO NOT AGREE"
_INSIDE_MM = 3.0  #: a place counts as in view if it lies that far inside the images


@dataclass(frozen=True, slots=True, eq=False)
class _OwnedRib:
    """A rib, the side it lies on, and the place of its owner among the bones."""

    piece: RibPiece
    side: Side
    owner: int | None


def describe_anatomy(contours: ContourSet, *, diseased: Level | None = None) -> Anatomy:
    """Canal, vertebral frames, levels, ribs with their owners, and left and right.

    Parameters
    ----------
    contours : ContourSet
        Outlines of one time point.
    diseased : Level or None
        The vertebra whose frame is interpolated from its neighbours; None = the one that
        holds most of the tumour, if a tumour is outlined.

    Returns
    -------
    Anatomy
        Vertebrae that the images cut, and those without a level, are not in ``vertebrae``.

    Raises
    ------
    InputError
        If there is no outline of canal, sac or cord, or of any vertebra; if no frame can be
        found; or if the diseased level is not among the vertebrae in view.

    Notes
    -----
    Says nothing of whether the outlines are right. ``warnings`` are for a person to read
    before anything is planned.
    """
    canal = find_canal(contours)
    bones, notes = find_bones(contours, canal)
    if all(bone.vertebra is None for bone in bones):
        raise InputError(f"no vertebral frame can be found: {bones[0].trouble}")
    pieces, rib_notes = find_rib_pieces(contours, canal)
    ribs = _own_ribs(pieces, bones)
    rows = [
        frozenset(rib.side for rib in ribs if rib.owner == place) for place in range(len(bones))
    ]
    ends = find_ends_in_view(contours, bones, ribs, rows)
    counted = count_levels([bone.named for bone in bones], rows, ends)
    levels = counted.levels
    if diseased is None:
        diseased = _level_with_most_tumour(
            contours, canal, [(lv, b.s_mm) for lv, b in zip(levels, bones, strict=True)]
        )
    vertebrae, frame_notes = _final_frames(contours, canal, bones, levels, diseased)
    frames = [bone.vertebra for bone in bones if bone.vertebra is not None]
    handedness = judge_handedness(contours, canal, frames)
    loud = (handedness.words,) * (handedness.verdict is SideVerdict.CONTRADICTS)
    found_ribs, name_notes = _name_ribs(ribs, levels)
    markers = find_markers(contours, canal, vertebrae)
    ends |= {CountedFrom.PLACED_MARKER} if markers else frozenset()
    return Anatomy(
        canal=canal,
        vertebrae={v.level: v for v in vertebrae if v.level is not None},
        ribs=found_ribs,
        bone={
            level: bone.outline if bone.outline is not None else bone.mask
            for level, bone in zip(levels, bones, strict=True)
            if level is not None
        },
        warnings=(
            *loud,
            *counted.warnings,
            *name_notes,
            *canal.notes,
            *notes,
            *rib_notes,
            *frame_notes,
        ),
        handedness=handedness,
        ends_in_view=ends,
        counting=counted.words,
        uncounted=tuple(v for v in vertebrae if v.level is None),
        level_conflicts=(*counted.conflicts, *(n for n in name_notes if n.startswith(_LOUD))),
        rib_pairs=counted.pairs,
        lumbar=counted.lumbar,
        markers=markers,
    )


def default_diseased_level(contours: ContourSet, anatomy: Anatomy) -> Level:
    """The vertebra that holds most of the tumour.

    Parameters
    ----------
    contours : ContourSet
        Outlines, with a tumour.
    anatomy : Anatomy
        From ``describe_anatomy``.

    Returns
    -------
    Level
        A default only: the level is confirmed by a named person who counts.

    Raises
    ------
    InputError
        If no tumour is outlined or most of it lies at a vertebra without a level.
    """
    places: list[tuple[Level | None, float]] = [
        (v.level, v.canal_s_mm) for v in (*anatomy.vertebrae.values(), *anatomy.uncounted)
    ]
    if outline_mask(contours, contours.of(Structure.TUMOUR)) is None:
        raise InputError("no tumour is outlined: outline it, or name the diseased level")
    level = _level_with_most_tumour(contours, anatomy.canal, sorted(places, key=lambda p: p[1]))
    if level is None:
        raise InputError(
            "most of the tumour lies at a vertebra whose level is not known: name the vertebrae"
        )
    return level


def tumour_share(contours: ContourSet, anatomy: Anatomy, level: Level) -> float:
    """How much of the tumour lies nearest to one vertebra.

    Parameters
    ----------
    contours : ContourSet
        Outlines, with a tumour.
    anatomy : Anatomy
        From ``describe_anatomy``.
    level : Level
        One of its vertebrae.

    Returns
    -------
    float, -
        0 to 1, of the tumour's volume.

    Raises
    ------
    InputError
        If no tumour is outlined.

    Notes
    -----
    Nearest along the canal's middle line to the middle of the vertebra's body; says nothing of
    whether the vertebra's bone is touched.
    """
    vertebrae = (*anatomy.vertebrae.values(), *anatomy.uncounted)
    counts = _tumour_counts(contours, anatomy.canal, [v.canal_s_mm for v in vertebrae])
    if counts is None:
        raise InputError("no tumour is outlined: outline it, or name the diseased level")
    mine = sum(int(n) for v, n in zip(vertebrae, counts, strict=True) if v.level == level)
    return mine / int(counts.sum())


def _level_with_most_tumour(
    contours: ContourSet, canal: CanalSpline, places: Sequence[tuple[Level | None, float]]
) -> Level | None:
    """Level of the body nearest along the canal to most of the tumour; None without one."""
    counts = _tumour_counts(contours, canal, [s_mm for _, s_mm in places])
    return None if counts is None else places[int(np.argmax(counts))][0]


def _tumour_counts(
    contours: ContourSet, canal: CanalSpline, places_s_mm: Sequence[float]
) -> NDArray[np.int64] | None:
    """Tumour points nearest along the canal to each place; None without tumour or place."""
    tumour = outline_mask(contours, contours.of(Structure.TUMOUR))
    if tumour is None or not places_s_mm:
        return None
    points = mask_points(tumour)
    s = canal.nearest_s_mm(points[:: max(1, len(points) // 20000)])
    nearest = np.argmin(np.abs(s[:, None] - np.array(places_s_mm)), axis=1)
    return np.bincount(nearest, minlength=len(places_s_mm)).astype(np.int64)


def _own_ribs(pieces: list[RibPiece], bones: list[FoundBone]) -> list[_OwnedRib]:
    """Give each rib its side and its owner."""
    usable = [(place, b.vertebra) for place, b in enumerate(bones) if b.vertebra is not None]
    frames = [vertebra for _, vertebra in usable]
    sides = [find_side(piece, frames) for piece in pieces]
    owned = []
    for side in Side:
        mine = [p for p, s in zip(pieces, sides, strict=True) if s is side]
        for piece, owner in zip(mine, assign_owners(mine, frames), strict=True):
            owned.append(_OwnedRib(piece, side, None if owner is None else usable[owner][0]))
    return owned


def _name_ribs(
    ribs: list[_OwnedRib], levels: Sequence[Level | None]
) -> tuple[tuple[Rib, ...], list[str]]:
    """Ribs with their levels: the given name if there is one, else the owner's; conflicts."""
    found, notes = [], []
    for rib in ribs:
        piece = rib.piece
        owner = levels[rib.owner] if rib.owner is not None else None
        side = piece.named_side or rib.side
        if piece.named_level is not None and owner not in (None, piece.named_level):
            notes.append(
                f"LEVELS DO NOT AGREE: the {side.value} rib named {piece.named_level} belongs by "
                f"its place to the vertebra {owner}. Have a person count"
            )
        found.append(
            Rib(
                level=piece.named_level or owner,
                side=side,
                head=piece.end,
                mask=piece.mask,
            )
        )
    nobody = sum(rib.owner is None and rib.piece.named_level is None for rib in ribs)
    if nobody:
        notes.append(f"{nobody} ribs or parts of ribs belong to no vertebra in view")
    return tuple(sorted(found, key=lambda r: (r.level is None, r.level or 0, r.side.value))), notes


def find_ends_in_view(
    contours: ContourSet,
    bones: list[FoundBone],
    ribs: list[_OwnedRib],
    rows: list[frozenset[Side]],
) -> frozenset[CountedFrom]:
    """Ends from which levels can be counted and that the images show.

    Parameters
    ----------
    contours : ContourSet
        Outlines; the label map's grid says how far the images reach.
    bones : list of FoundBone
        From head to feet.
    ribs : list
        Ribs with their owners.
    rows : list of frozenset of Side
        On which sides each bone carries a rib.

    Returns
    -------
    frozenset of CountedFrom
        The first (last) rib counts as in view if the place where a head would lie one
        vertebra higher (lower) is inside the images on a side at least, the vertebra there
        is outlined or the names say T1 (T12), and, for the first rib, no part of a rib
        without its head is in view: ribs slope down, it would come from above.
    """
    ends = set()
    if any(
        outline_mask(contours, (c,)) is not None
        for c in contours.contours()
        if c.structure is Structure.SACRUM or (c.level is not None and c.level.name == "S1")
    ):
        ends.add(CountedFrom.SACRUM)
    bearing = [place for place, sides in enumerate(rows) if sides]
    if not bearing:
        return frozenset(ends)
    grid = contours.label_map.volume.grid if contours.label_map is not None else None
    headless = any(not rib.piece.has_head_end for rib in ribs)
    for end, place, step, name in (
        (CountedFrom.FIRST_RIB, bearing[0], -1, "T1"),
        (CountedFrom.LAST_RIB, bearing[-1], 1, "T12"),
    ):
        outlined = 0 <= place + step < len(bones)
        said = bones[place].named == Level(name)
        if end is CountedFrom.FIRST_RIB and headless:
            continue
        if (outlined or said) and _next_head_in_view(grid, bones, ribs, place, step):
            ends.add(end)
    return frozenset(ends)


def _next_head_in_view(
    grid: Grid | None, bones: list[FoundBone], ribs: list[_OwnedRib], place: int, step: int
) -> bool:
    """Whether a rib's head one vertebra further on would be inside the images."""
    here, beyond, before = [
        bones[p].vertebra if 0 <= p < len(bones) else None
        for p in (place, place + step, place - step)
    ]
    if grid is None:
        return beyond is not None
    if here is None or (beyond is None and before is None):
        return False
    origin = here.lps_from_vertebra.origin
    if beyond is not None:
        shift = beyond.lps_from_vertebra.origin - origin
    else:
        assert before is not None
        shift = origin - before.lps_from_vertebra.origin
    heads = np.array([rib.piece.head for rib in ribs if rib.owner == place]) + shift
    index = grid.lps_from_ijk.inverse.points(heads)
    room = _INSIDE_MM / grid.spacing_mm
    last = np.array(grid.shape) - 1.0
    return bool(np.any(np.all((index >= room) & (index <= last - room), axis=1)))


def _final_frames(
    contours: ContourSet,
    canal: CanalSpline,
    bones: list[FoundBone],
    levels: Sequence[Level | None],
    diseased: Level | None,
) -> tuple[list[Vertebra], list[str]]:
    """Frames of the vertebrae that are wholly in view, the diseased one's interpolated."""
    frames: dict[int, Vertebra] = {}
    notes = []
    for place, (bone, level) in enumerate(zip(bones, levels, strict=True)):
        name = str(level) if level is not None else f"the vertebra at place {place + 1} in view"
        if bone.is_cut:
            notes.append(f"{name} is cut by the edge of the images: no frame")
        elif bone.vertebra is not None:
            frames[place] = replace(bone.vertebra, level=level)
        elif level != diseased:
            notes.append(f"{name} has no frame: {bone.trouble}")
    if diseased is None:
        return list(frames.values()), notes
    if diseased not in levels:
        known = ", ".join(str(level) for level in levels if level is not None) or "none"
        raise InputError(f"the diseased level {diseased} is not outlined; in view: {known}")
    place = list(levels).index(diseased)
    above, below = frames.get(place - 1), frames.get(place + 1)
    if above is None or below is None:
        if place not in frames:
            raise InputError(
                f"{diseased} has no frame of its own and a neighbour is not wholly in view: "
                "outline both neighbours"
            )
        notes.append(
            f"{diseased} keeps its own frame, since a neighbour is not wholly in view: a tumour "
            "may have turned it"
        )
        return list(frames.values()), notes
    tumour = outline_mask(contours, contours.of(Structure.TUMOUR))
    expected = interpolate_frame(frames.get(place), above, below, canal)
    frames[place] = measure_diseased_walls(
        replace(expected, level=diseased), bones[place].mask, tumour, canal
    )
    notes += _frame_doubts(frames[place])
    return [frames[p] for p in sorted(frames)], notes


def _frame_doubts(vertebra: Vertebra) -> list[str]:
    """What the cross-check of the diseased vertebra's frame says, if it is worth saying."""
    angle = vertebra.own_frame_differs_deg
    if angle is None:
        return [f"{vertebra.level} has no frame of its own to check the interpolated one against"]
    if angle > _TURNED_DEG:
        return [
            f"the own frame of {vertebra.level} is turned by {angle:.0f} degrees against the one "
            "interpolated from its neighbours, which is used"
        ]
    return []
