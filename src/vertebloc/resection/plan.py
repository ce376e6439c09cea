"""Join cuts, piece, margins, allowances and what would stay behind into one plan."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Vertebra
from vertebloc.case.choices import ASSUMED_RIB_LENGTH_MM, Choices, assumed_settings
from vertebloc.resection.allowance import measure_allowance
from vertebloc.resection.arch_bone import arch_bone, require_attached
from vertebloc.resection.arch_parts import PARTS_RULE
from vertebloc.resection.barriers import bone_barrier, endplates_kept
from vertebloc.resection.containment import NOISE_MM3, find_tumour_left
from vertebloc.resection.contamination import TOUCHES_MM, find_contamination
from vertebloc.resection.cuts import CUT_RULES
from vertebloc.resection.depth import DepthBones, measure_depths
from vertebloc.resection.depth_model import DepthFan, DepthSettings
from vertebloc.resection.faces import faces_of
from vertebloc.resection.fates import ArchPlan, plan_arch, plan_ribs
from vertebloc.resection.keystone import measure_keystone
from vertebloc.resection.kinds import kind_of
from vertebloc.resection.margins import measure_face
from vertebloc.resection.model import (
    BoneFate,
    Contamination,
    FaceKind,
    FaceMargin,
    HalfCut,
    OpensTumour,
    ResectionPlan,
    RibFate,
)
from vertebloc.resection.order_of_acts import PlannedSteps, order_acts
from vertebloc.resection.piece import (
    ArchBone,
    BoneSolids,
    Cuts,
    canal_plane,
    mid_plane,
    piece_of,
    prepare_bones,
)
from vertebloc.resection.places import place_in_words
from vertebloc.resection.placing import place_cuts
from vertebloc.resection.rib_heads import rib_lengths, rib_name
from vertebloc.resection.soft_faces import measure_soft_faces
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.fields import DistanceField
from vertebloc.space.frames import Side
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import Solid, solid_from_surface, surface_of_solid, trimmed
from vertebloc.space.surfaces import TriangleSurface

#: Less bone than this on one side of the arch cut is not worth a word, mm3 (assumed): the
#: noise of cutting triangle surfaces along each other, a chip of a little over 2 mm.
CHIP_MM3 = 10.0

ASSUMPTIONS = (
    "CT is supine, theatre is prone: vessels shift, the curve of the spine changes",
    "half cuts end in the front strip of the body, which is broken; its face is counted as cut",
    "the kerf is taken from the side away from the piece",
    "the posterior wall is a flat plane square to the vertebra's front-back axis",
)


#: Said where more than one body comes out.
SEVERAL_BODIES = (
    "heights, tilts and the arch cut are given in the frame of the diseased vertebra; each body "
    "ends at its own posterior wall; the side of the opening looks at the diseased pedicles only; "
    "chosen parts of the arch are those of the diseased vertebra, other arches are nibbled away "
    "but for what lies in front of the arch cut"
)


def plan_resection(
    *,
    anatomy: Anatomy,
    solids: ResectionSolids,
    choices: Choices,
    level: Level,
    bones: BoneSolids | None = None,
) -> ResectionPlan:
    """Plan the piece and measure everything on it.

    Parameters
    ----------
    anatomy : Anatomy
        Frames, ribs, endplates.
    solids : ResectionSolids
        Bones and tumour, from ``collect_solids``.
    choices : Choices
        The team's choices; ``by rule`` is filled in here.
    level : Level
        The diseased vertebra.
    bones : BoneSolids or None
        The bones ready for cutting, from ``prepare_bones``, if they are at hand already.

    Returns
    -------
    ResectionPlan
        Cuts, faces with margins and allowances, the piece, tumour left, keystone, fates.

    Raises
    ------
    InputError
        If choices contradict each other or the anatomy.
    NoSolutionError
        If the cuts free no piece, or free one that locks on the side it is to leave by.
    """
    vertebra = anatomy.vertebrae[level]
    bones = bones or prepare_bones(solids, vertebra)
    ground = _Ground(anatomy, solids, bones, vertebra, choices)
    arch = plan_arch(vertebra, solids, choices)
    cuts = place_cuts(anatomy, solids, bones, choices, arch)
    bone = arch_bone(bones, vertebra, cuts)
    solid = piece_of(bones, vertebra, cuts, bone)
    require_attached(bones, cuts, solid)
    piece, nibbled = surface_of_solid(solid), surface_of_solid(bone.nibbled)
    found = faces_of(bones, vertebra, cuts)
    planes = tuple(cut for cut, _ in found)
    soft = measure_soft_faces(
        piece, vertebra, planes, solids.tumour_field, choices.cuffs, arch_only=cuts.is_arch_only
    )
    middles = {side: mid_plane(vertebra, side) for side in Side}
    parts = _nibbled_parts(bones, bone, vertebra)
    opened = find_contamination(bones, vertebra, solids.tumour_field, cuts, parts, choices.kerf_mm)
    steps = _steps(ground, arch, cuts, planes, bone)
    return ResectionPlan(
        kind=kind_of(choices, solids.levels),
        level=level,
        levels=solids.levels,
        wanted_margin_mm=choices.wanted_margin_mm,
        cuts=steps.cuts,
        cut_rule=CUT_RULES[choices.kind],
        faces=(*_bone_faces(found, vertebra, solids, {}), *soft),
        piece=piece,
        nibbled=nibbled if len(nibbled.triangles) else None,
        tumour_volume_ml=solids.tumour.volume_ml,
        tumour_left=find_tumour_left(bones, cuts, middles, solid, bone),
        contamination=opened,
        keystone=measure_keystone(vertebra, cuts, choices.delivery_side),
        open_side=steps.open_side,
        bone_fates=steps.bone_fates,
        rib_fates=steps.rib_fates,
        rib_lengths_mm=rib_lengths(anatomy, steps.rib_fates, choices),
        depths=steps.depths,
        acts=order_acts(steps, choices),
        distance_error_words=solids.distance_error_words,
        assumptions=_assumptions(ground, arch, cuts, opened, steps.rib_fates),
    )


@dataclass(frozen=True, slots=True)
class _Ground:
    """What a plan stands on."""

    anatomy: Anatomy
    solids: ResectionSolids
    bones: BoneSolids
    vertebra: Vertebra
    choices: Choices

    @property
    def deep(self) -> DepthSettings:
        return DepthSettings(contour_error_mm=self.choices.contour_error_mm)


def _steps(
    ground: _Ground, arch: ArchPlan, cuts: Cuts, planes: tuple[HalfCut, ...], bone: ArchBone
) -> PlannedSteps:
    """What the order of acts is built from."""
    solids, bones = ground.solids, ground.bones
    body_cuts = (*cuts.cranial.values(), *cuts.caudal.values())
    depths = tuple(
        bones.kept.of(("depths", ground.deep, *_all_of(cut)), partial(_depths, ground, cut))
        for cut in body_cuts
    )
    return PlannedSteps(
        cuts=(*body_cuts, *(cut for cut in planes if all(cut is not b for b in body_cuts))),
        depths=depths,
        open_side=arch.open_side,
        bone_fates=_fates(arch, cuts, bones, ground.vertebra, bone.nibbled),
        rib_fates=plan_ribs(ground.anatomy, solids.levels, body_cuts, ground.choices),
        has_tract=solids.has_tract,
    )


def _all_of(cut: HalfCut) -> tuple[Hashable, ...]:
    """Everything that makes a half cut, to the last bit."""
    numbers = (cut.plane.point, cut.plane.normal, cut.entry, cut.entry_edge, cut.blade)
    named = (cut.name, cut.side, cut.passes_through, cut.level)
    return (*named, *(one.tobytes() for one in numbers))


def _depths(ground: _Ground, cut: HalfCut) -> DepthFan:
    """Depths of one half cut: those of a cut that did not move stay as they are."""
    bones = ground.bones
    (fan,) = measure_depths(
        ground.anatomy,
        ground.solids.level,
        DepthBones(front=bones.front, vessels=bones.vessels, known=bones.known),
        [cut],
        settings=ground.deep,
        bone_error_mm=ground.solids.bone_error_mm,
    )
    return fan


def measure_bone_faces(
    bones: BoneSolids,
    solids: ResectionSolids,
    vertebra: Vertebra,
    cuts: Cuts,
    before: Iterable[FaceMargin] = (),
) -> tuple[FaceMargin, ...]:
    """Margins and allowances of all bone faces: what is computed anew when a cut moves.

    Parameters
    ----------
    bones : BoneSolids
        Bones ready for cutting.
    solids : ResectionSolids
        Tumour field.
    vertebra : Vertebra
        The diseased one.
    cuts : Cuts
        All planes.
    before : iterable of FaceMargin
        Faces measured before on the same tumour: one that is the same to the last bit, outline
        and plane, is taken over.

    Returns
    -------
    tuple of FaceMargin
        One a face with bone in it.
    """
    known = {measured.name: measured for measured in before}
    return _bone_faces(faces_of(bones, vertebra, cuts), vertebra, solids, known)


def _bone_faces(
    found: Iterable[tuple[HalfCut, PlanarFace]],
    vertebra: Vertebra,
    solids: ResectionSolids,
    known: Mapping[str, FaceMargin],
) -> tuple[FaceMargin, ...]:
    kept = endplates_kept(vertebra, solids.tumour)
    return tuple(
        known[cut.name]
        if cut.name in known and _is_same(known[cut.name].face, face)
        else _bone_face(
            cut, face, vertebra, solids.tumour_field, bone_barrier(cut, vertebra, kept)
        )
        for cut, face in found
    )


def _is_same(one: PlanarFace | None, other: PlanarFace) -> bool:
    """Whether two faces are the same to the last bit; so are then the cuts that make them."""
    return (
        one is not None
        and len(one.loops) == len(other.loops)
        and np.array_equal(one.lps_from_plane.matrix, other.lps_from_plane.matrix)
        and all(np.array_equal(a, b) for a, b in zip(one.loops, other.loops, strict=True))
    )


def _bone_face(
    cut: HalfCut, face: PlanarFace, vertebra: Vertebra, tumour: DistanceField, barrier: str
) -> FaceMargin:
    measured = measure_face(face, tumour)
    return FaceMargin(
        name=cut.name,
        kind=FaceKind.BONE,
        area_mm2=face.area_mm2,
        margin_mm=measured.margin_mm,
        weakest=measured.weakest,
        weakest_in_words=place_in_words(vertebra, measured.weakest),
        tumour_crossed_mm2=measured.tumour_crossed_mm2,
        barrier=barrier,
        allowance=measure_allowance(face, cut, tumour),
        face=face,
    )


def _assumptions(
    ground: _Ground,
    arch: ArchPlan,
    cuts: Cuts,
    opened: tuple[Contamination, ...],
    ribs: Mapping[str, RibFate],
) -> tuple[str, ...]:
    vertebra, solids = ground.vertebra, ground.solids
    notes = [*assumed_settings(ground.choices), *ASSUMPTIONS, *solids.assumptions, *arch.notes]
    if cuts.has_chosen_parts:
        notes.append(PARTS_RULE)
    if len(solids.levels) > 1:
        notes.append(SEVERAL_BODIES)
    if vertebra.frame_from_neighbours and vertebra.own_frame_differs_deg is not None:
        notes.append(
            f"the frame of {vertebra.level} is interpolated from its neighbours; its own differs "
            f"by {vertebra.own_frame_differs_deg:.1f} degrees"
        )
    return (*notes, *_opened(opened), *_rib_notes(ground, ribs), *ground.deep.assumptions)


def _opened(opened: tuple[Contamination, ...]) -> tuple[str, ...]:
    """Say so where bone that tumour is in or touches would be nibbled away."""
    nibbled = (one for one in opened if one.how is not OpensTumour.CUT)
    return tuple(
        f"tumour touches bone that is nibbled away ({one.deepest_in_words}): planned contamination"
        for one in nibbled
    )


def _rib_notes(ground: _Ground, fates: Mapping[str, RibFate]) -> tuple[str, ...]:
    """Say where a rib's length is assumed, and where tumour lies in a rib that is removed."""
    solids, bones, choices = ground.solids, ground.bones, ground.choices
    notes = []
    chosen = {rib_name(rib): choices.rib(str(rib.level), rib.side) for rib in ground.anatomy.ribs}
    for name, fate in fates.items():
        if fate is RibFate.KEPT:
            continue
        if chosen[name].length_mm is None:
            notes.append(f"length of the {name} {ASSUMED_RIB_LENGTH_MM:.1f} mm (assumed default)")
        surface = solids.ribs.get(name)
        if fate is RibFate.REMOVED and surface is not None:
            inside = bones.kept.of(("tumour in rib", name), partial(_tumour_mm3, surface, bones))
            if inside >= NOISE_MM3:
                notes.append(
                    f"the {name} is removed by itself, but {inside / 1000.0:.2f} ml of tumour lie "
                    "in it: with 'head on piece' it would leave with the piece"
                )
    return tuple(notes)


def _tumour_mm3(surface: TriangleSurface, bones: BoneSolids) -> float:
    """Tumour within a surface; no cut changes it."""
    return float((solid_from_surface(surface) ^ bones.tumour).volume())


def _nibbled_parts(bones: BoneSolids, bone: ArchBone, vertebra: Vertebra) -> dict[str, Solid]:
    """Nibbled bone by part, on the sides where it meets tumour at all."""
    found: dict[str, Solid] = {}
    for side in Side:
        half = trimmed(bone.nibbled, [mid_plane(vertebra, side)])
        if half.is_empty() or half.min_gap(bones.tumour, TOUCHES_MM) >= TOUCHES_MM:
            continue
        rest = half  # of several bodies, only the diseased one's arch is told apart by parts
        for part, solid in bones.arch_parts.items():
            here, rest = half ^ solid, rest - solid
            if not here.is_empty():
                name = part.value
                found[name] = found[name] + here if name in found else here
        if len(bones.levels) > 1 and rest.volume() >= CHIP_MM3:
            found[f"other arch bone on the {side.value}"] = rest
    return found


def _fates(
    arch: ArchPlan, cuts: Cuts, bones: BoneSolids, vertebra: Vertebra, nibbled: Solid
) -> dict[str, BoneFate]:
    """Fates of the arch's parts; the arch cut splits those of a side that leaves with the piece.

    The rule asks only on which sides of the arch cut there is bone at all, never for a share of
    it: outlines made another way move the cut by tenths of a mm and change no word.
    """
    fates = dict(arch.fates)
    chosen = {part.value for part in (*arch.whole, *arch.nibbled, *arch.stays)}
    own = bones.own
    for side in arch.with_piece if cuts.arch else ():
        half = [mid_plane(vertebra, side), canal_plane(vertebra)]
        behind_mm3 = float(trimmed(nibbled, half).volume())
        leaves_mm3 = float(trimmed(own, half).volume()) - behind_mm3
        if leaves_mm3 < CHIP_MM3:
            continue
        fate = BoneFate.PIECE if behind_mm3 < CHIP_MM3 else BoneFate.SPLIT
        parts = ("lamina", "transverse process", "facets")
        names = (f"{side.value} {part}" for part in parts)
        fates.update({name: fate for name in names if name not in chosen})
    return fates
