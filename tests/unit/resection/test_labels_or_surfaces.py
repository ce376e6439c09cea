"""The same anatomy gives the same plan whether its outlines came as labels or as surfaces."""

import dataclasses

import numpy as np
import pytest

from vertebloc import made_up
from vertebloc.anatomy import describe_anatomy
from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.case.choices import Choices
from vertebloc.made_up.surfaces import surface_of
from vertebloc.resection import collect_solids, plan_resection
from vertebloc.resection import fates as fates_room
from vertebloc.resection.model import BoneFate, FaceKind
from vertebloc.space.frames import Side
from vertebloc.space.solids import Difference

T10 = Level("T10")
OUTLINED = (
    Structure.VERTEBRA, Structure.RIB, Structure.TUMOUR, Structure.SAC, Structure.AORTA,
    Structure.TRACT,
)  # fmt: skip


def surfaces_of(patient, pitch_mm):
    return {
        contour: surface_of(solid, pitch_mm)
        for structure in OUTLINED
        for contour, solid in patient.of(structure).items()
    }


def planned(contours):
    anatomy = describe_anatomy(contours, diseased=T10)
    solids = collect_solids(contours, anatomy, T10)
    return plan_resection(anatomy=anatomy, solids=solids, choices=Choices(), level=T10), solids


@pytest.mark.slow
@pytest.mark.parametrize("mirrored", [False, True])
def test_labels_and_surfaces_give_the_same_plan(mirrored):
    patient = made_up.lead_patient().mirrored() if mirrored else made_up.lead_patient()
    labels, _ = planned(ContourSet(made_up.label_map(patient, made_up.default_grid(patient))))
    surfaces, _ = planned(ContourSet(surfaces=surfaces_of(patient, 1.0)))
    assert surfaces.open_side is labels.open_side
    assert surfaces.bone_fates == labels.bone_fates
    assert surfaces.rib_fates == labels.rib_fates
    theirs = {cut.name: cut for cut in labels.cuts}
    assert {cut.name for cut in surfaces.cuts} == theirs.keys()
    for cut in surfaces.cuts:
        other = theirs[cut.name].plane
        assert cut.plane.normal @ other.normal > np.cos(np.radians(0.5)), cut.name
        apart = float(other.signed_distance_mm(cut.plane.point)[0])
        assert abs(apart) <= 0.3, (cut.name, apart)
    # 0.4 mm: the most by which a distance from these voxels was measured too short (accuracy)
    mine, other = ({f.name: f for f in p.faces} for p in (surfaces, labels))
    assert mine.keys() == other.keys()
    for name in (n for n, f in mine.items() if f.kind is FaceKind.BONE):
        assert mine[name].margin_mm == pytest.approx(other[name].margin_mm, abs=0.4), name
    nearest = min((f for f in mine.values() if f.kind is FaceKind.BONE), key=lambda f: f.margin_mm)
    side = "right" if mirrored else "left"
    assert nearest.name == f"{side} half of the caudal cut"


def test_a_tract_given_as_a_surface_is_planned_and_counts_in_bone_only():
    """Volume against the same patient without the tract; the tract runs 60 mm through muscle."""
    given = surfaces_of(made_up.lead_patient(), 1.5)
    without = {c: s for c, s in given.items() if c.structure is not Structure.TRACT}
    (tract,) = (s for c, s in given.items() if c.structure is Structure.TRACT)
    contours, plain = ContourSet(surfaces=given), ContourSet(surfaces=without)
    anatomy = describe_anatomy(contours, diseased=T10)
    solids, bare = (collect_solids(c, anatomy, T10) for c in (contours, plain))
    more = solids.tumour.volume_mm3 - bare.tumour.volume_mm3
    assert 20.0 < more < 0.5 * tract.volume_mm3
    assert "the biopsy tract in bone counts as tumour" in solids.assumptions
    assert "surface" in solids.distance_error_words


def test_bone_outlined_without_tumour_gets_it_back_though_outlines_touch():
    """Surfaces of bone and tumour that share a border overlap in some voxels by rounding."""
    patient = made_up.lead_patient()
    given = surfaces_of(patient, 1.5)
    bone, tumour = Contour(Structure.VERTEBRA, T10), Contour(Structure.TUMOUR)
    hollow = Difference(patient.solids[bone], patient.solids[tumour])
    contours = ContourSet(surfaces={**given, bone: surface_of(hollow, 1.5)})
    anatomy = describe_anatomy(contours, diseased=T10)
    solids = collect_solids(contours, anatomy, T10)
    assert any("destroyed bone" in note for note in solids.assumptions)
    assert solids.bone[T10].volume_ml > 1.05 * surface_of(hollow, 1.5).volume_ml


@pytest.mark.parametrize(("left_mm3", "right_mm3"), [(3.0, 0.0), (29.0, 0.0), (600.0, 20.0)])
def test_the_ring_is_opened_where_less_tumour_lies(lead, monkeypatch, left_mm3, right_mm3):
    """Even a little tumour decides, wherever the middle of the whole tumour lies."""
    inside = {Side.LEFT: left_mm3, Side.RIGHT: right_mm3}
    monkeypatch.setattr(fates_room, "_tumour_in_pedicle_mm3", lambda _v, _s, side: inside[side])
    flipped = dataclasses.replace(
        lead.solids,
        tumour=type(lead.solids.tumour)(
            lead.solids.tumour.vertices * [-1.0, 1.0, 1.0], lead.solids.tumour.triangles
        ),
    )  # its middle now lies on the right
    arch = fates_room.plan_arch(lead.vertebra, flipped, Choices())
    assert arch.open_side is Side.RIGHT
    assert arch.fates["left pedicle"] is BoneFate.PIECE
    assert bool(arch.notes) == (right_mm3 > fates_room.PEDICLE_DISEASED_MM3)


def test_the_half_of_the_arch_that_is_cut_is_said_to_be_split(lead):
    """The cut leaves bone on both of its sides; neither fate alone would be true."""
    arch = lead.face("left arch cut")
    assert arch.area_mm2 > 20.0
    for part in ("left lamina", "left transverse process", "left facets"):
        assert lead.plan.bone_fates[part] is BoneFate.SPLIT
    assert lead.plan.bone_fates["right lamina"] is BoneFate.PIECEMEAL
