"""Positioner angles against hand-worked geometry, sides of pictures, cuts as lines."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vertebloc.errors import NoSolutionError
from vertebloc.fluoroscopy import CArm, HeadAt
from vertebloc.fluoroscopy.lines import (
    angles_for_line,
    band_mm,
    tilt_for_line,
    turn_for_line,
)
from vertebloc.fluoroscopy.model import Beam
from vertebloc.fluoroscopy.views import straight_view
from vertebloc.space.frames import Side
from vertebloc.space.views import View, screen_from_body

from .conftest import make_view

LEFT, BACK, HEAD = np.eye(3)
HALF = math.sqrt(0.5)


@pytest.mark.parametrize(
    ("primary", "secondary", "detector"),
    [
        # DICOM (0018,1510) runs from RAO to LAO, 0 before the chest, +90 at the patient's left;
        # (0018,1511) from CAU to CRA, +90 at the head. Worked by hand, patient LPS.
        (0, 0, (0, -1, 0)),
        (90, 0, (1, 0, 0)),
        (-90, 0, (-1, 0, 0)),
        (180, 0, (0, 1, 0)),
        (45, 0, (HALF, -HALF, 0)),
        (0, 30, (0, -math.sqrt(0.75), 0.5)),
        (180, 30, (0, math.sqrt(0.75), 0.5)),
        (90, -30, (math.sqrt(0.75), 0, -0.5)),
        (45, 45, (0.5, -0.5, HALF)),
    ],
)
def test_where_the_detector_is(primary, secondary, detector):
    view = make_view(primary, secondary, aim=(3.0, 4.0, 5.0))
    np.testing.assert_allclose(view.towards_detector, detector, atol=1e-12)
    # the tube 600 mm on the other side, aimed at the place
    np.testing.assert_allclose(view.source, [3, 4, 5] - 600.0 * np.array(detector), atol=1e-9)
    np.testing.assert_allclose(view.on_detector([3.0, 4.0, 5.0]), [[0, 0]], atol=1e-9)


@pytest.mark.parametrize(
    ("beam", "standing", "theatre"),
    [
        (Beam.FROM_BEHIND, Side.LEFT, View.THEATRE_STANDING_LEFT),
        (Beam.FROM_BEHIND, Side.RIGHT, View.THEATRE_STANDING_RIGHT),
        (Beam.FROM_BEHIND, None, View.THEATRE_HEAD_UP),
        (Beam.FROM_THE_SIDE, Side.LEFT, View.THEATRE_SIDE_STANDING_LEFT),
        (Beam.FROM_THE_SIDE, Side.RIGHT, View.THEATRE_SIDE_STANDING_RIGHT),
        (Beam.FROM_THE_SIDE, None, View.THEATRE_SIDE_HEAD_UP),
    ],
)
def test_pictures_are_turned_as_theatre_sees_them(beam, standing, theatre):
    """Against the project's theatre views, themselves checked by hand; never mirrored."""
    view = straight_view(beam, np.zeros(3), standing, CArm())
    right, up = view.axes
    rows = screen_from_body(theatre).matrix[:3, :3]
    np.testing.assert_allclose([right, up, view.viewer], rows, atol=1e-12)
    assert np.linalg.det([right, up, view.viewer]) == pytest.approx(1.0)


def test_one_marked_rib_by_hand():
    """Standing at the left, a thing at the patient's left and head: picture's left and bottom."""
    view = straight_view(Beam.FROM_BEHIND, np.zeros(3), Side.LEFT, CArm())
    seen = view.on_detector([[30.0, 0.0, 50.0]])[0]
    assert seen[0] < 0.0 and seen[1] < 0.0
    other = straight_view(Beam.FROM_BEHIND, np.zeros(3), Side.RIGHT, CArm())
    seen = other.on_detector([[30.0, 0.0, 50.0]])[0]
    assert seen[0] > 0.0 and seen[1] > 0.0
    # the tube lies below the prone patient, the detector stands where the surgeon stands
    assert view.source[1] < 0.0
    side = straight_view(Beam.FROM_THE_SIDE, np.zeros(3), Side.RIGHT, CArm())
    assert side.towards_detector[0] == -1.0 and side.source[0] > 0.0


def test_seen_from_the_tube_is_the_same_picture_turned_over():
    """Detector below the table: the picture is still shown as seen from behind."""
    above = make_view(180.0, 0.0, source_object_mm=500.0)
    below = make_view(0.0, 0.0, source_object_mm=500.0)
    from dataclasses import replace

    shown = replace(below, from_tube=True)
    np.testing.assert_allclose(shown.axes, above.axes, atol=1e-12)
    at = np.array([[12.0, 0.0, -7.0]])
    np.testing.assert_allclose(shown.on_detector(at), above.on_detector(at), atol=1e-9)


def test_tilt_against_algebra():
    """A cut whose blade runs 7 degrees towards the head: the beam runs along the blade."""
    blade = np.array([0.0, -math.cos(math.radians(7.0)), math.sin(math.radians(7.0))])
    normal = np.cross(LEFT, blade)
    assert tilt_for_line(normal, 180.0) == pytest.approx(-7.0)
    view = make_view(180.0, -7.0)
    np.testing.assert_allclose(view.towards_detector, -blade, atol=1e-12)
    # from the side the same cut needs no tilt: it is not rolled
    assert tilt_for_line(normal, 90.0) == pytest.approx(0.0, abs=1e-12)
    # rolled by 5 degrees, left end up: from the left the detector goes up by as much
    rolled = np.array([-math.sin(math.radians(5.0)), 0.0, math.cos(math.radians(5.0))])
    assert tilt_for_line(rolled, 90.0) == pytest.approx(5.0)
    assert tilt_for_line(rolled, -90.0) == pytest.approx(-5.0)


def test_turn_against_algebra():
    """A cut lengthwise: turned by its own angle; square to the beam it cannot be seen."""
    normal = np.array([math.cos(math.radians(10.0)), math.sin(math.radians(10.0)), 0.0])
    # n.d = cos10 sin a - sin10 cos a = 0: a = 10 or 190
    assert turn_for_line(normal, 0.0, 180.0) == pytest.approx(190.0)
    assert turn_for_line(normal, 0.0, 0.0) == pytest.approx(10.0)
    with pytest.raises(NoSolutionError, match="tilt"):
        tilt_for_line(normal, 180.0)
    with pytest.raises(NoSolutionError, match="turn"):
        turn_for_line(HEAD, 20.0, 180.0)


UNIT = st.floats(-1.0, 1.0)


@settings(max_examples=60, deadline=None)
@given(UNIT, UNIT, UNIT, st.sampled_from([180.0, 90.0, -90.0]))
def test_a_plane_becomes_a_line(x, y, z, primary):
    """Law: in the found view every point of the plane lies on one line, by perspective too."""
    normal = np.array([x, y, z])
    if np.linalg.norm(normal) < 0.1:
        return
    normal /= np.linalg.norm(normal)
    try:
        a, b = angles_for_line(normal, primary)
    except NoSolutionError:
        return
    if abs(b) > 80.0:
        return
    view = make_view(a, b, aim=(5.0, -3.0, 8.0))
    assert abs(view.towards_detector @ normal) < 1e-9
    along = np.cross(normal, [0.3, 0.5, 0.8])
    across = np.cross(normal, along)
    places = (
        view.aim + np.outer([-20, -5, 0, 9, 25], along) + np.outer([8, -14, 3, 20, -6], across)
    )
    seen = view.on_detector(places)
    spread = np.linalg.svd(seen - seen.mean(axis=0), compute_uv=False)
    assert spread[1] < 1e-6
    assert a == primary or b == 0.0  # one turn only


def test_off_by_some_degrees_the_line_is_a_band():
    """L sin d: 30 mm seen 5 degrees off are 2.6 mm wide."""
    assert band_mm(30.0, 5.0) == pytest.approx(2.61, abs=0.005)


def test_head_edges():
    for head_at, (col, row) in {
        HeadAt.LEFT_EDGE: (-1, 0), HeadAt.RIGHT_EDGE: (1, 0), HeadAt.TOP_EDGE: (0, 1),
    }.items():  # fmt: skip
        right, up = make_view(170.0, 10.0, head_at=head_at).axes
        assert np.sign(round(float(right @ HEAD), 9)) == col
        assert np.sign(round(float(up @ HEAD), 9)) == row
