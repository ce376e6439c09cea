"""Allowances against geometry worked by hand."""

import numpy as np
import pytest
from scipy.optimize import brentq

from vertebloc.resection.allowance import measure_allowance
from vertebloc.space.solids import Sphere

from .closed_forms import cut_of, exact_field, square_face


@pytest.fixture(scope="module")
def ball():
    return exact_field(Sphere([0, 0, 0], 10.0), [-36, -36, -36], [36, 36, 36])


@pytest.fixture(scope="module")
def found(ball):
    face = square_face(16.0)
    return measure_allowance(face, cut_of(face), ball)


def test_offset_is_the_gap(found):
    assert found.offset_mm == pytest.approx(6.0, abs=0.05)
    assert found.offset_mm <= 6.0 + 0.03  # points are 0.75 mm apart: 0.53^2 / (2 * 16) = 0.01


def test_tilt_about_the_entry_edge(found):
    # by hand: the edge lies at y 20, z 16; turned by a, the plane is 16 cos a - 20 sin a from
    # the ball's centre and touches it at 10 mm
    angle = brentq(lambda a: 16 * np.cos(a) - 20 * np.sin(a) - 10.0, 0.0, 1.0)
    assert found.tilt_deg == pytest.approx(np.degrees(angle), abs=0.15)


def test_an_error_of_the_entry_alone(found):
    # by hand: the line from (y 20, z 16 - t) to (y -20, z 16) is 10 mm from the centre
    off = brentq(lambda t: (16 - t / 2) / np.hypot(1.0, t / 40.0) - 10.0, 0.0, 30.0)
    assert found.pivot_mm == pytest.approx(off, abs=0.15)


def test_offset_left_at_three_and_six_degrees(found):
    for tilt, left in ((3.0, found.offset_at_3_deg_mm), (6.0, found.offset_at_6_deg_mm)):
        a = np.radians(tilt)
        # by hand: shifting along the planned normal by s lowers the turned plane by s cos a
        expected = (16 * np.cos(a) - 20 * np.sin(a) - 10.0) / np.cos(a)
        assert left == pytest.approx(expected, abs=0.1)


def test_keeping_a_margin_takes_that_much_off(ball):
    face = square_face(16.0)
    kept = measure_allowance(face, cut_of(face), ball, keeps_mm=2.0)
    assert kept.offset_mm == pytest.approx(4.0, abs=0.05)


def test_a_face_already_in_tumour_has_no_allowance(ball):
    face = square_face(8.0)
    none = measure_allowance(face, cut_of(face), ball)
    assert (none.offset_mm, none.tilt_deg, none.pivot_mm) == (0.0, 0.0, 0.0)
    assert none.offset_at_3_deg_mm == 0.0


def test_a_face_that_never_meets_tumour_reads_the_limit(ball):
    face = square_face(16.0, half=5.0, centre=(60.0, 0.0))
    far = measure_allowance(face, cut_of(face, 5.0), ball)
    assert far.offset_mm == far.searched_to_mm


def test_a_small_face_may_be_off_more_than_its_plane():
    # the ball lies aside: the face passes it, the infinite plane would not
    ball = exact_field(Sphere([20, 0, 0], 6.0), [-20, -36, -36], [50, 36, 36])
    face = square_face(12.0, half=8.0)
    found = measure_allowance(face, cut_of(face, 8.0), ball)
    assert found.offset_mm == found.searched_to_mm
