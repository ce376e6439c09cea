"""Sides and frames."""

import pytest

from vertebloc.space.frames import Frame, Side


def test_left_is_where_x_grows() -> None:
    # DICOM PS3.3 C.7.6.2.1.1: x increases to the left hand side of the patient
    assert Side.LEFT.sign == 1
    assert Side.RIGHT.sign == -1


@pytest.mark.parametrize(("side", "other"), [(Side.LEFT, Side.RIGHT), (Side.RIGHT, Side.LEFT)])
def test_other_side(side: Side, other: Side) -> None:
    assert side.other is other


def test_frames_are_five_different_ones() -> None:
    assert {frame.value for frame in Frame} == {
        "patient-lps",
        "image-ijk",
        "vertebra",
        "plane",
        "screen",
    }
