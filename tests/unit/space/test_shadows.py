"""Outlines as seen from one side, against closed forms and an independent library."""

import numpy as np
import pytest
import trimesh
from matplotlib.path import Path

from vertebloc.space.planes import Plane
from vertebloc.space.sections import solid_from_surface
from vertebloc.space.shadows import shadow_of_solid, shadow_of_triangles
from vertebloc.space.surfaces import TriangleSurface

DIRECTIONS = [(0.0, 0.0, 1.0), (1.0, 0.0, 0.0), (1.0, 1.0, 1.0), (0.3, -0.8, 0.4)]


def seen_along(direction):
    normal = np.array(direction) / np.linalg.norm(direction)
    side = np.cross(normal, [0.0, 1.0, 0.2])
    return Plane(np.array([3.0, -2.0, 1.0]), normal).frame(side / np.linalg.norm(side))


def surface_of(mesh):
    return TriangleSurface(np.array(mesh.vertices), np.array(mesh.faces))


def all_of(surface):
    return np.arange(len(surface.triangles))


@pytest.mark.parametrize("direction", DIRECTIONS)
def test_a_convex_body_throws_half_its_faces_turned_to_the_light(direction):
    """Closed form (Cauchy): half the sum of face areas times the cosine to the light."""
    box = trimesh.creation.box((10.0, 20.0, 30.0))
    light = np.array(direction) / np.linalg.norm(direction)
    expected = 0.5 * float(box.area_faces @ np.abs(box.face_normals @ light))
    surface = surface_of(box)
    shadow = shadow_of_triangles(surface, all_of(surface), seen_along(direction))
    assert shadow.area_mm2 == pytest.approx(expected, abs=1e-6)
    assert len(shadow.loops) == 1


@pytest.mark.parametrize("direction", DIRECTIONS)
@pytest.mark.parametrize("share", [1.0, 0.4])
def test_any_triangles_throw_the_union_of_their_shadows(direction, share):
    """A place is in shadow if it lies in the shadow of any one triangle, as matplotlib says."""
    ring = surface_of(trimesh.creation.torus(20.0, 6.0, major_sections=24, minor_sections=12))
    rng = np.random.default_rng(3)
    chosen = np.flatnonzero(rng.random(len(ring.triangles)) < share)
    frame = seen_along(direction)
    shadow = shadow_of_triangles(ring, chosen, frame)
    flat = frame.inverse.points(ring.vertices)[:, :2]
    places = rng.uniform(flat.min(axis=0), flat.max(axis=0), (4000, 2))
    covered = np.zeros(len(places), dtype=bool)
    for triangle in ring.triangles[chosen]:
        covered |= Path(flat[[*triangle, triangle[0]]], closed=True).contains_points(places)
    inside = np.zeros(len(places), dtype=bool)
    for loop in shadow.loops:  # holes are loops too
        inside ^= Path(np.vstack((loop, loop[:1])), closed=True).contains_points(places)
    assert 0.2 < covered.mean() < 0.95
    np.testing.assert_array_equal(inside, covered)
    if share == 1.0:
        solid = shadow_of_solid(solid_from_surface(ring), frame)
        assert shadow.area_mm2 == pytest.approx(solid.area_mm2, abs=1e-3)


def test_none_throws_none():
    box = surface_of(trimesh.creation.box((1.0, 1.0, 1.0)))
    assert shadow_of_triangles(box, np.array([], dtype=np.int64), seen_along((0, 0, 1))).is_empty
