"""The least distance from triangles to a solid, against closed forms."""

import numpy as np
import pytest

from vertebloc.resection.nearest_place import WITHIN_MM, nearest_place


class Ball:
    """A ball: its distance is a closed form."""

    def __init__(self, middle, radius_mm):
        self.middle, self.radius_mm = np.asarray(middle, dtype=float), radius_mm
        self.asked = 0

    def signed_distance_mm(self, points):
        self.asked += len(points)
        return np.linalg.norm(points - self.middle, axis=-1) - self.radius_mm


#: A square of 60 mm in two triangles: corners and middles lie far from most of it.
SQUARE = 30.0 * np.array(
    [[[-1, -1, 0], [1, -1, 0], [1, 1, 0]], [[-1, -1, 0], [1, 1, 0], [-1, 1, 0]]], dtype=float
)


@pytest.mark.parametrize("beside", [(3.0, 4.0), (-22.0, 17.0), (29.0, -29.0), (0.0, 0.0)])
@pytest.mark.parametrize("gap_mm", [0.3, 2.0, 15.0])
def test_a_ball_over_a_wide_face_is_as_near_as_its_gap(beside, gap_mm):
    ball = Ball((*beside, 5.0 + gap_mm), 5.0)
    found, place = nearest_place(SQUARE, ball)
    assert gap_mm - 1e-9 <= found <= gap_mm + WITHIN_MM
    assert ball.signed_distance_mm(place) == pytest.approx(found)
    assert ball.asked < 60_000


def test_a_ball_beyond_the_rim_is_measured_to_the_rim():
    found, place = nearest_place(SQUARE, Ball((38.0, 7.0, 6.0), 5.0))
    assert found == pytest.approx(10.0 - 5.0, abs=WITHIN_MM)
    assert place == pytest.approx([30.0, 7.0, 0.0], abs=1.0)


def test_a_face_in_the_solid_is_bare():
    found, _ = nearest_place(SQUARE, Ball((0.0, 0.0, 1.0), 5.0))
    assert found <= 0.0


def test_tumour_along_the_whole_face_is_never_read_too_far_away():
    """A slab parallel to the face: every triangle stays in question until the search ends."""

    class Slab:
        def signed_distance_mm(self, points):
            return points[:, 2] + 4.0

    found, _ = nearest_place(SQUARE, Slab())
    assert 3.7 < found <= 4.0 + WITHIN_MM
