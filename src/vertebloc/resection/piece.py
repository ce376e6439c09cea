"""The piece as a solid: bone and tumour between the cuts, less what is nibbled away."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Any, TypeVar

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Vertebra
from vertebloc.errors import NoSolutionError
from vertebloc.resection.model import HalfCut
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import (
    KnownSections,
    Solid,
    face_of_solid,
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
FACE_AREA_MM2 = 5.0  #: a section smaller than this is no face: chips at a joint's edge


#: So many of the things that no body cut changes are kept; older ones are let go.
MOST_KEPT = 32
_T = TypeVar("_T")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoneSolids:
    """Bones and tumour ready for booleans; made once, cut many times."""

    bone: Mapping[Level, Solid]
    all_bone: Solid
    front: Solid  #: all bone in front of the posterior wall, where the body cuts run
    neighbours: Solid  #: the two vertebrae beside the diseased one
    tumour: Solid
    vessels: Mapping[str, Solid]
    canal_back_mm: float  #: y of the back of the sac's middle in the vertebra's frame
    known: KnownSections = field(default_factory=KnownSections)
    kept: dict[Hashable, Any] = field(default_factory=dict)  #: what no body cut changes

    def keep(self, key: Hashable, make: Callable[[], _T]) -> _T:
        """Make something once and look it up from then on.

        Parameters
        ----------
        key : hashable
            Its name, and everything but the bones that it is made from.
        make : callable
            Makes it.

        Returns
        -------
        object
            As made the first time.
        """
        if key not in self.kept:
            while len(self.kept) >= MOST_KEPT:
                self.kept.pop(next(iter(self.kept)))
            self.kept[key] = make()
        found: _T = self.kept[key]
        return found


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cuts:
    """All planes that bound the piece."""

    cranial: Mapping[Side, HalfCut]
    caudal: Mapping[Side, HalfCut]
    arch: Mapping[Side, HalfCut]  #: behind a pedicle that leaves with the piece
    base: Mapping[Side, HalfCut]  #: at the posterior wall, on each side

    def between(self, side: Side) -> tuple[Plane, Plane]:
        """The two body planes on one side."""
        return self.cranial[side].plane, self.caudal[side].plane


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
    everything = united(bone.values())
    return BoneSolids(
        bone=bone,
        all_bone=everything,
        front=trimmed(everything, [wall_plane(vertebra, keep_front=True)]),
        neighbours=united(b for level, b in bone.items() if level != solids.level),
        tumour=solid_from_surface(solids.tumour),
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


def _midline_cut(vertebra: Vertebra, side: Side) -> HalfCut:
    """The cut along the arch's midline where one half of it leaves with the piece: forward."""
    lps = vertebra.lps_from_vertebra
    plane = mid_plane(vertebra, side)
    entry = lps.points([0.0, vertebra.posterior_wall_mm + 30.0, 0.0])[0]
    return HalfCut(
        name="midline arch cut",
        side=side,
        plane=plane,
        entry=entry,
        entry_edge=lps.vectors([0.0, 0.0, 1.0])[0],
        blade=lps.vectors([0.0, -1.0, 0.0])[0],
        passes_through="lamina and spinous process in the midline",
        level=vertebra.level or Level("T1"),
    )


def nibbled_bone(
    bones: BoneSolids, solids: ResectionSolids, vertebra: Vertebra, cuts: Cuts
) -> Solid:
    """Bone of the diseased vertebra that is taken piecemeal: the arch, less what leaves whole.

    Parameters
    ----------
    bones : BoneSolids
        Bones ready for cutting.
    solids : ResectionSolids
        Names the diseased level.
    vertebra : Vertebra
        The diseased one.
    cuts : Cuts
        All planes.

    Returns
    -------
    Solid
        Everything behind the posterior wall that is not the piece's.
    """
    arch = _arch(bones, solids.level, vertebra)
    for side, cut in cuts.arch.items():
        arch = arch - space_within([cut.plane, mid_plane(vertebra, side), *cuts.between(side)])
    return arch


def _arch(bones: BoneSolids, level: Level, vertebra: Vertebra) -> Solid:
    """Bone behind the posterior wall."""
    wall = wall_plane(vertebra, keep_front=False)
    return bones.keep("arch", lambda: trimmed(bones.bone[level], [wall]))


def piece_of(bones: BoneSolids, solids: ResectionSolids, vertebra: Vertebra, cuts: Cuts) -> Solid:
    """Cut the piece out.

    Parameters
    ----------
    bones : BoneSolids
        Bones and tumour.
    solids : ResectionSolids
        Names the diseased level.
    vertebra : Vertebra
        Its frame.
    cuts : Cuts
        All planes.

    Returns
    -------
    Solid
        Bone in front of the posterior wall between the body cuts, a diseased pedicle up to the
        arch cut, and tumour between the body cuts that is neither behind the arch cut nor in
        bone that is nibbled away.

    Raises
    ------
    NoSolutionError
        If the cuts free nothing.
    """
    piece = united(
        trimmed(
            _what_may_leave(bones, solids.level, vertebra, cuts, side),
            [*cuts.between(side), mid_plane(vertebra, side, overlap_mm=JOIN_MM)],
        )
        for side in Side
    )
    if piece.volume() < 1.0:
        raise NoSolutionError(
            "the cuts free no piece: nothing of the vertebra lies between them",
            ("the cranial cut must lie above the caudal one, with bone between",),
        )
    return piece


def _what_may_leave(
    bones: BoneSolids, level: Level, vertebra: Vertebra, cuts: Cuts, side: Side
) -> Solid:
    """What leaves with the piece on one side if it lies between the body cuts, whatever these are.

    United before the body cuts are made, so that a body cut that is moved only trims.
    """
    behind = cuts.arch[side].plane if side in cuts.arch else tumour_back_plane(bones, vertebra)

    def unite() -> Solid:
        arch = _arch(bones, level, vertebra)
        for here, cut in cuts.arch.items():
            arch = arch - space_within([cut.plane, mid_plane(vertebra, here)])
        parts = [bones.front, trimmed(bones.tumour, [behind]) - arch]
        if side in cuts.arch:
            parts.append(trimmed(bones.bone[level], [behind]) - arch)
        whole = united(parts)
        whole.num_tri()  # computed now, not at each use
        return whole

    planes = [(at.value, *_numbers(cut.plane)) for at, cut in cuts.arch.items()]
    return bones.keep(("may leave", side.value, *_numbers(behind), *planes), unite)


def _numbers(plane: Plane) -> tuple[float, ...]:
    return (*plane.point.tolist(), *plane.normal.tolist())


def tumour_back_plane(bones: BoneSolids, vertebra: Vertebra) -> Plane:
    """Behind the sac: tumour farther back than this on an opened side stays behind.

    Parameters
    ----------
    bones : BoneSolids
        Knows how far back the sac reaches.
    vertebra : Vertebra
        The diseased one.

    Returns
    -------
    Plane
        Its negative side is the front.
    """
    lps = vertebra.lps_from_vertebra
    point = lps.points([0.0, bones.canal_back_mm, 0.0])[0]
    return Plane(point, lps.vectors([0.0, 1.0, 0.0])[0])


def faces_of(
    bones: BoneSolids, solids: ResectionSolids, vertebra: Vertebra, cuts: Cuts
) -> list[tuple[HalfCut, PlanarFace]]:
    """The finite bone faces of the piece, each with the cut that makes it.

    Parameters
    ----------
    bones : BoneSolids
        Bones.
    solids : ResectionSolids
        Names the diseased level.
    vertebra : Vertebra
        Its frame.
    cuts : Cuts
        All planes.

    Returns
    -------
    list of (HalfCut, PlanarFace)
        Those with at least ``FACE_AREA_MM2`` of bone.
    """
    lps = vertebra.lps_from_vertebra
    forward, left = lps.vectors([0.0, -1.0, 0.0])[0], lps.vectors([1.0, 0.0, 0.0])[0]
    cut_face = partial(face_of_solid, known=bones.known)
    found: list[tuple[HalfCut, PlanarFace]] = []
    for side in Side:
        middle = mid_plane(vertebra, side)
        for cut, other in (
            (cuts.cranial[side], cuts.caudal[side]),
            (cuts.caudal[side], cuts.cranial[side]),
        ):
            frame = cut.plane.frame(forward)
            found.append((cut, cut_face(bones.front, frame, [middle, other.plane])))
        base = [middle, *cuts.between(side)]
        cut = cuts.base[side]
        bone = bones.neighbours if side in cuts.arch else bones.all_bone
        aside = [*base, pedicle_plane(vertebra, side)]
        found.append((cut, cut_face(bone, cut.plane.frame(left), aside)))
        if side in cuts.arch:
            cut, own = cuts.arch[side], bones.bone[solids.level]
            found.append((cut, cut_face(own, cut.plane.frame(left), base)))
            split = _midline_cut(vertebra, side)
            within = [cut.plane, canal_plane(vertebra), *cuts.between(side)]
            found.append((split, cut_face(own, split.plane.frame(forward), within)))
    return [(cut, face) for cut, face in found if face.area_mm2 >= FACE_AREA_MM2]
