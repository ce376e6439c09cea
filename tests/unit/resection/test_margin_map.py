"""Margins all over a face against closed forms."""

import numpy as np
import pytest

from vertebloc.errors import InputError
from vertebloc.made_up.surfaces import surface_of
from vertebloc.resection.margin_map import map_margins, map_surface_margins
from vertebloc.resection.margins import measure_face
from vertebloc.resection.soft_faces import triangles_of_soft_faces
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.solids import Ellipsoid, Sphere

from .closed_forms import exact_field, square_face


def test_every_place_has_the_spheres_distance():
    found = map_margins(square_face(16.0), Sphere([0, 0, 0], 10.0))
    expected = np.sqrt((found.points**2).sum(axis=1)) - 10.0  # closed form
    assert found.margins_mm == pytest.approx(expected, abs=1e-12)
    assert found.margin_mm == pytest.approx(6.0, abs=0.1)  # the nearest of 1.5 mm apart
    assert found.weakest == pytest.approx([0.0, 0.0, 16.0], abs=1.1)


def test_the_field_of_an_ellipsoid_gives_the_same_map():
    ellipsoid = Ellipsoid([0.2, -0.1, 0.3], [9.0, 6.0, 12.0])
    field = exact_field(ellipsoid, [-30, -30, -30], [30, 30, 30])
    exact, read = (map_margins(square_face(18.0, half=12.0), one) for one in (ellipsoid, field))
    # trilinear steps between nodes 0.5 mm apart, curvature under 1 / 5 mm
    assert read.margins_mm == pytest.approx(exact.margins_mm, abs=0.02)
    # closed form: the pole lies 12.3 mm up, under the face's place (0.2, -0.1)
    assert exact.margin_mm == pytest.approx(18.0 - 12.3, abs=0.1)


def test_area_in_tumour_is_the_circle_that_the_sphere_cuts():
    found = map_margins(square_face(6.0), Sphere([0, 0, 0], 10.0), 0.25)
    assert found.area_below_mm2(0.0) == pytest.approx(np.pi * 64.0, rel=0.01)  # radius 8
    # closed form: closer than 2 mm is a circle of radius sqrt(12^2 - 6^2)
    assert found.area_below_mm2(2.0) == pytest.approx(np.pi * 108.0, rel=0.01)
    assert found.areas_mm2.sum() == pytest.approx(1600.0)


def test_the_map_is_never_below_the_margin_and_near_to_it():
    ellipsoid = Ellipsoid([3.0, -2.0, 0.0], [9.0, 6.0, 7.0])
    face = square_face(11.0)
    margin = measure_face(face, ellipsoid).margin_mm
    least = map_margins(face, ellipsoid).margin_mm
    assert margin - 1e-9 <= least <= margin + 1.5


def test_a_face_of_nothing_has_no_map():
    with pytest.raises(InputError, match="no point of a lattice"):
        map_margins(PlanarFace(square_face(1.0).lps_from_plane, ()), Sphere([0, 0, 0], 1.0))


def test_a_sphere_about_a_sphere_keeps_the_same_margin_everywhere():
    shell = surface_of(Sphere([0, 0, 0], 15.0), 1.0)
    upper = np.flatnonzero(shell.corners.mean(axis=1)[:, 2] > 0.0)
    found = map_surface_margins(shell, upper, Sphere([0, 0, 0], 10.0))
    assert found.margins_mm == pytest.approx(5.0, abs=0.05)  # flat triangles lie a little inside
    assert found.areas_mm2.sum() == pytest.approx(2 * np.pi * 225.0, rel=0.02)  # half a sphere


def test_no_triangle_no_map():
    shell = surface_of(Sphere([0, 0, 0], 15.0), 2.0)
    with pytest.raises(InputError, match="at least one triangle"):
        map_surface_margins(shell, np.zeros(0, dtype=np.int64), Sphere([0, 0, 0], 1.0))


def test_triangles_of_soft_faces_are_those_that_were_measured(lead):
    """Areas of the four faces, and no triangle in two of them or on a cut."""
    plan = lead.plan
    parts = triangles_of_soft_faces(plan.piece, lead.vertebra, plan.cuts)
    every = np.concatenate(list(parts.values()))
    assert len(every) == len(np.unique(every)) > 100
    for part, name in (("dura", "sac"), ("front", "front"), ("left side", "left side")):
        chosen = next(found for face, found in parts.items() if face.value == part)
        found = map_surface_margins(plan.piece, chosen, lead.solids.tumour_field)
        assert found.areas_mm2.sum() == pytest.approx(lead.face(name).area_mm2)
    middles = plan.piece.corners[every].mean(axis=1)
    for cut in plan.cuts[:4]:
        own = middles[
            cut.side.sign * lead.vertebra.lps_from_vertebra.inverse.points(middles)[:, 0] > 1
        ]
        assert cut.plane.signed_distance_mm(own).max() < 0.0
