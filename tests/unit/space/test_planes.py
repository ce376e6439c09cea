"""Planes with a marked side."""

import numpy as np
import pytest

from vertebloc.errors import FrameError, InputError
from vertebloc.space.frames import Frame
from vertebloc.space.planes import Plane
from vertebloc.space.transforms import Transform, rigid_frame

UPWARD = Plane([0, 0, 10], [0, 0, 2])  # 10 mm up, positive towards the head

QUARTER_TURN = rigid_frame(  # about the patient's left-right axis: head goes to the front
    [1, 2, 3], [[1, 0, 0], [0, 0, 1], [0, -1, 0]], source=Frame.PATIENT_LPS
)


def test_distance_is_positive_on_the_side_of_the_normal() -> None:
    np.testing.assert_allclose(
        UPWARD.signed_distance_mm([[5, 5, 13], [0, 0, 10], [-3, 1, 6]]), [3, 0, -4]
    )


def test_distance_of_a_slanted_plane() -> None:
    # x + 2 y + 2 z = 9, whose distance from the origin is 9 / 3 = 3 (Hesse normal form)
    plane = Plane([9, 0, 0], [1, 2, 2])
    np.testing.assert_allclose(plane.signed_distance_mm([0, 0, 0]), [-3])


def test_frame_lies_in_the_plane() -> None:
    frame = UPWARD.frame([3, 0, 5])
    assert (frame.target, frame.source) == (Frame.PATIENT_LPS, Frame.PLANE)
    assert frame.is_rigid
    np.testing.assert_allclose(frame.points([[2, 3, 0], [0, 0, 1]]), [[2, 3, 10], [0, 0, 11]])


def test_frame_refuses_a_direction_along_the_normal() -> None:
    with pytest.raises(InputError, match="along the plane's normal"):
        UPWARD.frame([0, 0, 1])


def test_moved_plane_keeps_its_marked_side() -> None:
    moved = UPWARD.moved(QUARTER_TURN)
    # by hand: (0, 0, 10) -> (0, -10, 0) + (1, 2, 3); the normal turns from head to front
    np.testing.assert_allclose(moved.point, [1, -8, 3])
    np.testing.assert_allclose(moved.normal, [0, -1, 0], atol=1e-12)


def test_moving_refuses_other_frames_and_stretching() -> None:
    with pytest.raises(FrameError, match="from patient-lps into patient-lps"):
        UPWARD.moved(Transform(np.eye(4), target=Frame.SCREEN, source=Frame.PATIENT_LPS))
    stretch = Transform(
        np.diag([1.0, 1, 2, 1]), target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS
    )
    with pytest.raises(InputError, match="rigid"):
        UPWARD.moved(stretch)


@pytest.mark.parametrize(
    ("point", "normal"),
    [([0, 0, 0], [0, 0, 0]), ([0, np.nan, 0], [0, 0, 1]), ([0, 0, 0], [0, np.nan, 1])],
)
def test_no_plane_without_a_direction(point: list[float], normal: list[float]) -> None:
    with pytest.raises(InputError, match="a plane needs"):
        Plane(point, normal)


def test_plane_is_read_only() -> None:
    for array in (UPWARD.point, UPWARD.normal):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1
