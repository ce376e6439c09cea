"""Yes, no, cannot tell: in rooms where plain geometry says what is right."""

import pytest

from vertebloc.space.frames import Side
from vertebloc.way_out import Answer, WayOutSettings, find_way_out
from vertebloc.way_out.poses import Tilt, moves_of

from .rooms import bar, post_room

SETTINGS = WayOutSettings(
    clear_after_mm=5.0, contour_error_mm=0.3, sac_motion_mm=0.2, step_mm=2.0, step_deg=7.5,
    tilt_deg=3.0, lift_mm=0.5, root_gives_mm=1.0,
)  # fmt: skip


def quiet(_):
    pass


@pytest.mark.full
def test_yes_on_the_side_with_room():
    """30 mm beside the post on the left for a block of 12 mm; 8 mm on the right cannot pass it."""
    found = find_way_out(post_room(), SETTINGS, quiet)
    assert (found.answer, found.side) == (Answer.YES, Side.LEFT)
    by_side = {entry.side: entry for entry in found.ledger}
    assert by_side[Side.RIGHT].answer is not Answer.YES
    # 30 mm - 12 mm: 18 mm to share, clearances are told apart up to 8 mm
    assert by_side[Side.LEFT].model.lower_mm > 5.0


@pytest.mark.full
def test_a_bar_across_the_way_is_given_up_and_one_aside_is_kept():
    """A bar across the only side must go; one far above the piece stays."""
    across, aside = bar("left T10 root", 24.0), bar("left T8 root", 24.0, z_mm=16.0)
    found = find_way_out(post_room(across, aside), SETTINGS, quiet)
    assert found.answer is Answer.YES
    assert found.best.given_up == {"left T10 root"}


@pytest.mark.full
def test_no_names_what_is_in_the_way():
    """The same bar, but it may not be given up: shut on both sides, and the bar is why."""
    across = bar("left T10 root", 24.0, give_mm=0.5)
    stays = type(across)(
        name=across.name, substance=across.substance, line=across.line, radius_mm=4.0,
        may_press_mm=0.5,
    )  # fmt: skip
    found = find_way_out(post_room(stays), SETTINGS, quiet)
    assert found.answer is Answer.NO
    assert "left T10 root" in found.best.blocking
    assert "5" not in found.family or "tilts up to 3 degrees" in found.family


@pytest.mark.full
def test_cannot_tell_where_the_lattice_is_too_coarse():
    """A gap just as wide as the piece and what is wanted: neither shown nor ruled out."""
    found = find_way_out(post_room(left_mm=13.0), SETTINGS, quiet)
    assert found.answer is Answer.CANNOT_TELL


@pytest.mark.parametrize("degrees", [10.0, -25.0])
def test_a_tilt_turns_about_its_own_axis(degrees):
    """Tilt about x by hand: y goes to (cos, sin) in y, z."""
    import numpy as np

    move = moves_of(np.zeros((1, 3)), Tilt(about_x_deg=degrees))[0]
    a = np.radians(degrees)
    assert np.allclose(move[:, 1], [0.0, np.cos(a), np.sin(a)])
