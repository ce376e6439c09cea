"""Both ends brought together: rooms whose widest way is known in closed form."""

import numpy as np
import pytest

from vertebloc.space.sections import surface_of_solid
from vertebloc.way_out import Room, Scenario, WayOutSettings, make_search
from vertebloc.way_out.narrowing import make_narrowing
from vertebloc.way_out.pose_map import Margin

from .rooms import box

PLAIN = Scenario(side=None, given_up=frozenset())


def search_in(piece, walls, **room):
    settings = WayOutSettings(step_mm=3.0, step_deg=7.5, clear_after_mm=5.0)
    return make_search(
        Room(
            piece=surface_of_solid(piece), sac=surface_of_solid(walls), obstacles=(),
            sac_middle_mm=(0.0, 0.0), **room,
        ),
        settings,
    )  # fmt: skip


def narrowed(search, width_mm=1.5):
    narrowing = make_narrowing(search.map, lambda: None)
    lower, way = search.lower_mm(PLAIN, Margin(False))
    return narrowing.bracket(PLAIN, (), lower, width_mm), way


@pytest.fixture(scope="module")
def corner():
    """A block of 30 x 4 mm that turns from one corridor 16 mm wide into another; the truth.

    At every angle a: (W - c)(sin a + cos a) - L sin a cos a - t >= c (textbook problem of the
    ladder round a corner; common practice, no source).
    """
    length, thick, wide = 30.0, 4.0, 16.0
    a = np.linspace(0.0, np.pi / 2.0, 2001)
    sum_, product = np.sin(a) + np.cos(a), np.sin(a) * np.cos(a)
    truth = float(np.min((wide * sum_ - length * product - thick) / (1.0 + sum_)))
    walls = box([-60, -30, -10], [60, -8, 10]) + box([30, -30, -10], [60, 90, 10])
    walls += box([-60, 8, -10], [14, 90, 10]) + box([-60, -30, -10], [-24, 90, 10])
    search = search_in(
        box([-15, -2, -4], [15, 2, 4]), walls, delivered_y_mm=30.0, x_mm=(-80.0, 80.0),
        y_mm=(-8.0, 52.0),
    )  # fmt: skip
    return search, truth


@pytest.fixture(scope="module")
def found(corner):
    """The corner's bracket, and the way behind its lower end."""
    return narrowed(corner[0])


def test_round_a_corner_within_a_millimetre_and_a_half(corner, found):
    """On a lattice whose own bracket is several millimetres wide."""
    search, truth = corner
    before = search.bracket(PLAIN, grown_mm=0.0, sac_grown_mm=0.0)
    bracket, way = found
    assert before.upper_mm - before.lower_mm > 2.0  # else nothing was to be narrowed
    assert bracket.lower_mm <= truth <= bracket.upper_mm
    assert bracket.upper_mm - bracket.lower_mm <= 1.5
    assert np.allclose(way[0], 0.0)


def test_the_way_of_a_bracket_is_worth_its_lower_end(corner, found):
    """Looked at once more: no edge of the way that is handed back is worth less."""
    search, _ = corner
    bracket, way = found
    assert search.look.worths(way, (), Margin(False)).min() == pytest.approx(bracket.lower_mm)


def test_nothing_below_the_truth_is_ruled_out(corner):
    """A target just below the truth cannot be ruled out, one well above it is."""
    search, truth = corner
    narrowing = make_narrowing(search.map, lambda: None)
    cells = narrowing.search(Margin(True))
    assert not cells.rules_out(PLAIN, truth - 0.05, lambda: None, 5)
    assert truth <= narrowing.upper_mm(PLAIN, Margin(True), truth + 1.0) < truth + 1.0


def test_a_stop_between_steps_stops(corner):
    """Whoever waits may stop it: the pause raises."""
    search, truth = corner

    def stop():
        raise InterruptedError

    narrowing = make_narrowing(search.map, stop)
    with pytest.raises(InterruptedError):
        narrowing.upper_mm(PLAIN, Margin(True), truth + 1.0)


@pytest.mark.full
def test_a_general_planner_finds_nothing_above_and_not_much_more_than_ours(corner, found):
    """OMPL's RRT-Connect with bisection for 60 s on the same validity test of poses."""
    from .planner import Poses, best_of_planner

    search, _ = corner
    bracket, way = found
    best = best_of_planner(
        Poses(search, frozenset()), way[-1], ((-80.0, 80.0), (-8.0, 52.0)),
        above_mm=bracket.upper_mm + 1.0, seconds_per_step=1.0, seconds=60.0,
    )  # fmt: skip
    assert np.isfinite(best)  # it does find ways: the comparison means something
    assert best <= bracket.upper_mm
    assert bracket.lower_mm >= best - (bracket.upper_mm - bracket.lower_mm)
