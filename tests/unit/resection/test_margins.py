"""Margins of finite faces against closed forms."""

import numpy as np
import pytest

from vertebloc.errors import InputError
from vertebloc.resection.margins import measure_face
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.solids import Box, Capsule, Ellipsoid, Sphere, Union

from .closed_forms import exact_field, square_face


def test_sphere_below_the_face():
    # by hand: centre 16 mm below, radius 10
    found = measure_face(square_face(16.0), Sphere([0, 0, 0], 10.0))
    assert found.margin_mm == pytest.approx(6.0, abs=0.005)
    assert found.weakest == pytest.approx([0, 0, 16.0], abs=0.05)
    assert found.tumour_crossed_mm2 == 0.0


def test_sphere_beside_a_finite_face_is_measured_to_its_rim():
    # the infinite plane would read 5; the rim is 20 mm aside and 10 mm below
    found = measure_face(square_face(10.0, half=10.0), Sphere([30, 0, 0], 5.0))
    assert found.margin_mm == pytest.approx(np.hypot(20.0, 10.0) - 5.0, abs=0.02)
    assert found.weakest[0] == pytest.approx(10.0, abs=0.05)


@pytest.mark.parametrize("aside", [0.0, 0.013, 0.21])
def test_the_nearest_place_on_the_rim_is_found_to_a_hundredth(aside):
    """Closed form: the foot of the perpendicular on the edge, wherever points happen to lie."""
    found = measure_face(square_face(0.0, half=10.0), Sphere([10.5, aside, 0.0], 0.4))
    assert found.margin_mm == pytest.approx(0.1, abs=0.001)


def test_tumour_through_the_face_reads_negative_and_its_area():
    found = measure_face(square_face(6.0), Sphere([0, 0, 0], 10.0))
    assert found.margin_mm == pytest.approx(-4.0, abs=0.005)
    assert found.tumour_crossed_mm2 == pytest.approx(np.pi * (100 - 36), rel=0.03)


@pytest.mark.parametrize(
    ("solid", "height", "expected"),
    [
        (Ellipsoid([0, 0, 0], [9.0, 9.0, 7.0]), 12.0, 5.0),
        (Box([0, 0, 0], [8.0, 6.0, 5.0]), 9.0, 4.0),
        (Capsule([-6, 0, 0], [6, 0, 3.0], 4.0), 10.0, 3.0),
    ],
)
def test_other_closed_forms(solid, height, expected):
    assert measure_face(square_face(height), solid).margin_mm == pytest.approx(expected, abs=0.01)


def test_dumb_bell_beside_a_pedicle_where_the_infinite_plane_lies():
    """Two balls: one in the piece, one far aside of the face but above its plane."""
    dumb_bell = Union((Sphere([0, 0, 0], 6.0), Sphere([40, 0, 14.0], 5.0)))
    found = measure_face(square_face(12.0, half=10.0), dumb_bell)
    assert found.margin_mm == pytest.approx(6.0, abs=0.01)  # the plane itself passes the ball


def test_a_field_of_the_closed_form_gives_the_same():
    sphere = Sphere([0.3, -0.2, 0.1], 10.0)
    field = exact_field(sphere, [-30, -30, -30], [30, 30, 30])
    exact = measure_face(square_face(15.0), sphere).margin_mm
    assert measure_face(square_face(15.0), field).margin_mm == pytest.approx(exact, abs=0.03)


def test_a_hole_in_the_face_is_no_face():
    hole = np.array([[-12.0, -12.0], [-12.0, 12.0], [12.0, 12.0], [12.0, -12.0]])
    whole = square_face(12.0)
    ring = PlanarFace(whole.lps_from_plane, (*whole.loops, hole))
    found = measure_face(ring, Sphere([0, 0, 0], 10.0))
    # by hand: nearest place of the ring is the middle of the hole's edge
    assert found.margin_mm == pytest.approx(np.hypot(12.0, 12.0) - 10.0, abs=0.03)


def test_a_plane_that_misses_the_bone_has_no_margin():
    empty = PlanarFace(square_face(1.0).lps_from_plane, ())
    with pytest.raises(InputError, match="misses the bone"):
        measure_face(empty, Sphere([0, 0, 0], 1.0))
