"""Yes, no, cannot tell: in rooms where plain geometry says what is right."""

from dataclasses import replace

import pytest

from vertebloc.space.frames import Side
from vertebloc.space.sections import surface_of_solid
from vertebloc.way_out import (
    Answer,
    Obstacle,
    Room,
    Scenario,
    Substance,
    WayOutSettings,
    find_way_out,
    make_search,
)
from vertebloc.way_out.model import CLOSED_MM
from vertebloc.way_out.pose_map import Margin
from vertebloc.way_out.poses import Tilt, moves_of

from .rooms import bar, box, post_room

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


def slanting_room(degrees=3.0, gap_mm=0.3):
    """A block between two slabs of bone that slant towards the head as they go back.

    Moved back by 40 mm in the plane, its lower edge would have to be pressed into the slab by
    40 tan 3 - 0.3 = 1.8 mm; tilted and lifted along the slabs it slides out.
    """
    turn = (degrees, 0.0, 0.0)
    above = box([-30, -40, 8 + gap_mm], [30, 90, 30]).rotate(turn)
    below = box([-30, -40, -30], [30, 90, -8 - gap_mm]).rotate(turn)
    sides = box([-40, -40, -20], [-8, 90, 20]) + box([8, -40, -20], [40, 90, 20])
    bone = {"substance": Substance.BONE, "may_press_mm": 0.5}
    return Room(
        piece=surface_of_solid(box([-6, -6, -8], [6, 6, 8])),
        sac=surface_of_solid(box([-3, -60, -3], [3, -50, 3])),
        obstacles=(
            Obstacle(name="bone above", surface=surface_of_solid(above), **bone),
            Obstacle(name="bone below", surface=surface_of_solid(below), **bone),
            Obstacle(name="sides", surface=surface_of_solid(sides), **bone),
        ),
        delivered_y_mm=34.0, x_mm=(-58.0, 58.0), y_mm=(-14.0, 46.0), sac_middle_mm=(0.0, -55.0),
    )  # fmt: skip


@pytest.mark.full
def test_a_tilted_way_is_never_answered_no():
    """In the plane the way is shut, tilted by 3 degrees it is known to be open."""
    settings = replace(
        SETTINGS, tolerance_mm=0.5, contour_error_mm=0.0, sac_motion_mm=0.0, tilt_deg=3.0,
        lift_mm=2.5,
    )  # fmt: skip
    room = slanting_room()
    search = make_search(room, settings)
    flat = Scenario(side=None, given_up=frozenset())
    assert search.lower_mm(flat, Margin(False))[0] == CLOSED_MM  # shut in the plane
    found = find_way_out(room, settings, quiet)
    assert found.answer is not Answer.NO
