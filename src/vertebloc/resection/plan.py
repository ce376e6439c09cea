"""Join cuts, piece, margins, allowances and what would stay behind into one plan."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Vertebra
from vertebloc.case.choices import Choices, assumed_settings
from vertebloc.resection.allowance import measure_allowance
from vertebloc.resection.barriers import bone_barrier, endplates_kept
from vertebloc.resection.containment import find_tumour_left
from vertebloc.resection.contamination import find_contamination
from vertebloc.resection.cuts import CUT_RULE
from vertebloc.resection.depth import DepthBones, measure_depths
from vertebloc.resection.depth_model import DepthFan, DepthSettings
from vertebloc.resection.fates import ArchPlan, plan_arch, plan_ribs
from vertebloc.resection.keystone import measure_keystone
from vertebloc.resection.margins import measure_face
from vertebloc.resection.model import (
    BoneFate,
    Contamination,
    FaceKind,
    FaceMargin,
    HalfCut,
    Kind,
    OpensTumour,
    ResectionPlan,
)
from vertebloc.resection.order_of_acts import PlannedSteps, order_acts
from vertebloc.resection.piece import (
    BoneSolids,
    Cuts,
    canal_plane,
    faces_of,
    mid_plane,
    nibbled_bone,
    piece_of,
    prepare_bones,
)
from vertebloc.resection.places import place_in_words
from vertebloc.resection.placing import place_cuts
from vertebloc.resection.soft_faces import measure_soft_faces
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.fields import DistanceField
from vertebloc.space.frames import Side
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import Solid, surface_of_solid, trimmed

#: Less bone than this on one side of the arch cut is not worth a word, mm3 (assumed): the
#: noise of cutting triangle surfaces along each other, a chip of a little over 2 mm.
CHIP_MM3 = 10.0

ASSUMPTIONS = (
    "CT is supine, theatre is prone: vessels shift, the curve of the spine changes",
    "half cuts end in the front strip of the body, which is broken; its face is counted as cut",
    "the kerf is taken from the side away from the piece",
    "the posterior wall is a flat plane square to the vertebra's front-back axis",
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
    arch = plan_arch(vertebra, solids, choices)
    cuts = place_cuts(anatomy, solids, bones, choices, arch)
    nibbled = nibbled_bone(bones, solids, vertebra, cuts)
    solid = piece_of(bones, solids, vertebra, cuts)
    piece = surface_of_solid(solid)
    found = faces_of(bones, solids, vertebra, cuts)
    planes = tuple(cut for cut, _ in found)
    faces = _bone_faces(found, vertebra, solids, {})
    soft = measure_soft_faces(piece, vertebra, planes, solids.tumour_field, choices.cuffs)
    body_cuts = (*cuts.cranial.values(), *cuts.caudal.values())
    middles = {side: mid_plane(vertebra, side) for side in Side}
    nibbled_surface = surface_of_solid(nibbled)
    opened = find_contamination(
        bones, vertebra, solids.tumour_field, cuts, _by_side(nibbled, vertebra), choices.kerf_mm
    )
    deep = DepthSettings(contour_error_mm=choices.contour_error_mm)
    steps = PlannedSteps(
        cuts=(*body_cuts, *(cut for cut in planes if all(cut is not b for b in body_cuts))),
        depths=_depths(anatomy, solids, bones, body_cuts, deep),
        open_side=arch.open_side,
        bone_fates=_fates(arch, bones, vertebra, nibbled),
        rib_fates=plan_ribs(anatomy, vertebra, body_cuts, choices),
        has_tract=solids.has_tract,
    )
    return ResectionPlan(
        kind=Kind.WHOLE_BODY,
        level=level,
        wanted_margin_mm=choices.wanted_margin_mm,
        cuts=steps.cuts,
        cut_rule=CUT_RULE,
        faces=(*faces, *soft),
        piece=piece,
        nibbled=nibbled_surface if len(nibbled_surface.triangles) else None,
        tumour_volume_ml=solids.tumour.volume_ml,
        tumour_left=find_tumour_left(bones, cuts, middles, solid, nibbled),
        contamination=opened,
        keystone=measure_keystone(vertebra, cuts, choices.delivery_side),
        open_side=steps.open_side,
        bone_fates=steps.bone_fates,
        rib_fates=steps.rib_fates,
        depths=steps.depths,
        acts=order_acts(steps, choices),
        distance_error_words=solids.distance_error_words,
        assumptions=(
            *_assumptions(vertebra, solids, choices, arch),
            *_opened(opened),
            *deep.assumptions,
        ),
    )


def _depths(
    anatomy: Anatomy,
    solids: ResectionSolids,
    bones: BoneSolids,
    cuts: tuple[HalfCut, ...],
    settings: DepthSettings,
) -> tuple[DepthFan, ...]:
    return measure_depths(
        anatomy,
        solids.level,
        DepthBones(front=bones.front, vessels=bones.vessels, known=bones.known),
        cuts,
        settings=settings,
        bone_error_mm=solids.bone_error_mm,
    )


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
    return _bone_faces(faces_of(bones, solids, vertebra, cuts), vertebra, solids, known)


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
    vertebra: Vertebra, solids: ResectionSolids, choices: Choices, arch: ArchPlan
) -> tuple[str, ...]:
    notes = [*assumed_settings(choices), *ASSUMPTIONS, *solids.assumptions, *arch.notes]
    if vertebra.frame_from_neighbours and vertebra.own_frame_differs_deg is not None:
        notes.append(
            f"the frame of {vertebra.level} is interpolated from its neighbours; its own differs "
            f"by {vertebra.own_frame_differs_deg:.1f} degrees"
        )
    return tuple(notes)


def _opened(opened: tuple[Contamination, ...]) -> tuple[str, ...]:
    """Say so where bone that tumour is in or touches would be nibbled away."""
    nibbled = (one for one in opened if one.how is not OpensTumour.CUT)
    return tuple(
        f"tumour touches bone that is nibbled away ({one.deepest_in_words}): planned contamination"
        for one in nibbled
    )


def _by_side(nibbled: Solid, vertebra: Vertebra) -> dict[str, Solid]:
    return {
        f"nibbled bone on the {side.value}": trimmed(nibbled, [mid_plane(vertebra, side)])
        for side in Side
    }


def _fates(
    arch: ArchPlan, bones: BoneSolids, vertebra: Vertebra, nibbled: Solid
) -> dict[str, BoneFate]:
    """Fates of the arch's parts; the arch cut splits those of a side that leaves with the piece.

    The rule asks only on which sides of the arch cut there is bone at all, never for a share of
    it: outlines made another way move the cut by tenths of a mm and change no word.
    """
    fates = dict(arch.fates)
    own = bones.bone[vertebra.level] if vertebra.level else bones.all_bone
    for side in arch.with_piece:
        half = [mid_plane(vertebra, side), canal_plane(vertebra)]
        behind_mm3 = float(trimmed(nibbled, half).volume())
        leaves_mm3 = float(trimmed(own, half).volume()) - behind_mm3
        if leaves_mm3 < CHIP_MM3:
            continue
        fate = BoneFate.PIECE if behind_mm3 < CHIP_MM3 else BoneFate.SPLIT
        parts = ("lamina", "transverse process", "facets")
        fates.update({f"{side.value} {part}": fate for part in parts})
    return fates
