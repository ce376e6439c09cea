"""The piece as a solid: bone and tumour between the cuts, less what is nibbled away."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Vertebra
from vertebloc.case.choice_words import ArchPart
from vertebloc.errors import NoSolutionError
from vertebloc.resection.arch_parts import split_arch
from vertebloc.resection.disc_sections import BodyEnds
from vertebloc.resection.keeping import Keeping
from vertebloc.resection.model import HalfCut
from vertebloc.resection.rib_heads import RibHead
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane
from vertebloc.space.sections import (
    KnownSections,
    Solid,
    solid_from_surface,
    space_within,
    trimmed,
    united,
)

#: Bones are cut with fewer triangles; no point of their surface moves by more than this, mm.
#: It shifts the rim of a cut face, never the tumour or its distances.
SIMPLER_BY_MM = 0.05
JOIN_MM = 0.02  #: overlap of left and right half, so that no wall stays between them
PEDICLE_FROM = 0.5  #: a pedicle begins at this share of the half width of the body (assumed)
INTO_CANAL_MM = 5.0  #: bone nearer than this to the back wall's plane is the wall itself (assumed)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoneSolids:
    """Bones and tumour ready for booleans; made once, cut many times."""

    bone: Mapping[Level, Solid]
    levels: tuple[Level, ...]  #: whose bodies come out
    own: Solid  #: those vertebrae
    own_arch: Solid  #: theirs behind the posterior wall
    walls: Mapping[Level, Plane]  #: posterior walls, the front being the negative side
    ends: Mapping[Level, BodyEnds]  #: middles of their endplates
    all_bone: Solid
    front: Solid  #: all bone in front of the posterior wall, where the body cuts run
    neighbours: Solid  #: the two vertebrae beside what comes out
    tumour: Solid
    vessels: Mapping[str, Solid]
    arch_parts: Mapping[ArchPart, Solid]  #: of the diseased vertebra
    canal_back_mm: float  #: y of the back of the sac's middle in the vertebra's frame
    known: KnownSections = field(default_factory=KnownSections)
    kept: Keeping = field(default_factory=Keeping)  #: what no moved cut changes


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cuts:
    """All planes that bound the piece."""

    cranial: Mapping[Side, HalfCut]
    caudal: Mapping[Side, HalfCut]
    arch: Mapping[Side, HalfCut]  #: behind a pedicle that leaves with the piece
    base: Mapping[Side, HalfCut]  #: at the posterior wall; arch only: across the pedicles
    sagittal: HalfCut | None = None  #: half a body: lengthwise
    whole: frozenset[ArchPart] = frozenset()  #: parts chosen to leave with the piece, uncut
    nibbled: frozenset[ArchPart] = frozenset()  #: parts chosen to be taken piecemeal
    stays: frozenset[ArchPart] = frozenset()  #: parts chosen to stay
    ribs: tuple[RibHead, ...] = ()  #: ribs cut to the side, whose heads stay on the piece

    @property
    def is_arch_only(self) -> bool:
        """Whether no body is cut."""
        return not self.cranial

    @property
    def sides(self) -> tuple[Side, ...]:
        """The sides from which bodies are cut: one for half a body, none for the arch alone."""
        return tuple(self.cranial)

    @property
    def has_chosen_parts(self) -> bool:
        """Whether any part of the arch was chosen a fate that the rule would not give it."""
        return bool(self.whole or self.nibbled or self.stays)

    def between(self, side: Side) -> tuple[Plane, ...]:
        """The two body planes on one side, cranial first; none for the arch alone."""
        if side not in self.cranial:
            return ()
        return self.cranial[side].plane, self.caudal[side].plane

    def arch_limits(self) -> dict[Side, tuple[Plane, ...]]:
        """By side, the planes within which the arch leaves with the piece."""
        if self.is_arch_only:
            return {side: (cut.plane,) for side, cut in self.base.items()}
        return {side: (cut.plane, *self.between(side)) for side, cut in self.arch.items()}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ArchBone:
    """The diseased vertebra's arch by what happens to it."""

    leaves: Solid  #: with the piece, where parts of it leave whole; else empty
    nibbled: Solid
    stays: Solid


def prepare_bones(solids: ResectionSolids, vertebra: Vertebra) -> BoneSolids:
    """Make solids for booleans.

    Parameters
    ----------
    solids : ResectionSolids
        Surfaces of the three bones and the tumour.
    vertebra : Vertebra
        The diseased one.

    Returns
    -------
    BoneSolids
        The same as solids.
    """
    bone = {
        level: solid_from_surface(surface).simplify(SIMPLER_BY_MM)
        for level, surface in solids.bone.items()
    }
    back = vertebra.posterior_wall_mm + 15.0
    if solids.sac is not None:
        local = vertebra.lps_from_vertebra.inverse.points(solids.sac.vertices)
        near = np.abs(local[:, 2]) < 10.0
        if near.any():
            back = float(local[near, 1].max())
    wall = wall_plane(vertebra, keep_front=True)  # one for one body, its own for each of several
    walls = {at: solids.back_walls.get(at, wall) for at in solids.bone}
    behind = {at: trimmed(bone[at], [walls[at].turned]) for at in solids.levels}
    return BoneSolids(
        bone=bone,
        levels=solids.levels,
        own=united(bone[at] for at in solids.levels),
        own_arch=united(behind.values()),
        walls=walls,
        ends=solids.ends,
        all_bone=united(bone.values()),
        front=united(trimmed(one, [walls[at]]) for at, one in bone.items()),
        neighbours=united(b for level, b in bone.items() if level not in solids.levels),
        tumour=solid_from_surface(solids.tumour),
        arch_parts=split_arch(behind[solids.level], vertebra),
        vessels={name: solid_from_surface(vessel) for name, vessel in solids.vessels.items()},
        canal_back_mm=back,
    )


def mid_plane(vertebra: Vertebra, side: Side, *, overlap_mm: float = 0.0) -> Plane:
    """The vertebra's mid-plane; its negative side is the given side of the patient.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one.
    side : Side
        Side of the patient.
    overlap_mm : float, mm
        How far it lies on the other side, so that two halves grow together.

    Returns
    -------
    Plane
        In patient LPS.
    """
    lps = vertebra.lps_from_vertebra
    return Plane(
        lps.points([-side.sign * overlap_mm, 0.0, 0.0])[0],
        lps.vectors([-float(side.sign), 0.0, 0.0])[0],
    )


def side_planes(
    vertebra: Vertebra, cuts: Cuts, side: Side, *, overlap_mm: float = 0.0
) -> list[Plane]:
    """What bounds the bodies' part of the piece on one side towards the other.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one.
    cuts : Cuts
        Knows of a sagittal cut.
    side : Side
        Side of the patient.
    overlap_mm : float, mm
        As for ``mid_plane``; a sagittal cut has no other half to grow together with.

    Returns
    -------
    list of Plane
        The sagittal cut, else the mid-plane.
    """
    if cuts.sagittal is not None:
        return [cuts.sagittal.plane]
    return [mid_plane(vertebra, side, overlap_mm=overlap_mm)]


def wall_plane(vertebra: Vertebra, *, keep_front: bool) -> Plane:
    """The plane of the posterior wall; its negative side is the front, or the back.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one.
    keep_front : bool
        Whether the front is the negative side.

    Returns
    -------
    Plane
        In patient LPS.
    """
    lps = vertebra.lps_from_vertebra
    point = lps.points([0.0, vertebra.posterior_wall_mm, 0.0])[0]
    return Plane(point, lps.vectors([0.0, 1.0 if keep_front else -1.0, 0.0])[0])


def canal_plane(vertebra: Vertebra) -> Plane:
    """A little behind the posterior wall; its negative side is farther back, where the arch is.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one.

    Returns
    -------
    Plane
        ``INTO_CANAL_MM`` behind the wall.
    """
    lps = vertebra.lps_from_vertebra
    point = lps.points([0.0, vertebra.posterior_wall_mm + INTO_CANAL_MM, 0.0])[0]
    return Plane(point, lps.vectors([0.0, -1.0, 0.0])[0])


def pedicle_plane(vertebra: Vertebra, side: Side) -> Plane:
    """Where a pedicle begins; its negative side is farther out, inward lies the canal's wall.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one.
    side : Side
        Side of the patient.

    Returns
    -------
    Plane
        At ``PEDICLE_FROM`` of the half width.
    """
    lps = vertebra.lps_from_vertebra
    wall = vertebra.left_wall_mm if side is Side.LEFT else vertebra.right_wall_mm
    return Plane(
        lps.points([PEDICLE_FROM * wall, 0.0, 0.0])[0],
        lps.vectors([-float(side.sign), 0.0, 0.0])[0],
    )


def piece_of(bones: BoneSolids, vertebra: Vertebra, cuts: Cuts, arch: ArchBone) -> Solid:
    """Cut the piece out.

    Parameters
    ----------
    bones : BoneSolids
        Bones and tumour.
    vertebra : Vertebra
        Its frame.
    cuts : Cuts
        All planes.
    arch : ArchBone
        What of the arch leaves, is nibbled, and stays.

    Returns
    -------
    Solid
        Bone in front of the posterior wall between the body cuts, the arch's part of the piece,
        ribs as far as their heads stay on it, and tumour between the body cuts that is neither
        behind the arch cut nor in bone that is nibbled away or stays.

    Raises
    ------
    NoSolutionError
        If the cuts free nothing.
    """
    parts = [arch.leaves, *(rib.part for rib in cuts.ribs)]
    for side in cuts.sides:
        cranial, caudal = cuts.between(side)
        below = _below(bones, vertebra, cuts, side, cranial)
        parts.append(trimmed(below, [caudal]))
    if cuts.is_arch_only:
        for side, cut in cuts.base.items():
            half = [mid_plane(vertebra, side, overlap_mm=JOIN_MM), cut.plane]
            parts.append(trimmed(bones.tumour, half) - arch.nibbled - arch.stays)
    piece = united(parts)
    if piece.volume() < 1.0:
        raise NoSolutionError(
            "the cuts free no piece: nothing of the vertebra lies between them",
            ("the cranial cut must lie above the caudal one, with bone between",),
        )
    return piece


def _below(bones: BoneSolids, vertebra: Vertebra, cuts: Cuts, side: Side, cranial: Plane) -> Solid:
    """What may leave on one side below the cranial cut; kept, so that one cut moved trims once.

    Always in the same order, whatever was kept: a plan does not depend on the plans before it.
    """
    planes = side_planes(vertebra, cuts, side, overlap_mm=JOIN_MM)
    whole = _what_may_leave(bones, vertebra, cuts, side)

    def half() -> Solid:
        return _made(trimmed(whole, planes))

    def below() -> Solid:
        return _made(trimmed(bones.kept.of(key, half), [cranial]))

    key = ("half", _leave_key(bones, vertebra, cuts, side), *map(_numbers, planes))
    return bones.kept.of((*key, _numbers(cranial)), below)


def _made(solid: Solid) -> Solid:
    """A solid that is computed now, not at each use."""
    solid.num_tri()
    return solid


def _what_may_leave(bones: BoneSolids, vertebra: Vertebra, cuts: Cuts, side: Side) -> Solid:
    """What leaves with the piece on one side if it lies between the body cuts, whatever these are.

    United before the body cuts are made, so that a body cut that is moved only trims.
    """
    behind = back_limit(bones, vertebra, cuts, side)

    def unite() -> Solid:
        rest = bones.own_arch
        for here, cut in cuts.arch.items():
            rest = rest - space_within([cut.plane, mid_plane(vertebra, here)])
        if cuts.has_chosen_parts:
            whole, chosen, kept = (
                united(bones.arch_parts[part] for part in parts)
                for parts in (cuts.whole, cuts.nibbled, cuts.stays)
            )
            rest = (rest - whole) + chosen + kept
        parts = [bones.front, trimmed(bones.tumour, behind) - rest]
        if side in cuts.arch:
            parts.append(trimmed(bones.own, [cuts.arch[side].plane]) - rest)
        return _made(united(parts))

    return bones.kept.of(_leave_key(bones, vertebra, cuts, side), unite)


def _leave_key(bones: BoneSolids, vertebra: Vertebra, cuts: Cuts, side: Side) -> Hashable:
    """All that ``_what_may_leave`` is made from, but for the bones."""
    behind = back_limit(bones, vertebra, cuts, side)
    planes = [_numbers(plane) for plane in (*behind, *(cut.plane for cut in cuts.arch.values()))]
    return ("may leave", side.value, *planes, (cuts.whole, cuts.nibbled, cuts.stays))


def _numbers(plane: Plane) -> tuple[float, ...]:
    return (*plane.point.tolist(), *plane.normal.tolist())


def back_limit(bones: BoneSolids, vertebra: Vertebra, cuts: Cuts, side: Side) -> tuple[Plane, ...]:
    """The plane behind which tumour stays behind on one side, if there is one.

    Parameters
    ----------
    bones : BoneSolids
        Knows how far back the sac reaches.
    vertebra : Vertebra
        The diseased one.
    cuts : Cuts
        All planes.
    side : Side
        Side of the patient.

    Returns
    -------
    tuple of Plane
        The arch cut; on an opened side, a plane behind the sac; none where a part of the arch
        leaves whole, with the tumour behind it.
    """
    if any(part.value.startswith(side.value) for part in cuts.whole):
        return ()
    if side in cuts.arch:
        return (cuts.arch[side].plane,)
    lps = vertebra.lps_from_vertebra
    point = lps.points([0.0, bones.canal_back_mm, 0.0])[0]
    return (Plane(point, lps.vectors([0.0, 1.0, 0.0])[0]),)
