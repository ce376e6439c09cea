"""A made-up tumour in T8 of the real thorax CT, planned, against the ellipsoid's closed form."""

import sys
from functools import cache
from pathlib import Path

import numpy as np
import pytest
import trimesh

from vertebloc.anatomy import describe_anatomy
from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.case.choices import Choices
from vertebloc.exchange.nifti import read_nifti_labels
from vertebloc.resection import FaceKind, collect_solids, plan_resection
from vertebloc.resection.depth import FAR_CORTEX
from vertebloc.resection.margins import measure_face
from vertebloc.space.accuracy import distance_error_of
from vertebloc.staging import StagingSettings, stage_tumour, tumour_side

sys.path.insert(0, str(Path(__file__).parents[3] / "tools"))
from plan_real_ct import with_tumour

pytestmark = [pytest.mark.slow, pytest.mark.real_data]
T8 = Level("T8")


@pytest.fixture
def planned(thorax_ct_folder):
    return plan_in(thorax_ct_folder)


@cache
def plan_in(folder):
    labels, _ = read_nifti_labels(folder / "labels.nii.gz", folder / "labels.json")
    ill, ellipsoid = with_tumour(labels)
    contours = ContourSet(ill)
    anatomy = describe_anatomy(contours)
    solids = collect_solids(contours, anatomy, T8)
    plan = plan_resection(anatomy=anatomy, solids=solids, choices=Choices(), level=T8)
    return anatomy, solids, plan, ellipsoid


def test_margins_against_the_closed_form_within_the_printed_error(planned):
    _, solids, plan, ellipsoid = planned
    promised = distance_error_of((0.703, 0.703, 2.5))
    faces = [f for f in plan.faces if f.kind is FaceKind.BONE]
    assert len(faces) >= 6
    for face in faces:
        exact = measure_face(face.face, ellipsoid).margin_mm
        assert face.margin_mm <= exact + promised.largest_long_mm, face.name
        assert face.margin_mm >= exact - promised.largest_short_mm, face.name
    assert f"{promised.largest_short_mm:.2f} mm" in solids.distance_error_words


def test_volume_side_and_what_is_left(planned):
    anatomy, solids, plan, _ = planned
    closed_form_ml = 4.0 / 3.0 * np.pi * 9.0 * 9.0 * 7.0 / 1000.0
    assert plan.tumour_volume_ml == pytest.approx(closed_form_ml, rel=0.05)
    assert plan.tumour_left.total_ml == 0.0
    found = tumour_side(
        vertebra=anatomy.vertebrae[T8],
        tumour=solids.tumour_field,
        tumour_extent=solids.tumour_extent,
        settings=StagingSettings(),
    )
    assert found.side.value == "left"


def test_sectors_lie_on_the_tumours_true_side(planned):
    anatomy, solids, _, _ = planned
    staging = stage_tumour(
        canal=anatomy.canal,
        vertebra=anatomy.vertebrae[T8],
        tumour=solids.tumour_field,
        bone=solids.bone_field,
        sac=None,
        tumour_extent=solids.tumour_extent,
        settings=StagingSettings(),
    )
    involved = {
        (s.sector.side.value, s.sector.region.value) for s in staging.sectors if s.involved
    }
    # the ellipsoid reaches 3 mm past the midline: only the middle of the body may be named right
    assert ("left", "middle of the body") in involved
    assert {r for side, r in involved if side == "right"} <= {"middle of the body"}


def test_the_level_found_is_the_one_with_the_tumour(planned):
    assert planned[2].level == T8
    assert [f"{c.level}" for c in planned[2].cuts[:4]] == ["T7", "T7", "T9", "T9"]


def test_depths_against_an_independent_ray_engine(planned):
    """Each line cast by trimesh through the given bones, before they are made simpler.

    Simpler bones move a wall by up to 0.05 mm: along a line that leaves at 80 degrees to the
    wall's normal, six times that. Whether such a line still meets a spur is told by neither.
    """
    _, solids, plan, _ = planned
    promised = distance_error_of((0.703, 0.703, 2.5))
    bones = [
        trimesh.Trimesh(bone.vertices, bone.triangles, process=False)
        for bone in solids.bone.values()
    ]
    engine = trimesh.ray.ray_triangle.RayMeshIntersector(trimesh.util.concatenate(bones))
    through_bone = [fan for fan in plan.depths if fan.measured_to == FAR_CORTEX]
    rays = [ray for fan in through_bone for ray in fan.rays]
    starts = np.array([ray.entry + 0.5 * ray.direction for ray in rays])
    places, which, _ = engine.intersects_location(
        starts, np.array([ray.direction for ray in rays]), multiple_hits=True
    )
    off = []
    for number, ray in enumerate(rays):
        hits = (places[which == number] - ray.entry) @ ray.direction
        off.append(abs(ray.depth_mm - hits.max()) if len(hits) else np.inf)
    assert len(through_bone) >= 2 and len(off) > 60
    assert np.median(off) < 0.05
    assert np.mean(np.array(off) < 0.3) > 0.95
    for fan in plan.depths:
        # a body of T7 or T9 is some 20 to 40 mm from back to front; nobody's is 60
        assert 10.0 < fan.planned.depth_mm < 60.0
        assert fan.stop_mm <= fan.planned.depth_mm - fan.stop_short_mm
        assert fan.outline_error_mm == pytest.approx(1.0 + promised.most_of_them_mm)
        assert "aorta" in fan.vessels_outlined
