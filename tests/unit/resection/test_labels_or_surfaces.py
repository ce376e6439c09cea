"""The same anatomy gives the same plan whether its outlines came as labels or as surfaces."""

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
from vertebloc.resection.model import FaceKind
from vertebloc.space.solids import Difference, Grown

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
@pytest.mark.parametrize(
    "mirrored", [pytest.param(one, marks=pytest.mark.full) for one in (False, True)]
)
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


@pytest.mark.slow
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


@pytest.mark.slow
def test_bone_outlined_without_tumour_gets_it_back_though_outlines_touch():
    """Drawn 0.7 mm into each other: a few voxels of overlap must not pass for destroyed bone."""
    patient = made_up.lead_patient()
    given = surfaces_of(patient, 1.5)
    bone, tumour = Contour(Structure.VERTEBRA, T10), Contour(Structure.TUMOUR)
    hollow = Difference(patient.solids[bone], Grown(patient.solids[tumour], -0.7))
    contours = ContourSet(surfaces={**given, bone: surface_of(hollow, 1.5)})
    anatomy = describe_anatomy(contours, diseased=T10)
    solids = collect_solids(contours, anatomy, T10)
    assert any("destroyed bone" in note for note in solids.assumptions)
    assert solids.bone[T10].volume_ml > 1.05 * surface_of(hollow, 1.5).volume_ml
