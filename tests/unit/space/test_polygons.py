"""Finite flat faces, against areas known by hand and by shapely-free textbook formulas."""

import numpy as np
import pytest

from vertebloc.errors import FrameError, InputError
from vertebloc.space.frames import Frame
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.transforms import Transform

LPS_FROM_PLANE = Plane([0, 0, 50], [0, 0, 1]).frame([1, 0, 0])
SQUARE = np.array([[0, 0], [20, 0], [20, 10], [0, 10]])  # anticlockwise, 200 mm2
HOLE = np.array([[5, 2], [5, 6], [9, 6], [9, 2]])  # clockwise, 16 mm2


def test_area_of_a_square_and_of_a_square_with_a_hole() -> None:
    assert PlanarFace(LPS_FROM_PLANE, (SQUARE,)).area_mm2 == pytest.approx(200)
    assert PlanarFace(LPS_FROM_PLANE, (SQUARE, HOLE)).area_mm2 == pytest.approx(184)


def test_area_of_many_corners_is_the_textbook_one() -> None:
    # regular n-gon of radius r: n r^2 sin(2 pi / n) / 2
    angle = np.arange(7) * 2 * np.pi / 7
    heptagon = 12 * np.column_stack((np.cos(angle), np.sin(angle))) + (100, -30)
    area = 7 * 12**2 * np.sin(2 * np.pi / 7) / 2
    assert PlanarFace(LPS_FROM_PLANE, (heptagon,)).area_mm2 == pytest.approx(area)


def test_a_plane_that_misses_the_bone_makes_an_empty_face() -> None:
    face = PlanarFace(LPS_FROM_PLANE, ())
    assert face.is_empty
    assert face.area_mm2 == 0
    assert not PlanarFace(LPS_FROM_PLANE, (SQUARE,)).is_empty


def test_loops_lie_in_space_where_the_plane_is() -> None:
    (loop,) = PlanarFace(LPS_FROM_PLANE, (SQUARE,)).loops_lps()
    np.testing.assert_allclose(loop[2], [20, 10, 50])


def test_face_refuses_the_wrong_frame_and_half_a_loop() -> None:
    with pytest.raises(FrameError, match="lps_from_plane"):
        PlanarFace(LPS_FROM_PLANE.inverse, (SQUARE,))
    screen = Transform(np.eye(4), target=Frame.SCREEN, source=Frame.PLANE)
    with pytest.raises(FrameError, match="lps_from_plane"):
        PlanarFace(screen, (SQUARE,))
    with pytest.raises(InputError, match="at least three"):
        PlanarFace(LPS_FROM_PLANE, (SQUARE[:2],))
    with pytest.raises(InputError, match="at least three"):
        PlanarFace(LPS_FROM_PLANE, (np.zeros((4, 3)),))


def test_loops_are_copied_and_read_only() -> None:
    given = SQUARE.astype(float)
    face = PlanarFace(LPS_FROM_PLANE, (given,))
    given[0] = 99
    assert face.loops[0][0, 0] == 0
    with pytest.raises(ValueError, match="read-only"):
        face.loops[0][0, 0] = 1
