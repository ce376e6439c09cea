"""What happens to each part of the arch and to each rib, by the rule or as chosen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Vertebra
from vertebloc.case.choice_words import ArchPart, BoneChoice, KindChoice, OpenSide, RibFateChoice
from vertebloc.case.choices import Choices
from vertebloc.errors import InputError
from vertebloc.resection.arch_parts import PEDICLE
from vertebloc.resection.kinds import taken_half
from vertebloc.resection.model import BoneFate, HalfCut, RibFate
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.frames import Side

#: A pedicle counts as diseased as soon as more tumour than this lies in it, mm3: the noise of
#: counting voxels where two outlines touch (assumed). As small as that, because the two errors
#: differ: a healthy pedicle that leaves with the piece costs little, a diseased one that is
#: nibbled away spills tumour.
PEDICLE_DISEASED_MM3 = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchPlan:
    """Which side is opened, and which pedicles leave with the piece."""

    open_side: Side
    with_piece: frozenset[Side]  #: sides whose pedicle leaves with the piece
    whole: frozenset[ArchPart]  #: parts chosen to leave with the piece, uncut
    nibbled: frozenset[ArchPart]  #: parts chosen to be taken piecemeal where others leave
    stays: frozenset[ArchPart]
    tumour_in_pedicle_mm3: Mapping[Side, float]
    fates: Mapping[str, BoneFate]
    notes: tuple[str, ...]


def plan_arch(vertebra: Vertebra, solids: ResectionSolids, choices: Choices) -> ArchPlan:
    """Decide the side of the opening and the fate of each part of the arch.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one.
    solids : ResectionSolids
        Tumour and bone.
    choices : Choices
        The team's choices; ``by rule`` is decided here.

    Returns
    -------
    ArchPlan
        At least one pedicle is taken piecemeal: a closed ring cannot leave the cord. By rule the
        ring is opened on the side whose pedicle holds less tumour, and away from the tumour's
        middle if neither holds any; the other pedicle leaves with the piece if it is diseased.
        Half body: the arch of the half that stays, stays; on the half that is taken, the pedicle
        leaves if it is diseased. Arch only: all of it leaves, both pedicles are cut.

    Raises
    ------
    InputError
        If both pedicles are to leave with a body, a pedicle is to stay on a half that is taken,
        or a part that cannot leave is to leave.
    """
    inside = {side: _tumour_in_pedicle_mm3(vertebra, solids, side) for side in Side}
    if choices.kind is KindChoice.HALF_BODY:
        return _half_arch(vertebra, solids, choices, inside)
    if choices.kind is KindChoice.ARCH_ONLY:
        return _whole_arch(vertebra, solids, choices, inside)
    open_side = _open_side(vertebra, solids, choices, inside)
    fates = {PEDICLE[side]: _pedicle_fate(choices, side, open_side, inside) for side in Side}
    with_piece = frozenset(s for s in Side if fates[PEDICLE[s]] is BoneFate.PIECE)
    if len(with_piece) == 2 or open_side in with_piece:
        raise InputError(
            f"the {open_side.value} pedicle is to leave with the piece, but the ring is opened "
            "there: the cord lies in the ring, so one pedicle must be piecemeal"
        )
    for part, choice in choices.arch.parts.items():
        if part in PEDICLE.values():
            continue
        by_rule = choice is BoneChoice.BY_RULE
        fates[part] = BoneFate.PIECEMEAL if by_rule else BoneFate(choice.value)
    whole = _whole_parts(choices, with_piece)
    notes: tuple[str, ...] = ()
    if inside[open_side] > PEDICLE_DISEASED_MM3:
        notes = (
            f"the ring is opened through the {open_side.value} pedicle, which holds "
            f"{inside[open_side] / 1000.0:.3f} ml of tumour: planned contamination",
        )
    return ArchPlan(
        open_side=open_side,
        with_piece=with_piece,
        whole=whole,
        nibbled=_chosen(choices, BoneChoice.PIECEMEAL) if with_piece else frozenset(),
        stays=_chosen(choices, BoneChoice.STAYS),
        tumour_in_pedicle_mm3=inside,
        fates={part.value: fates[part] for part in ArchPart},
        notes=notes,
    )


def _half_arch(
    vertebra: Vertebra, solids: ResectionSolids, choices: Choices, inside: Mapping[Side, float]
) -> ArchPlan:
    """Half body: only the arch of the half that is taken is opened."""
    side = taken_half(vertebra, solids.tumour, choices)
    fates = {PEDICLE[side]: _pedicle_fate(choices, side, side.other, inside)}
    for part, choice in choices.arch.parts.items():
        if part is PEDICLE[side]:
            continue
        here = part.value.startswith(side.value)
        if choice is BoneChoice.PIECE and not here:
            raise InputError(
                f"{part.value} = 'piece' lies on the half that stays (the {side.value} one is "
                "taken): use 'stays' or 'piecemeal'"
            )
        by_rule = BoneFate.PIECEMEAL if here else BoneFate.STAYS
        fates[part] = by_rule if choice is BoneChoice.BY_RULE else BoneFate(choice.value)
    with_piece = frozenset({side} if fates[PEDICLE[side]] is BoneFate.PIECE else ())
    return ArchPlan(
        open_side=side,
        with_piece=with_piece,
        whole=_whole_parts(choices, with_piece),
        nibbled=_chosen(choices, BoneChoice.PIECEMEAL),
        stays=frozenset(part for part, fate in fates.items() if fate is BoneFate.STAYS),
        tumour_in_pedicle_mm3=inside,
        fates={part.value: fates[part] for part in ArchPart},
        notes=(),
    )


def _whole_arch(
    vertebra: Vertebra, solids: ResectionSolids, choices: Choices, inside: Mapping[Side, float]
) -> ArchPlan:
    """Arch only: it leaves to the back, so that the ring is opened by cutting both pedicles."""
    for side in Side:
        choice = choices.arch.parts[PEDICLE[side]]
        if choice not in (BoneChoice.BY_RULE, BoneChoice.PIECE):
            raise InputError(
                f"{PEDICLE[side].value} = {choice.value!r}, but kind is 'arch only': both "
                "pedicles are cut; use 'by rule'"
            )
    by_rule = {BoneChoice.BY_RULE: BoneFate.PIECE}
    fates = {
        part: by_rule.get(choice) or BoneFate(choice.value)
        for part, choice in choices.arch.parts.items()
    }
    return ArchPlan(
        open_side=_open_side(vertebra, solids, choices, inside),
        with_piece=frozenset(Side),
        whole=frozenset(),
        nibbled=_chosen(choices, BoneChoice.PIECEMEAL),
        stays=_chosen(choices, BoneChoice.STAYS),
        tumour_in_pedicle_mm3=inside,
        fates={part.value: fates[part] for part in ArchPart},
        notes=(),
    )


def _chosen(choices: Choices, fate: BoneChoice) -> frozenset[ArchPart]:
    """Parts other than pedicles with a chosen fate."""
    return frozenset(
        part
        for part, choice in choices.arch.parts.items()
        if choice is fate and part not in PEDICLE.values()
    )


def _whole_parts(choices: Choices, with_piece: frozenset[Side]) -> frozenset[ArchPart]:
    """Parts chosen to leave uncut, and the pedicles they hang on."""
    whole = _chosen(choices, BoneChoice.PIECE)
    if not whole:
        return whole
    return whole | {PEDICLE[side] for side in with_piece}


def _tumour_in_pedicle_mm3(vertebra: Vertebra, solids: ResectionSolids, side: Side) -> float:
    """Volume of tumour that lies in bone behind the posterior wall on one side."""
    field = solids.tumour_field.distances
    index = np.argwhere(np.asarray(field.values) < 0.0)
    points = field.grid.lps_from_ijk.points(index.astype(np.float64))
    local = vertebra.lps_from_vertebra.inverse.points(points)
    behind = (local[:, 1] > vertebra.posterior_wall_mm + 1.0) & (side.sign * local[:, 0] > 0)
    in_bone = solids.bone_field.signed_distance_mm(points[behind]) < -0.5
    return float(np.count_nonzero(in_bone)) * field.grid.voxel_volume_mm3


def _open_side(
    vertebra: Vertebra, solids: ResectionSolids, choices: Choices, inside: Mapping[Side, float]
) -> Side:
    if choices.arch.open_side is not OpenSide.BY_RULE:
        return Side(choices.arch.open_side.value)
    if max(inside.values()) > PEDICLE_DISEASED_MM3:
        return min(Side, key=lambda side: inside[side])
    middle = solids.tumour.vertices.mean(axis=0)
    x = vertebra.lps_from_vertebra.inverse.points(middle)[0, 0]
    return Side.RIGHT if x > 0 else Side.LEFT


def _pedicle_fate(
    choices: Choices, side: Side, open_side: Side, inside: Mapping[Side, float]
) -> BoneFate:
    choice = choices.arch.parts[PEDICLE[side]]
    if choice is BoneChoice.STAYS:
        raise InputError(
            f"{PEDICLE[side].value} = 'stays' frees no piece: use 'piece' or 'piecemeal'"
        )
    if choice is not BoneChoice.BY_RULE:
        return BoneFate(choice.value)
    diseased = inside[side] > PEDICLE_DISEASED_MM3 and side is not open_side
    return BoneFate.PIECE if diseased else BoneFate.PIECEMEAL


def plan_ribs(
    anatomy: Anatomy, levels: tuple[Level, ...], cuts: tuple[HalfCut, ...], choices: Choices
) -> dict[str, RibFate]:
    """Decide the fate of each rib near the piece.

    Parameters
    ----------
    anatomy : Anatomy
        Ribs and their owners.
    levels : tuple of Level
        The vertebrae whose bodies come out.
    cuts : tuple of HalfCut
        The cuts through bodies.
    choices : Choices
        The team's choices; by rule, a rib is removed with its head if it belongs to a body that
        comes out or its head lies between the cuts, on a side where a cut is made; none is if
        no body is cut.

    Returns
    -------
    dict of str to RibFate
        Keys such as ``left rib of T10``.

    Raises
    ------
    InputError
        If a rib's head is to stay on the piece, but does not lie between the cuts.
    """
    order = sorted(anatomy.vertebrae)
    sides = {cut.side for cut in cuts}
    fates: dict[str, RibFate] = {}
    for rib in anatomy.ribs:
        if rib.level is None or rib.level not in order:
            continue
        place = order.index(rib.level)
        if not order.index(levels[0]) - 1 <= place <= order.index(levels[-1]) + 1:
            continue
        choice = choices.rib(str(rib.level), rib.side).fate
        name = f"{rib.side.value} rib of {rib.level}"
        between = bool(cuts) and all(
            cut.plane.signed_distance_mm(rib.head)[0] < 0.0 for cut in cuts
        )
        if choice is RibFateChoice.HEAD_ON_PIECE and not between:
            raise InputError(
                f"{name} = 'head on piece', but its head does not lie between the body cuts: "
                "use 'removed' or 'kept', or move the cut beyond the head"
            )
        is_freed = rib.side in sides and (rib.level in levels or between)
        by_rule = RibFate.REMOVED if is_freed else RibFate.KEPT
        chosen = {
            RibFateChoice.KEPT: RibFate.KEPT,
            RibFateChoice.REMOVED: RibFate.REMOVED,
            RibFateChoice.HEAD_ON_PIECE: RibFate.HEAD_ON_PIECE,
        }
        fates[name] = chosen.get(choice, by_rule)
    return fates
