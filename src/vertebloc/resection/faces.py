"""The finite bone faces of the piece, each with the cut that makes it."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Vertebra
from vertebloc.resection.arch_parts import part_planes
from vertebloc.resection.disc_sections import body_cut_face
from vertebloc.resection.model import HalfCut
from vertebloc.resection.piece import (
    BoneSolids,
    Cuts,
    canal_plane,
    mid_plane,
    pedicle_plane,
    side_planes,
    wall_plane,
)
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import (
    Solid,
    face_of_solid,
    face_within,
    face_without,
    joined_face,
    shared_face,
)
from vertebloc.space.transforms import Transform

FACE_AREA_MM2 = 5.0  #: a section smaller than this is no face: chips at a joint's edge
_HAIR_MM = 0.01  #: how far both sides of a plane are looked at; booleans are exact to 1e-6


def faces_of(
    bones: BoneSolids, vertebra: Vertebra, cuts: Cuts
) -> list[tuple[HalfCut, PlanarFace]]:
    """The finite bone faces of the piece, each with the cut that makes it.

    Parameters
    ----------
    bones : BoneSolids
        Bones.
    vertebra : Vertebra
        Its frame.
    cuts : Cuts
        All planes.

    Returns
    -------
    list of (HalfCut, PlanarFace)
        Those with at least ``FACE_AREA_MM2`` of bone, or of the disc that a body cut passes.
    """
    lps = vertebra.lps_from_vertebra
    forward, left = lps.vectors([0.0, -1.0, 0.0])[0], lps.vectors([1.0, 0.0, 0.0])[0]
    cut_face = partial(face_of_solid, known=bones.known)
    found: list[tuple[HalfCut, PlanarFace]] = []
    for side in cuts.sides:
        half = side_planes(vertebra, cuts, side)
        for cut, other in (
            (cuts.cranial[side], cuts.caudal[side]),
            (cuts.caudal[side], cuts.cranial[side]),
        ):
            limits = [*half, other.plane]
            face = body_cut_face(bones.front, cut, forward, limits, bones.ends, bones.known)
            found.append((cut, face))
        aside = [*half, *cuts.between(side), pedicle_plane(vertebra, side)]
        for cut, bone in _bases(bones, cuts, side):
            found.append((cut, cut_face(bone, cut.plane.frame(left), aside)))
        if cuts.sagittal is not None:
            frame = cuts.sagittal.plane.frame(forward)
            found.append((cuts.sagittal, cut_face(bones.front, frame, cuts.between(side))))
    found += (_chosen_faces if cuts.has_chosen_parts else _arch_faces)(bones, vertebra, cuts)
    found += [(rib.cut, rib.face) for rib in cuts.ribs]
    return [(cut, face) for cut, face in found if face.area_mm2 >= FACE_AREA_MM2]


def _bases(bones: BoneSolids, cuts: Cuts, side: Side) -> Iterator[tuple[HalfCut, Solid]]:
    """Cuts at the posterior wall on one side, each with the bone that it is made in."""
    cut = cuts.base[side]
    if len(bones.levels) == 1:
        yield cut, bones.neighbours if side in cuts.arch else bones.all_bone
        return
    for level, wall in bones.walls.items():  # several bodies: each has its own wall
        if side in cuts.arch and level in bones.levels:
            continue
        name = f"{cut.name} of {level}"
        entry = cut.entry - (cut.entry - wall.point) @ wall.normal * wall.normal
        yield (
            replace(cut, name=name, plane=Plane(entry, wall.normal), entry=entry, level=level),
            bones.bone[level],
        )


def _arch_faces(
    bones: BoneSolids, vertebra: Vertebra, cuts: Cuts
) -> list[tuple[HalfCut, PlanarFace]]:
    """Arch cut and midline, where every part goes by the rule."""
    lps = vertebra.lps_from_vertebra
    forward, left = lps.vectors([0.0, -1.0, 0.0])[0], lps.vectors([1.0, 0.0, 0.0])[0]
    cut_face = partial(face_of_solid, known=bones.known)
    found: list[tuple[HalfCut, PlanarFace]] = []
    own = bones.own
    if cuts.is_arch_only:
        for side, cut in cuts.base.items():
            within = [mid_plane(vertebra, side), wall_plane(vertebra, keep_front=False)]
            found.append((cut, cut_face(own, cut.plane.frame(left), within)))
    for side, cut in cuts.arch.items():
        base = [mid_plane(vertebra, side), *cuts.between(side)]
        found.append((cut, cut_face(own, cut.plane.frame(left), base)))
        split = midline_cut(vertebra, side)
        within = [cut.plane, canal_plane(vertebra), *cuts.between(side)]
        found.append((split, cut_face(own, split.plane.frame(forward), within)))
    return found


def _chosen_faces(
    bones: BoneSolids, vertebra: Vertebra, cuts: Cuts
) -> list[tuple[HalfCut, PlanarFace]]:
    """Faces of the arch where parts were chosen: what leaves on one side of a plane, not beyond.

    Planes are the arch cut, the midline, and those between parts, each seen from both sides.
    """
    arch = _ArchSections(bones, vertebra, cuts, bones.kept.of(_key(cuts), dict))
    saws = cuts.base if cuts.is_arch_only else cuts.arch
    planes = [(cut, [mid_plane(vertebra, side)]) for side, cut in saws.items()]
    for where, side, plane, is_both_sided in part_planes(vertebra):
        within = [] if is_both_sided else [mid_plane(vertebra, side)]
        for seen in (plane, plane.turned):
            planes.append((_part_cut(vertebra, f"arch cut {where}", side, seen), within))
    return [(cut, face) for cut, within in planes if not (face := arch.face(cut, within)).is_empty]


def _key(cuts: Cuts) -> tuple[Hashable, ...]:
    """Everything but the body cuts that the sections of the arch depend on."""
    saws = cuts.base if cuts.is_arch_only else cuts.arch
    planes = ((at.value, cut.plane.point.tobytes()) for at, cut in saws.items())
    return ("sections of the arch", cuts.whole, cuts.nibbled, cuts.stays, *planes)


@dataclass(frozen=True, slots=True)
class _ArchSection:
    """One flat section of the arch, as far as no body cut changes it."""

    everything: PlanarFace
    by_rule: Mapping[Side, PlanarFace]  #: leaves if it lies between the body cuts
    whole: PlanarFace  #: leaves anyway
    kept: dict[str, PlanarFace]  #: faces made of it while no body cut reached the arch there


@dataclass(frozen=True, slots=True)
class _ArchSections:
    """Flat sections of the arch: all of it, and what leaves."""

    bones: BoneSolids
    vertebra: Vertebra
    cuts: Cuts
    made: dict[bytes, _ArchSection]

    def face(self, cut: HalfCut, within: Iterable[Plane]) -> PlanarFace:
        """What leaves on the piece's side of a plane and does not leave on the other."""
        inside = self._section(cut.plane.shifted(-_HAIR_MM).frame(cut.blade))
        beyond = self._section(cut.plane.shifted(_HAIR_MM).frame(cut.blade))
        if not (self._is_between(inside) and self._is_between(beyond)):
            return self._face_now(inside, beyond, within)
        if cut.name not in inside.kept:
            inside.kept[cut.name] = self._face_now(inside, beyond, within)
        return inside.kept[cut.name]

    def _is_between(self, section: _ArchSection) -> bool:
        """Whether no body cut trims what leaves by rule."""
        return all(
            float(plane.signed_distance_mm(corners).max()) < 0.0
            for side, face in section.by_rule.items()
            for plane in self.cuts.between(side)
            for corners in face.loops_lps()
        )

    def _face_now(
        self, inside: _ArchSection, beyond: _ArchSection, within: Iterable[Plane]
    ) -> PlanarFace:
        leaves = self._leaving(inside)
        for plane in within:
            leaves = face_within(leaves, plane)
        if leaves.is_empty:
            return leaves
        return shared_face(leaves, face_without(beyond.everything, self._leaving(beyond)))

    def _leaving(self, section: _ArchSection) -> PlanarFace:
        found = section.whole
        for side, face in section.by_rule.items():
            for plane in self.cuts.between(side):
                face = face_within(face, plane)
            found = joined_face(found, face)
        return found

    def _section(self, lps_from_plane: Transform) -> _ArchSection:
        key = lps_from_plane.matrix.tobytes()
        if key not in self.made:
            self.made[key] = self._make(lps_from_plane)
        return self.made[key]

    def _make(self, lps_from_plane: Transform) -> _ArchSection:
        bones, cuts = self.bones, self.cuts
        empty = PlanarFace(lps_from_plane, ())

        def section(solid: Solid, within: Iterable[Plane] = ()) -> PlanarFace:
            return empty if solid.is_empty() else face_of_solid(solid, lps_from_plane, within)

        whole = empty
        for part in cuts.whole:
            whole = joined_face(whole, section(bones.arch_parts[part]))
        kept = empty
        for part in (*cuts.nibbled, *cuts.stays):
            kept = joined_face(kept, section(bones.arch_parts[part]))
        saws = cuts.base if cuts.is_arch_only else cuts.arch
        by_rule = {}
        for side, cut in saws.items():
            half = section(bones.own_arch, [cut.plane, mid_plane(self.vertebra, side)])
            half = face_without(half, kept)
            if not half.is_empty:
                by_rule[side] = half
        return _ArchSection(section(bones.own_arch), by_rule, whole, {})


def _part_cut(vertebra: Vertebra, name: str, side: Side, plane: Plane) -> HalfCut:
    """A cut between two parts of the arch; the blade runs forward, or from the side."""
    lps = vertebra.lps_from_vertebra
    to_front = lps.vectors([0.0, -1.0, 0.0])[0]
    from_side = lps.vectors([-float(side.sign), 0.0, 0.0])[0]
    blade = from_side if abs(plane.normal @ to_front) > 0.5 else to_front
    back = lps.points([0.0, vertebra.posterior_wall_mm + 30.0, 0.0])[0]
    entry = back - (back - plane.point) @ plane.normal * plane.normal
    return HalfCut(
        name=name,
        side=side,
        plane=Plane(entry, plane.normal),
        entry=entry,
        entry_edge=np.cross(blade, plane.normal),
        blade=blade,
        passes_through="arch",
        level=vertebra.level or Level("T1"),
    )


def midline_cut(vertebra: Vertebra, side: Side) -> HalfCut:
    """The cut along the midline of the arch where one half of it leaves with the piece.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one.
    side : Side
        Side of the patient.

    Returns
    -------
    HalfCut
        The blade runs forward from behind.
    """
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
