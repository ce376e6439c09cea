"""What tilts gain, in a room whose best clearance with and without them is known."""

from dataclasses import replace

import numpy as np
import pytest

from vertebloc.space.sections import surface_of_solid
from vertebloc.way_out import Room, Scenario, WayOutSettings, make_search
from vertebloc.way_out.pose_map import Margin
from vertebloc.way_out.poses import Tilt, moves_along, moves_of
from vertebloc.way_out.tilting import with_tilts

from .rooms import box

PLAIN = Margin(False)
SLANT = 4.0


@pytest.fixture(scope="module")
def slot():
    """A block of 12 mm by 16 mm goes through a slot 20 mm high that slants by 4 degrees."""
    walls = box([-30, -6, 10], [30, 6, 30]) + box([-30, -6, -30], [30, 6, -10])
    walls = walls.rotate((SLANT, 0.0, 0.0)).translate((0.0, 20.0, 0.0))
    room = Room(
        piece=surface_of_solid(box([-6, -6, -8], [6, 6, 8])), sac=surface_of_solid(walls),
        obstacles=(), delivered_y_mm=34.0, x_mm=(-14.0, 14.0), y_mm=(-4.0, 46.0),
        sac_middle_mm=(0.0, 0.0),
    )  # fmt: skip
    settings = WayOutSettings(step_mm=2.0, step_deg=15.0, clear_after_mm=5.0, edge_mm=1.0)
    return make_search(room, settings)


def test_tilts_gain_what_plain_geometry_says(slot):
    """Straight through, corners at 6, 8 keep 10 - 8 cos 4 - 6 sin 4 = 1.60 mm; along it 2 mm.

    Nothing keeps more than half of what the slot is higher than the block.
    """
    scenario = Scenario(side=None, given_up=frozenset())
    flat, way = slot.lower_mm(scenario, PLAIN)
    a = np.radians(SLANT)
    assert flat <= 10.0 - 8.0 * np.cos(a) - 6.0 * np.sin(a)
    found = with_tilts(slot.look, way, (), PLAIN, lambda: None)
    assert flat + 0.1 < found.worth_mm <= 2.0
    assert np.degrees(np.abs(found.way[:, 3]).max()) > 0.5 * SLANT
    assert slot.look.worths(found.way, (), PLAIN).min() == pytest.approx(found.worth_mm)
    assert found.gained_mm == pytest.approx(found.worth_mm - flat, abs=1e-6)
    assert not found.against_errors


@pytest.mark.full
def test_tilts_stay_within_the_stated_family(slot):
    """No tilt beyond 1 degree where the family ends there."""
    settings = replace(slot.ground.settings, tilt_deg=1.0, lift_mm=0.2)
    look = replace(slot.look, ground=replace(slot.ground, settings=settings), _edges={})
    way = slot.lower_mm(Scenario(side=None, given_up=frozenset()), PLAIN)[1]
    found = with_tilts(look, way, (), PLAIN, lambda: None).way
    assert np.degrees(np.hypot(found[:, 3], found[:, 4]).max()) <= 1.0 + 1e-9
    assert np.abs(found[:, 5]).max() <= 0.2 + 1e-9


def test_many_tilts_move_as_each_alone():
    """Beside the motion of one tilt, worked out as a matrix."""
    way = np.array([[3.0, -2.0, 0.4, 0.05, -0.03, 0.7], [0.0, 1.0, -2.0, 0.0, 0.0, 0.0]])
    found = moves_along(way)
    for pose, move in zip(way, found, strict=True):
        tilt = Tilt(
            about_x_deg=np.degrees(pose[3]), about_y_deg=np.degrees(pose[4]), lift_mm=pose[5]
        )
        assert np.allclose(move, moves_of(pose[None, :3], tilt)[0])
