"""What of the arch leaves with the piece, is nibbled away, or stays."""

from __future__ import annotations

from collections.abc import Iterator

from vertebloc.anatomy.model import Vertebra
from vertebloc.errors import InputError
from vertebloc.resection.piece import (
    ArchBone,
    BoneSolids,
    Cuts,
    mid_plane,
    side_planes,
    wall_plane,
)
from vertebloc.space.sections import Solid, space_within, trimmed, united

#: A part that leaves whole hangs on the piece if this share of it is one solid with it.
_HANGS = 0.5
_CHIP_MM3 = 1.0  #: smaller parts are none


def arch_bone(bones: BoneSolids, vertebra: Vertebra, cuts: Cuts) -> ArchBone:
    """Divide the arch of what comes out by what happens to it.

    Parameters
    ----------
    bones : BoneSolids
        Bones ready for cutting.
    vertebra : Vertebra
        The diseased one.
    cuts : Cuts
        All planes, and the parts whose fate was chosen.

    Returns
    -------
    ArchBone
        By rule, what lies in front of the arch cut, between the body cuts and on the cut's side
        leaves; all else is nibbled away. Arch only: all behind the pedicle cuts leaves, all in
        front of them stays. Chosen parts go as they were chosen.
    """
    arch = bones.own_arch
    rest = arch
    for side, planes in cuts.arch_limits().items():
        rest = rest - space_within([*planes, mid_plane(vertebra, side)])
    nibbled, staying = (united([]), rest) if cuts.is_arch_only else (rest, united([]))
    if cuts.has_chosen_parts:
        whole, chosen, kept = (
            united(bones.arch_parts[part] for part in parts)
            for parts in (cuts.whole, cuts.nibbled, cuts.stays)
        )
        if cuts.is_arch_only:  # what lies in front of the pedicle cuts stays whatever is chosen
            nibbled, staying = (chosen - staying), staying + kept
        else:
            nibbled, staying = ((nibbled - whole) - kept) + chosen, kept
    leaving = united([])
    if cuts.is_arch_only:
        leaving = arch - nibbled - staying
    elif cuts.whole:  # from the whole bone, so that no wall stays between the parts
        leaving = bones.own
        for beyond in _front_beyond(bones.own, vertebra, cuts):
            leaving = leaving - beyond
        leaving = leaving - nibbled - staying
    return ArchBone(leaves=leaving, nibbled=nibbled, stays=staying)


def _front_beyond(own: Solid, vertebra: Vertebra, cuts: Cuts) -> Iterator[Solid]:
    """Bone in front of the posterior wall that lies beyond the body cuts."""
    front = trimmed(own, [wall_plane(vertebra, keep_front=True)])
    if cuts.sagittal is not None:
        yield trimmed(front, [cuts.sagittal.plane.turned])
    for side in cuts.sides:
        half = trimmed(front, side_planes(vertebra, cuts, side))
        for plane in cuts.between(side):
            yield trimmed(half, [plane.turned])


def require_attached(bones: BoneSolids, cuts: Cuts, piece: Solid) -> None:
    """Refuse parts that were chosen to leave with the piece but do not hang on it.

    Parameters
    ----------
    bones : BoneSolids
        The parts.
    cuts : Cuts
        Names those that leave whole.
    piece : Solid
        What leaves.

    Raises
    ------
    InputError
        If a part would come out loose.
    """
    if not cuts.whole:
        return
    bodies = [one for one in piece.decompose() if (one ^ bones.front).volume() > _CHIP_MM3]
    main = united(bodies)
    for part in sorted(cuts.whole, key=lambda one: one.value):
        bone = bones.arch_parts[part]
        if bone.volume() > _CHIP_MM3 and (bone ^ main).volume() < _HANGS * bone.volume():
            raise InputError(
                f"{part.value} = 'piece' would come out loose: nothing between it and the body "
                "leaves with the piece; choose 'piece' for what lies between, or 'piecemeal'"
            )
