"""Where the cuts go: by the rule, moved until the finite face keeps the wanted margin."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from vertebloc.anatomy.model import Anatomy, Vertebra
from vertebloc.case.choice_words import KindChoice, Placement, RibFateChoice
from vertebloc.case.choices import (
    ASSUMED_RIB_LENGTH_MM,
    Choices,
    CutChoice,
    HalfPlacement,
)
from vertebloc.errors import InputError
from vertebloc.resection.arch_parts import arch_planes
from vertebloc.resection.cuts import arch_cut, half_cut, heights_between, words_for_height
from vertebloc.resection.disc_sections import body_cut_face, is_in_disc
from vertebloc.resection.fates import ArchPlan
from vertebloc.resection.kinds import sagittal_cut, taken_half
from vertebloc.resection.margins import measure_face
from vertebloc.resection.model import HalfCut
from vertebloc.resection.piece import BoneSolids, Cuts, mid_plane, wall_plane
from vertebloc.resection.rib_heads import RibHead, rib_head, rib_name
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import face_of_solid, solid_from_surface, trimmed

_STEP_MM = 0.1  #: added to each move, so that the wanted margin is reached and not just missed
#: The last bit of tumour in bone, where outlines made in different ways agree least, mm3 and mm:
#: 5 mm3 of a needle's tract 2.4 mm thick are 1.1 mm long, twice that where it leaves the bone at
#: a slant (assumed). It counts as that long whatever it looks like.
TIP_MM3, TIP_MM = 5.0, 2.2
_ARCH_LIMIT_MM = 45.0  #: an arch cut farther back than this leaves the bone
_PEDICLE_STUMP_MM = 0.5  #: arch only: a pedicle is not cut nearer to the body than this (assumed)


def place_cuts(
    anatomy: Anatomy,
    solids: ResectionSolids,
    bones: BoneSolids,
    choices: Choices,
    arch: ArchPlan,
) -> Cuts:
    """Place all cuts.

    Parameters
    ----------
    anatomy : Anatomy
        Frames and endplates.
    solids : ResectionSolids
        Tumour and names.
    bones : BoneSolids
        Bones ready for cutting.
    choices : Choices
        By rule or by hand, and the wanted margin.
    arch : ArchPlan
        Which pedicles leave with the piece.

    Returns
    -------
    Cuts
        Body cuts, arch cuts and the bases at the posterior wall.

    Raises
    ------
    InputError
        If the cuts cross or lie on the wrong side of the body's middle.
    """
    vertebra = anatomy.vertebrae[solids.level]
    if choices.kind is KindChoice.ARCH_ONLY:
        return Cuts(
            cranial={}, caudal={}, arch={}, nibbled=arch.nibbled, stays=arch.stays,
            base={side: _place_pedicle_cut(vertebra, solids, bones, choices, side)
                  for side in Side},
        )  # fmt: skip
    cranial, caudal = place_body_cuts(anatomy, solids, bones, choices)
    half = choices.kind is KindChoice.HALF_BODY
    taken = taken_half(vertebra, solids.tumour, choices)
    base = {
        side: arch_cut(
            vertebra, side, vertebra.posterior_wall_mm, name=f"{side.value} pedicle base",
            words=f"{side.value} pedicle at the posterior wall", towards_back=True,
        )
        for side in Side
    }  # fmt: skip
    behind = {side: _place_arch_cut(vertebra, solids, bones, choices, side)
              for side in arch.with_piece}  # fmt: skip
    return Cuts(
        cranial=cranial, caudal=caudal, arch=behind, base=base,
        sagittal=sagittal_cut(vertebra, taken, choices.sagittal_cut_mm) if half else None,
        ribs=_rib_heads(anatomy, solids, choices, vertebra),
        whole=arch.whole, nibbled=arch.nibbled, stays=arch.stays,
    )  # fmt: skip


def place_body_cuts(
    anatomy: Anatomy, solids: ResectionSolids, bones: BoneSolids, choices: Choices
) -> tuple[Mapping[Side, HalfCut], Mapping[Side, HalfCut]]:
    """Place the cuts through the bodies only: those that a hand moves.

    Parameters
    ----------
    anatomy : Anatomy
        Frames and endplates.
    solids : ResectionSolids
        Tumour and names.
    bones : BoneSolids
        Bones ready for cutting.
    choices : Choices
        By rule or by hand, and the wanted margin.

    Returns
    -------
    tuple of two mappings of Side to HalfCut
        The cranial cut's halves and the caudal one's; half a body: on the side that is taken
        only; arch only: none.

    Raises
    ------
    InputError
        If the cuts cross or lie on the wrong side of the body's middle.
    """
    if choices.kind is KindChoice.ARCH_ONLY:
        return {}, {}
    cranial = _body_cut(anatomy, solids, bones, choices, cranial=True)
    caudal = _body_cut(anatomy, solids, bones, choices, cranial=False)
    for side in cranial:
        if caudal[side].plane.signed_distance_mm(cranial[side].entry)[0] > -1.0:
            raise InputError(
                f"the {side.value} halves of the two body cuts cross: give the cranial one a "
                "larger height_mm than the caudal one"
            )
    return cranial, caudal


def _body_cut(
    anatomy: Anatomy,
    solids: ResectionSolids,
    bones: BoneSolids,
    choices: Choices,
    *,
    cranial: bool,
) -> Mapping[Side, HalfCut]:
    choice = choices.cranial_cut if cranial else choices.caudal_cut
    sides = tuple(Side)
    if choices.kind is KindChoice.HALF_BODY:
        sides = (taken_half(anatomy.vertebrae[solids.level], solids.tumour, choices),)
    if choice.placed is Placement.BY_HAND:
        return _half_cuts(anatomy, solids, choice, sides, cranial=cranial)
    disc, first, last = heights_between(
        anatomy, solids.level, solids.neighbours[0 if cranial else 1],
        cranial=cranial, end=solids.levels[0 if cranial else -1],
    )  # fmt: skip
    outward = 1.0 if cranial else -1.0
    height, moved = disc, False
    for _ in range(12):  # the margin grows at most as fast as the cut moves: each move falls short
        made = _half_cuts(anatomy, solids, _level_cut(height), sides, cranial=cranial)
        missing = choices.wanted_margin_mm - _least_margin(anatomy, solids, bones, made, choices)
        if missing <= 0.0 or (moved and outward * (height - last) >= -1e-9):
            return made
        height = height + outward * (missing + _STEP_MM) if moved else first
        moved = True
        height = outward * min(outward * height, outward * last)
    return made


def _rib_heads(
    anatomy: Anatomy, solids: ResectionSolids, choices: Choices, vertebra: Vertebra
) -> tuple[RibHead, ...]:
    """Ribs chosen to be cut to the side."""
    found = []
    for rib in anatomy.ribs:
        choice = choices.rib(str(rib.level), rib.side)
        surface = solids.ribs.get(rib_name(rib))
        if choice.fate is RibFateChoice.HEAD_ON_PIECE and surface is not None:
            length = ASSUMED_RIB_LENGTH_MM if choice.length_mm is None else choice.length_mm
            found.append(rib_head(rib, solid_from_surface(surface), length, vertebra))
    return tuple(found)


def _level_cut(height_mm: float) -> CutChoice:
    half = HalfPlacement(height_mm=float(np.round(height_mm, 2)))
    return CutChoice(placed=Placement.BY_HAND, halves=dict.fromkeys(Side, half))


def _half_cuts(
    anatomy: Anatomy,
    solids: ResectionSolids,
    choice: CutChoice,
    sides: tuple[Side, ...],
    *,
    cranial: bool,
) -> Mapping[Side, HalfCut]:
    level, order = solids.level, sorted(solids.bone)
    at = order.index(level)
    upto = tuple(order[at - 1 :: -1] if cranial else order[at + 1 :])
    made = {}
    for side in sides:
        placement = choice.halves[side]
        words, where = words_for_height(anatomy, level, upto, placement.height_mm, cranial=cranial)
        cut = half_cut(
            anatomy.vertebrae[level], placement, side, cranial=cranial, words=words, level=where
        )
        wall = solids.back_walls.get(where)
        made[side] = cut if wall is None else _entered_at(cut, wall)
    return made


def _entered_at(cut: HalfCut, wall: Plane) -> HalfCut:
    """The same cut, its entry slid along the blade to the posterior wall of the cut vertebra."""
    way = float((wall.point - cut.entry) @ wall.normal / (cut.blade @ wall.normal))
    return replace(cut, entry=cut.entry + way * cut.blade)


def _least_margin(
    anatomy: Anatomy,
    solids: ResectionSolids,
    bones: BoneSolids,
    made: Mapping[Side, HalfCut],
    choices: Choices,
) -> float:
    vertebra = anatomy.vertebrae[solids.level]
    forward = vertebra.lps_from_vertebra.vectors([0.0, -1.0, 0.0])[0]
    least = np.inf
    for side, cut in made.items():
        half = mid_plane(vertebra, side)
        if choices.kind is KindChoice.HALF_BODY:
            half = sagittal_cut(vertebra, side, choices.sagittal_cut_mm).plane
        face = body_cut_face(bones.front, cut, forward, [half], bones.ends, bones.known)
        if not face.is_empty:
            least = min(least, measure_face(face, solids.tumour_field).margin_mm)
        if face.is_empty or is_in_disc(cut):  # a blade that leaves the disc has no wall to stop it
            least = min(least, float(-cut.plane.signed_distance_mm(solids.tumour.vertices).max()))
    return float(least)


def _place_arch_cut(
    vertebra: Vertebra, solids: ResectionSolids, bones: BoneSolids, choices: Choices, side: Side
) -> HalfCut:
    """The wanted margin behind the hindmost tumour in this half of the bone.

    Moved farther back if the finite face comes too near to tumour all the same. Started from the
    tumour and not from the face's own margin: that one jumps where the arch ends, and outlines
    made another way would then move the cut by mm.
    """
    wall = vertebra.posterior_wall_mm
    hindmost = bones.kept.of(
        ("hindmost tumour", side.value),
        lambda: _hindmost_tumour_mm(vertebra, bones, side),
    )
    y = max(hindmost + TIP_MM + choices.wanted_margin_mm + _STEP_MM, wall + 3.0)
    left = vertebra.lps_from_vertebra.vectors([1.0, 0.0, 0.0])[0]
    for _ in range(12):
        cut = arch_cut(
            vertebra, side, y, name=f"{side.value} arch cut",
            words=f"{side.value} arch behind the pedicle", towards_back=True,
        )  # fmt: skip
        face: PlanarFace = face_of_solid(
            bones.own, cut.plane.frame(left), [mid_plane(vertebra, side)]
        )
        if face.is_empty:
            return cut
        missing = choices.wanted_margin_mm - measure_face(face, solids.tumour_field).margin_mm
        if missing <= 0.0 or y >= wall + _ARCH_LIMIT_MM:
            return cut
        y = min(y + missing + _STEP_MM, wall + _ARCH_LIMIT_MM)
    return cut


def _hindmost_tumour_mm(vertebra: Vertebra, bones: BoneSolids, side: Side) -> float:
    """How far back tumour in bone reaches on one side, but for a tip of ``TIP_MM3``."""
    half = [mid_plane(vertebra, side)]
    inside = trimmed(bones.tumour ^ bones.own, half)
    low, high = vertebra.posterior_wall_mm, vertebra.posterior_wall_mm + _ARCH_LIMIT_MM
    if inside.volume() <= TIP_MM3:
        return -np.inf
    lps = vertebra.lps_from_vertebra
    forward = lps.vectors([0.0, -1.0, 0.0])[0]
    while high - low > 0.01:
        middle = (low + high) / 2.0
        behind = trimmed(inside, [Plane(lps.points([0.0, middle, 0.0])[0], forward)])
        low, high = (middle, high) if behind.volume() > TIP_MM3 else (low, middle)
    return high


def _place_pedicle_cut(
    vertebra: Vertebra, solids: ResectionSolids, bones: BoneSolids, choices: Choices, side: Side
) -> HalfCut:
    """Arch only: across the pedicle's middle, moved forward until the wanted margin is kept."""
    wall, end = vertebra.posterior_wall_mm, arch_planes(vertebra).pedicle_end_mm
    y, foremost = (wall + end) / 2.0, wall + _PEDICLE_STUMP_MM
    left = vertebra.lps_from_vertebra.vectors([1.0, 0.0, 0.0])[0]
    within = [mid_plane(vertebra, side), wall_plane(vertebra, keep_front=False)]
    for _ in range(12):
        cut = arch_cut(
            vertebra, side, y, name=f"{side.value} arch cut at the pedicle",
            words=f"{side.value} pedicle", towards_back=False,
        )  # fmt: skip
        face = face_of_solid(bones.own, cut.plane.frame(left), within)
        if face.is_empty or y <= foremost:
            return cut
        missing = choices.wanted_margin_mm - measure_face(face, solids.tumour_field).margin_mm
        if missing <= 0.0:
            return cut
        y = max(y - missing - _STEP_MM, foremost)
    return cut
