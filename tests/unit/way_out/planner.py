"""A general motion planner (OMPL) set on our own validity test of single poses."""

import time

import numpy as np
from ompl import base, geometric, util

from vertebloc.way_out.closer_look import Edge
from vertebloc.way_out.pose_map import Margin
from vertebloc.way_out.poses import extents, moves_of

PLAIN = Margin(False)


class Checker(base.StateValidityChecker):
    """A pose is valid if it is worth a target, by the same measures that judge our ways."""

    def __init__(self, information, look, names, target_mm):
        super().__init__(information)
        self.look, self.names, self.target_mm = look, names, target_mm

    def isValid(self, state):  # noqa: N802 (the planner's own name)
        pose = np.array([[state[0], state[1], state[2]]])
        return bool(pose_worth_mm(self.look, self.names, pose) >= self.target_mm)


def pose_worth_mm(look, names, pose):
    corners = look.ground.body.samples.corners
    still = Edge(pose, extents(moves_of(pose), corners), 0.0, {})
    look._measure([still], names)
    return float(look.scores(still, names, PLAIN).min())


def finds_way(look, names, target_mm, goal, box, seconds, step_mm=0.5):
    """Whether RRT-Connect finds a way worth a target from the seat to a goal pose in time."""
    space = base.RealVectorStateSpace(3)
    bounds = base.RealVectorBounds(3)
    for axis, (low, high) in enumerate((*box, (-np.pi, np.pi))):
        bounds.setLow(axis, float(low))
        bounds.setHigh(axis, float(high))
    space.setBounds(bounds)
    simple = geometric.SimpleSetup(space)
    information = simple.getSpaceInformation()
    checker = Checker(information, look, names, target_mm)
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


def best_of_planner(look, names, goal, box, *, above_mm, seconds_per_step, seconds):
    """Bisection on the target with a short cap a step, until all the time is used."""
    util.RNG.setSeed(7)
    low, high, best = 0.0, above_mm, -np.inf
    end = time.perf_counter() + seconds
    while time.perf_counter() < end:
        middle = (low + high) / 2.0
        if finds_way(look, names, middle, goal, box, seconds_per_step):
            low = best = max(best, middle)
        else:
            high = middle
        if high - low < 0.05:  # once more from the best on: chance may help
            high = best + 1.5 if np.isfinite(best) else above_mm
            low = max(best, 0.0)
    return best
