"""What happens to each part of the arch and to each rib, by the rule or as chosen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from vertebloc.anatomy.model import Anatomy, Vertebra
from vertebloc.case.choice_words import ArchPart, BoneChoice, OpenSide, RibFateChoice
from vertebloc.case.choices import Choices
from vertebloc.errors import InputError
from vertebloc.resection.model import BoneFate, HalfCut, RibFate
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.frames import Side

#: A pedicle counts as diseased as soon as more tumour than this lies in it, mm3: the noise of
#: counting voxels where two outlines touch (assumed). As small as that, because the two errors
#: differ: a healthy pedicle that leaves with the piece costs little, a diseased one that is
#: nibbled away spills tumour.
PEDICLE_DISEASED_MM3 = 2.0

_PEDICLE = {Side.LEFT: ArchPart.LEFT_PEDICLE, Side.RIGHT: ArchPart.RIGHT_PEDICLE}


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchPlan:
    """Which side is opened, and which pedicles leave with the piece."""

    open_side: Side
    with_piece: frozenset[Side]  #: sides whose pedicle leaves with the piece
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

    Raises
    ------
    InputError
        If both pedicles are to leave with the piece, or another part of the arch is.
    """
    inside = {side: _tumour_in_pedicle_mm3(vertebra, solids, side) for side in Side}
    open_side = _open_side(vertebra, solids, choices, inside)
    fates = {_PEDICLE[side]: _pedicle_fate(choices, side, open_side, inside) for side in Side}
    with_piece = frozenset(s for s in Side if fates[_PEDICLE[s]] is BoneFate.PIECE)
    if len(with_piece) == 2 or open_side in with_piece:
        raise InputError(
            f"the {open_side.value} pedicle is to leave with the piece, but the ring is opened "
            "there: the cord lies in the ring, so one pedicle must be piecemeal"
        )
    for part, choice in choices.arch.parts.items():
        if part in _PEDICLE.values():
            continue
        if choice is BoneChoice.PIECE:
            raise InputError(
                f"{part.value} = 'piece' cannot be computed yet: use 'piecemeal' or 'stays'"
            )
        fates[part] = BoneFate.STAYS if choice is BoneChoice.STAYS else BoneFate.PIECEMEAL
    notes: tuple[str, ...] = ()
    if inside[open_side] > PEDICLE_DISEASED_MM3:
        notes = (
            f"the ring is opened through the {open_side.value} pedicle, which holds "
            f"{inside[open_side] / 1000.0:.3f} ml of tumour: planned contamination",
        )
    return ArchPlan(
        open_side=open_side,
        with_piece=with_piece,
        tumour_in_pedicle_mm3=inside,
        fates={part.value: fates[part] for part in ArchPart},
        notes=notes,
    )


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
    choice = choices.arch.parts[_PEDICLE[side]]
    if choice is BoneChoice.STAYS:
        raise InputError(
            f"{_PEDICLE[side].value} = 'stays' frees no piece: use 'piece' or 'piecemeal'"
        )
    if choice is not BoneChoice.BY_RULE:
        return BoneFate(choice.value)
    diseased = inside[side] > PEDICLE_DISEASED_MM3 and side is not open_side
    return BoneFate.PIECE if diseased else BoneFate.PIECEMEAL


def plan_ribs(
    anatomy: Anatomy, vertebra: Vertebra, cuts: tuple[HalfCut, ...], choices: Choices
) -> dict[str, RibFate]:
    """Decide the fate of each rib near the piece.

    Parameters
    ----------
    anatomy : Anatomy
        Ribs and their owners.
    vertebra : Vertebra
        The diseased one.
    cuts : tuple of HalfCut
        The body cuts.
    choices : Choices
        The team's choices; by rule, a rib is removed with its head if it belongs to the
        diseased vertebra or its head lies between the cuts.

    Returns
    -------
    dict of str to RibFate
        Keys such as ``left rib of T10``.

    Raises
    ------
    InputError
        If a rib's head is to stay on the piece: that changes the piece and is not computed yet.
    """
    order = sorted(anatomy.vertebrae)
    fates: dict[str, RibFate] = {}
    for rib in anatomy.ribs:
        if rib.level is None or vertebra.level is None or rib.level not in order:
            continue
        if abs(order.index(rib.level) - order.index(vertebra.level)) > 1:
            continue
        choice = choices.rib(str(rib.level), rib.side).fate
        name = f"{rib.side.value} rib of {rib.level}"
        if choice is RibFateChoice.HEAD_ON_PIECE:
            raise InputError(
                f"{name} = 'head on piece' cannot be computed yet: use 'kept' or 'removed'"
            )
        between = all(cut.plane.signed_distance_mm(rib.head)[0] < 0.0 for cut in cuts)
        by_rule = RibFate.REMOVED if rib.level == vertebra.level or between else RibFate.KEPT
        chosen = {RibFateChoice.KEPT: RibFate.KEPT, RibFateChoice.REMOVED: RibFate.REMOVED}
        fates[name] = chosen.get(choice, by_rule)
    return fates
