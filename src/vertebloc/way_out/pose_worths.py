"""What fine poses near a way are worth, and how much they lack where nothing may be touched."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.space.frames import Side
from vertebloc.way_out.clearances import CLIP_MM
from vertebloc.way_out.measured_poses import STRIDES, MeasuredPoses, keys_of, places_of
from vertebloc.way_out.pose_map import LEAST_WORTH_MM, SAC, Margin
from vertebloc.way_out.rules import demanded_mm, worth_mm

Way = NDArray[np.float64]

#: a pose that needs hope at what must not be touched is worth so many times that hope less
_PER_HOPE = 4.0


@dataclass(frozen=True, slots=True)
class Asked:
    """What a way is sought for."""

    names: tuple[str, ...]  #: obstacles that stay
    side: Side | None  #: on which the sac's middle is passed
    margin: Margin  #: how strictly; not an upper one


@dataclass(frozen=True, slots=True)
class Stage:
    """One round: steps as a part of the lattice's, steps looked at around, what is hoped for."""

    part: float
    around: int
    hope_mm: float
    shy_mm: float  #: preferred besides what must not be touched: edges between poses bulge
    is_close: bool  #: with all points of the piece


def unwound(way: Way) -> Way:
    """Poses with turns that do not jump by a whole one.

    Parameters
    ----------
    way : (n, 3) float64
        Poses; from one to the next less than half a turn.

    Returns
    -------
    (n, 3) float64
        The same poses.
    """
    return np.column_stack((way[:, :2], np.unwrap(way[:, 2])))


def nearest_places(poses: Way, steps: NDArray[np.float64]) -> NDArray[np.int64]:
    """Places on a lattice that are nearest to poses.

    Parameters
    ----------
    poses : (n, 3) float64
        x, y in mm, turns in radians.
    steps : (3,) float64
        Of the lattice.

    Returns
    -------
    (n, 3) int64
        Steps along x, y and turns.
    """
    return np.asarray(np.round(poses / steps).astype(np.int64))


def keys_near(way: Way, steps: NDArray[np.float64], around: int) -> NDArray[np.int64]:
    """Numbers of all places near a way.

    Parameters
    ----------
    way : (n, 3) float64
        Poses; between them too.
    steps : (3,) float64
        Of the lattice.
    around : int
        So many steps to each side along each axis.

    Returns
    -------
    (m,) int64
        Sorted.
    """
    way = unwound(way)
    parts = [way[-1:]]
    for a, b in itertools.pairwise(way):
        count = max(1, int(np.ceil(np.abs((b - a) / steps).max())))
        parts.append(a + np.linspace(0.0, 1.0, count, endpoint=False)[:, None] * (b - a))
    middles = np.unique(keys_of(nearest_places(np.concatenate(parts), steps)))
    box = np.array(list(itertools.product(range(-around, around + 1), repeat=3)))
    return np.unique(middles[:, None] + box @ STRIDES)


def pose_worths(
    measured: MeasuredPoses,
    which: tuple[NDArray[np.int64], NDArray[np.int64]],
    asked: Asked,
    stage: Stage,
    least_mm: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """What poses are worth, and how much room they lack at what must not be touched.

    Parameters
    ----------
    measured : MeasuredPoses
        Of the stage's lattice.
    which : tuple of ((n,) int64, (n,) int64)
        Numbers of the poses, sorted, and their rows.
    asked : Asked
        What stays, the side, how strictly.
    stage : Stage
        What is hoped for, and what is preferred.
    least_mm : float, mm
        Poses worth less are shut.

    Returns
    -------
    tuple of ((n,) float64, mm; (n,) float64, mm)
        Minus infinity where a pose is shut; what is lacking is up to what is hoped for.
    """
    keys, rows = which
    names, side, margin = asked.names, asked.side, asked.margin
    look = measured.look
    ground, settings = look.ground, look.ground.settings
    poses = places_of(keys) * measured.steps
    far, half = measured.extents(rows), look.half_step_mm(poses)
    gone = far.gone_mm + half
    (low, high), (x, y) = ground.room.x_mm, ground.room.sac_middle_mm
    inside = (far.least_x_mm >= low) & (far.most_x_mm <= high)
    if side is not None:
        inside &= (side.sign * (poses[:, 0] - x) >= 0.0) | (poses[:, 1] <= y)
    alive = np.flatnonzero(inside)
    worth = np.full(len(poses), CLIP_MM)
    grown = margin.sac_grown_mm
    for name in ground.soft_names:
        todo = alive
        if name != SAC:  # elsewhere the whole sac is no farther, and as much is wanted
            todo = alive[far.gone_mm[alive] - half[alive] < settings.clear_after_mm]
        sure = measured.clearance_mm(name, keys[todo], rows[todo]) + stage.hope_mm - half[todo]
        at_rest = ground.rest_mm[name][1] - grown
        one = worth_mm(sure - grown, gone[todo], at_rest_mm=at_rest, settings=settings)
        worth[todo] = np.minimum(worth[todo], one)
        alive = alive[worth[alive] >= max(least_mm, LEAST_WORTH_MM)]
    lack = np.zeros(len(poses))
    for name in names:
        sure = measured.clearance_mm(name, keys[alive], rows[alive])
        demand = demanded_mm(
            gone[alive],
            at_rest_mm=ground.rest_mm[name][1] - margin.grown_mm,
            target_mm=-ground.press_mm(name),
            settings=settings,
        )
        short = demand + stage.shy_mm - (sure - half[alive] - margin.grown_mm)
        lack[alive] = np.maximum(lack[alive], short)
        is_open = short <= stage.hope_mm + stage.shy_mm
        alive = alive[is_open]
    found = np.full(len(poses), -np.inf)
    found[alive] = np.maximum(worth[alive] - _PER_HOPE * lack[alive], LEAST_WORTH_MM)
    return found, lack
