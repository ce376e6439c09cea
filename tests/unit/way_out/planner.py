"""A general motion planner (OMPL) set on our own validity test of single poses.

The test is compiled: it costs the planner some ten microseconds a pose. It is a little more
lenient than what our ways have to pass (fewer points, no half steps, errors in its favour).
"""

import time

import numpy as np
from numba import njit
from ompl import base, geometric, util

from vertebloc.way_out._kernels_cells import _judge, _least, _map_of, _share, _worth, reaches
from vertebloc.way_out.cell_stock import Shelf, first_cells
from vertebloc.way_out.cells import CellSearch
from vertebloc.way_out.model import Scenario
from vertebloc.way_out.pose_map import Margin

util.setLogLevel(util.LOG_NONE)
LENIENT = Margin(True)


@njit
def _is_worth(stock, stay, x, y, turn, target, stack, bounds):
    """Whether a single pose is worth a target."""
    far, m = np.empty(4), np.empty(12)
    reaches(stock, x, y, turn, far)
    if far[2] < stock.room[0] or far[3] > stock.room[1]:
        return False
    share = _share(stock, far[0])
    for g in range(stock.soft if share < 1.0 else 1):
        radius = stock.rules[g, 0]
        _map_of(stock, g, x, y, turn, m)
        best, floor = stock.room[8] + radius, stock.rules[g, 4] + radius
        least = _least(stock, g, stock.roots[g, 1], m, 0.0, 0, best, floor, stack, bounds)
        if _worth(stock, g, least - radius, far[0]) < target:
            return False
    for g in stay:
        first = stock.rules[g, 1]
        demand = first + (stock.rules[g, 2] - first) * share
        demand += stock.rules[g, 3] + stock.rules[g, 0]
        _map_of(stock, g, x, y, turn, m)
        if _judge(stock, g, stock.roots[g, 1], m, 0.0, demand, demand, stack) == 0:
            return False
    return True


class Poses:
    """Judges single poses of a search's room."""

    def __init__(self, search, given_up):
        cells = CellSearch(Shelf(search.ground, first_cells(search.map.lattice)), LENIENT)
        self.stock = cells.stock
        self.stay = cells._staying(Scenario(side=None, given_up=given_up))
        self.stack, self.bounds = np.zeros(8192, dtype=np.int64), np.zeros(8192)

    def are_worth(self, x, y, turn, target_mm):
        return _is_worth(
            self.stock, self.stay, x, y, turn, target_mm, self.stack, self.bounds
        )  # fmt: skip


class Checker(base.StateValidityChecker):
    """A pose is valid if it is worth a target."""

    def __init__(self, information, poses, target_mm):
        super().__init__(information)
        self.poses, self.target_mm = poses, target_mm

    def isValid(self, state):  # noqa: N802 (the planner's own name)
        return bool(self.poses.are_worth(state[0], state[1], state[2], self.target_mm))


def finds_way(poses, target_mm, goal, box, seconds, step_mm=0.5):
    """Whether RRT-Connect finds a way worth a target from the seat to a goal pose in time."""
    space = base.RealVectorStateSpace(3)
    bounds = base.RealVectorBounds(3)
    for axis, (low, high) in enumerate((*box, (-np.pi, np.pi))):
        bounds.setLow(axis, float(low))
        bounds.setHigh(axis, float(high))
    space.setBounds(bounds)
    simple = geometric.SimpleSetup(space)
    information = simple.getSpaceInformation()
    checker = Checker(information, poses, target_mm)
    simple.setStateValidityChecker(checker)
    information.setStateValidityCheckingResolution(step_mm / space.getMaximumExtent())
    states = [space.allocState(), space.allocState()]
    for state, values in zip(states, ((0.0, 0.0, 0.0), goal), strict=True):
        for axis in range(3):
            state[axis] = float(values[axis])
    simple.setStartAndGoalStates(*states)
    simple.setPlanner(geometric.RRTConnect(information))
    simple.solve(seconds)
    return simple.haveExactSolutionPath()


def best_of_planner(poses, goal, box, *, above_mm, seconds_per_step, seconds, enough_mm=np.inf):
    """Bisection on the target with a short cap a step, until time is used or enough is reached."""
    util.RNG.setSeed(7)
    low, high, best = 0.0, above_mm, -np.inf
    end = time.perf_counter() + seconds
    while time.perf_counter() < end and best < enough_mm:
        middle = (low + high) / 2.0
        if finds_way(poses, middle, goal, box, seconds_per_step):
            low = best = max(best, middle)
        else:
            high = middle
        if high - low < 0.05:  # once more from the best on: chance may help
            high = best + 1.5 if np.isfinite(best) else above_mm
            low = max(best, 0.0)
    return best
