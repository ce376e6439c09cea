"""Fine ways: the same from any start, never judged by hope, and thin things are in the way."""

import manifold3d
import numpy as np
import pytest

from vertebloc.space.sections import surface_of_solid
from vertebloc.way_out import Obstacle, Room, Scenario, Substance, WayOutSettings, make_search
from vertebloc.way_out.model import CLOSED_MM
from vertebloc.way_out.pose_map import Margin
from vertebloc.way_out.pose_worths import Asked
from vertebloc.way_out.poses import extents, moves_of

PLAIN = Margin(False)
ANYWHERE = Scenario(side=None, given_up=frozenset())


def box(low, high):
    low, high = np.array(low, float), np.array(high, float)
    return manifold3d.Manifold.cube(tuple(high - low)).translate(tuple(low))


def room_with(obstacle=None):
    """A block before a slot 18 mm wide; walls are the sac, and something may stand in it."""
    walls = box([-30, -12, -9], [-9, 50, 9]) + box([9, -12, -9], [30, 50, 9])
    return Room(
        piece=surface_of_solid(box([-6, -8, -5], [6, 8, 5])), sac=surface_of_solid(walls),
        obstacles=() if obstacle is None else (obstacle,),
        delivered_y_mm=46.0, x_mm=(-60.0, 60.0), y_mm=(-3.0, 64.0), sac_middle_mm=(0.0, -40.0),
    )  # fmt: skip


@pytest.fixture(scope="module")
def search():
    settings = WayOutSettings(step_mm=2.0, step_deg=10.0, clear_after_mm=5.0, edge_mm=1.0)
    return make_search(room_with(), settings)


def test_ways_from_different_starts_end_alike_and_near_the_truth(search):
    """3 mm are left on both sides; from ways that hug the left or the right wall too."""
    asked = Asked((), None, PLAIN)
    found = []
    for x in (-1.5, 0.0, 1.5):
        start = np.array([[0.0, 0.0, 0.0], [x, 3.0, 0.0], [x, 60.0, 0.0]])
        about, way = search.finer.roughly(start, asked)
        found.append(search.finer.closely(way, asked, about_mm=about)[0])
    assert max(found) - min(found) <= 0.05
    # taken off: 0.1 for the field, 0.1 for half a step, 0.06 between points 1 mm apart
    assert min(found) >= 3.0 - 0.3 and max(found) <= 3.0


def test_what_is_handed_back_is_what_a_close_look_says(search):
    worth, way = search.lower_mm(ANYWHERE, PLAIN)
    assert search.look.worths(way, (), PLAIN).min() == pytest.approx(worth)


def test_enough_is_enough(search):
    asked = Asked((), None, PLAIN)
    assert search.finer.one_worth(search.map, asked, 2.0)[0] >= 2.0
    assert search.finer.one_worth(search.map, asked, 3.5)[0] == CLOSED_MM


def test_finer_poses_are_parts_of_the_lattices_steps():
    """Steps of 7 degrees make no whole turn: the lattice's are a little smaller, and so are ours.

    Else the last pose would be shifted to one that is not delivered.
    """
    settings = WayOutSettings(step_mm=3.0, step_deg=7.0, clear_after_mm=5.0, edge_mm=1.0)
    search = make_search(room_with(), settings)
    _, way = search.lower_mm(ANYWHERE, PLAIN)
    assert search.finer.steps[2] == search.map.lattice.step_rad
    start = search.map.lattice.poses()[search.map.lattice.seat + 25 : search.map.lattice.seat + 26]
    steps = search.finer.steps / 2.0
    assert start[0] / steps == pytest.approx(np.round(start[0] / steps))
    last = moves_of(way[-1:])
    corners = search.ground.body.samples.corners
    assert extents(last, corners).least_y_mm[0] >= search.ground.room.delivered_y_mm - 1e-9


def test_a_thing_that_may_be_pressed_deeper_than_it_is_thick_is_in_the_way_nevertheless():
    """A rod of 3 mm across the slot that may be pressed by 2 mm: the block cannot pass over it.

    All of the rod would lie in the block, 1.5 mm and more deep.
    """
    rod = manifold3d.Manifold.cylinder(40.0, 1.5, circular_segments=32, center=True)
    rod = rod.rotate((0.0, 90.0, 0.0)).translate((0.0, 20.0, 0.0))
    thing = Obstacle(
        name="vein", substance=Substance.VESSEL, surface=surface_of_solid(rod), may_press_mm=2.0
    )
    settings = WayOutSettings(step_mm=2.0, step_deg=15.0, clear_after_mm=5.0)
    found = make_search(room_with(thing), settings)
    assert found.lower_mm(ANYWHERE, PLAIN)[0] == CLOSED_MM
    gone = Scenario(side=None, given_up=frozenset({"vein"}))
    assert found.lower_mm(gone, PLAIN)[0] > 2.0
