"""Depths of a blade: closed forms, and ray casting by an independent library (trimesh)."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import trimesh

from vertebloc.anatomy.levels import Level
from vertebloc.resection.depth import ANGLES_DEG, STOP_SHORT_MM, crossings_mm, measure_depths
from vertebloc.resection.model import HalfCut
from vertebloc.space.frames import Frame, Side
from vertebloc.space.planes import Plane
from vertebloc.space.sections import face_of_solid, solid_from_surface, surface_of_solid
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Transform

WALL_MM = 15.0  # y of the posterior wall: the body is an upright cylinder of radius 20 cut flat


def cylinder(radius_mm=20.0, height_mm=40.0, middle=(0.0, 0.0, 0.0)):
    made = trimesh.creation.cylinder(radius=radius_mm, height=height_mm, sections=720)
    made.apply_translation(middle)
    return TriangleSurface(made.vertices, made.faces)


def vertebra():
    return SimpleNamespace(
        level=Level("T10"),
        lps_from_vertebra=Transform(np.eye(4), target=Frame.PATIENT_LPS, source=Frame.VERTEBRA),
        posterior_wall_mm=WALL_MM,
        anterior_wall_mm=-20.0,
        left_wall_mm=20.0,
        right_wall_mm=-20.0,
        upper_endplate_mm=20.0,
        lower_endplate_mm=-20.0,
    )


def half(side, tilt_deg=0.0):
    tilt = np.radians(tilt_deg)
    return HalfCut(
        name=f"{side.value} half of the cranial cut",
        side=side,
        plane=Plane(np.array([10.0 * side.sign, WALL_MM, 0.0]),
                    np.array([0.0, np.sin(tilt), np.cos(tilt)])),
        entry=np.array([10.0 * side.sign, WALL_MM, 0.0]),
        entry_edge=np.array([1.0, 0.0, 0.0]),
        blade=np.array([0.0, -np.cos(tilt), np.sin(tilt)]),
        passes_through="body of T9",
        level=Level("T9"),
    )  # fmt: skip


def fans(surface, cuts, aorta=None, error_mm=1.0):
    bones = SimpleNamespace(all_bone=solid_from_surface(surface))
    return measure_depths(bones, SimpleNamespace(aorta=aorta), vertebra(), cuts, error_mm)


@pytest.mark.parametrize("side", list(Side))
def test_depths_in_a_cylinder_are_the_chords_of_its_circle(side):
    (fan,) = fans(cylinder(), [half(side)])
    # the outermost entry lies beside the circle there: aimed outwards it misses the bone
    assert len(fan.rays) == 3 * len(ANGLES_DEG) - 1
    for ray in fan.rays:
        way = (ray.far - ray.entry) / ray.depth_mm
        # the far end lies on the circle x^2 + y^2 = 400 (closed form; 720 sides: 0.0002 mm)
        along = -ray.entry @ way + np.sqrt((ray.entry @ way) ** 2 - ray.entry @ ray.entry + 400.0)
        assert ray.depth_mm == pytest.approx(along, abs=0.01)
        assert ray.gaps == 0
    straight = WALL_MM + np.sqrt(400.0 - 100.0)
    assert fan.straight_mm == pytest.approx(straight, abs=0.01)
    rim = np.sqrt(400.0 - 17.0**2)  # the straight pass at 0.85 of the half's edge
    outer = min(WALL_MM, rim) + rim
    assert fan.stop_mm == pytest.approx(min(outer, straight) - STOP_SHORT_MM - 1.0, abs=0.01)
    assert dict(fan.stop_by_angle_mm)[0.0] == fan.stop_mm


def test_depths_agree_with_ray_casting_by_an_independent_library():
    rough = trimesh.creation.icosphere(subdivisions=4, radius=20.0)
    bumps = 1.0 + 0.12 * np.sin(5 * rough.vertices[:, :1] / 6.0) * np.cos(
        rough.vertices[:, 2:] / 5.0
    )
    rough.vertices *= bumps
    surface = TriangleSurface(rough.vertices, rough.faces)
    cuts = [half(side, tilt) for side, tilt in ((Side.LEFT, 0.0), (Side.RIGHT, 7.0))]
    checked = 0
    for fan in fans(surface, cuts):
        for ray in fan.rays:
            way = (ray.far - ray.entry) / ray.depth_mm
            hits, _, _ = rough.ray.intersects_location([ray.entry - 0.05 * way], [way])
            farthest = max(float((hit - ray.entry) @ way) for hit in hits)
            assert ray.depth_mm == pytest.approx(farthest, abs=0.02)
            checked += 1
    assert checked >= 2 * 3 * len(ANGLES_DEG) - 2  # two may pass beside the bone


def test_the_gap_to_a_vessel_is_measured_on_the_blades_line():
    aorta = cylinder(radius_mm=8.0, middle=(10.0, -40.0, 0.0))
    (fan,) = fans(cylinder(), [half(Side.LEFT)], aorta)
    middle = next(r for r in fan.rays if r.angle_deg == 0.0 and abs(r.entry[0] - 10.0) < 1e-6)
    assert middle.vessel_gap_mm == pytest.approx(40.0 - 8.0 - np.sqrt(300.0), abs=0.01)
    assert fan.nearest_vessel_mm <= middle.vessel_gap_mm
    (bare,) = fans(cylinder(), [half(Side.RIGHT)], aorta)
    assert next(r for r in bare.rays if r.angle_deg == 0.0).vessel_gap_mm is None


def test_bone_left_and_entered_again_is_said_and_the_last_bone_counts():
    both = solid_from_surface(cylinder()) + solid_from_surface(
        cylinder(radius_mm=5.0, middle=(10.0, -30.0, 0.0))
    )
    (fan,) = fans(surface_of_solid(both), [half(Side.LEFT)])
    middle = next(r for r in fan.rays if r.angle_deg == 0.0 and abs(r.entry[0] - 10.0) < 1e-6)
    assert middle.gaps == 1
    assert middle.depth_mm == pytest.approx(WALL_MM + 35.0, abs=0.01)


def test_a_larger_outline_error_stops_earlier_by_as_much():
    near, far = (
        fans(cylinder(), [half(Side.LEFT)], error_mm=0.5),
        fans(cylinder(), [half(Side.LEFT)], error_mm=2.0),
    )
    assert near[0].stop_mm - far[0].stop_mm == pytest.approx(1.5)


def test_crossings_come_in_order_and_only_ahead():
    cut = half(Side.LEFT)
    face = face_of_solid(solid_from_surface(cylinder()), cut.plane.frame(cut.blade))
    found = crossings_mm(face, np.array([10.0, 40.0, 0.0]), np.array([0.0, -1.0, 0.0]))
    assert found == pytest.approx([40.0 - np.sqrt(300.0), 40.0 + np.sqrt(300.0)], abs=0.01)
    assert len(crossings_mm(face, np.array([10.0, 0.0, 0.0]), np.array([0.0, -1.0, 0.0]))) == 1
