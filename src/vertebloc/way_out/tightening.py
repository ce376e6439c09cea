"""A tighter upper end for one scenario: finer cells, only where a way may still run."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vertebloc.space.fields import DistanceField
from vertebloc.space.grids import Volume
from vertebloc.way_out import _kernels
from vertebloc.way_out.clearances import CLIP_MM, FLOOR_MM, Gauge
from vertebloc.way_out.model import CLOSED_MM, Scenario
from vertebloc.way_out.pose_map import SAC, Ground, Margin, PoseMap
from vertebloc.way_out.poses import PoseLattice, extents, moves_of
from vertebloc.way_out.samples import PointTree, point_tree

#: Cells looked at in one go; a finer lattice with more of them open is not begun.
MOST_CELLS = 1_500_000


@dataclass(frozen=True, slots=True, eq=False)
class _CellGauge:
    """Measures the most that a clearance may be anywhere in a pose's cell."""

    gauge: Gauge
    tree: PointTree
    added_mm: float

    def measure(self, moves: NDArray[np.float64]) -> NDArray[np.float64]:
        floor, clip = self.gauge.range_mm
        measured = self.gauge.measure(moves, self.tree, (floor, clip + 1.0))
        return np.asarray(measured, dtype=np.float64) + self.added_mm


def _cell_gauge(ground: Ground, name: str, lattice: PoseLattice) -> _CellGauge:
    """Each point of the piece is moved within a cell by its own distance from the axis only.

    Where the piece's own field is read, the same is added to the field: a place at a distance
    from the axis is passed by matter of the piece that moves as far.
    """
    gauge = ground.gauges[name]
    turn, shift = lattice.step_rad / 2.0, lattice.step_mm / np.sqrt(2.0)
    if gauge.piece_moves:
        points = ground.body.thin_tree.points[:, :3]
        own = np.linalg.norm(points[:, :2], axis=1) * turn
        return _CellGauge(gauge, point_tree(points, own), shift)
    field = gauge.field
    grid = field.distances.grid
    axes = [grid.lps_from_ijk.matrix[a, 3] + grid.spacing_mm[a] * np.arange(n)
            for a, n in enumerate(grid.shape[:2])]  # fmt: skip
    far = np.hypot(axes[0][:, None], axes[1][None, :]) * turn
    values = (np.asarray(field.distances.values) + far[:, :, None]).astype(np.float32)
    added = DistanceField(Volume(grid, values), field.solid_low_ijk, field.solid_high_ijk)
    tree = gauge.tree
    inner, outer = tree.inner.copy(), tree.outer.copy()
    inner[:, 3] *= 1.0 + turn  # the field now rises that much faster
    outer[:, 3] *= 1.0 + turn
    wide = PointTree(tree.points, outer, inner, tree.whole)
    return _CellGauge(replace(gauge, field=added), wide, shift)


def _cell_map(
    ground: Ground,
    lattice: PoseLattice,
    scenario: Scenario,
    margin: Margin,
    within: NDArray[np.bool_],
) -> tuple[PoseMap, NDArray[np.int16]]:
    """What each cell can be worth at most; every obstacle is asked only of cells still open."""
    corners = ground.body.samples.corners
    covers = lattice.covers_mm(float(np.linalg.norm(corners[:, :2], axis=1).max()))
    moves = moves_of(lattice.poses())
    count = len(moves)
    cells = PoseMap(ground, lattice, extents(moves, corners), covers, {}, np.empty(0, np.float32))
    open_ = within & cells.inside(margin) & cells.passes(scenario.side, margin).reshape(-1)
    live = np.flatnonzero(open_)
    best = np.full(count, FLOOR_MM, dtype=np.float32)
    best[live] = np.minimum(_cell_gauge(ground, SAC, lattice).measure(moves[live]), CLIP_MM)
    cells.best_sac = best
    cells.clearance[SAC] = best
    values = cells.values(margin).copy()
    values[~open_] = _kernels.CLOSED
    crowded = set(ground.soft_names)
    for obstacle in ground.room.obstacles:
        if obstacle.name in scenario.given_up or obstacle.name in crowded:
            continue
        live = np.flatnonzero(values != _kernels.CLOSED)
        most = _cell_gauge(ground, obstacle.name, lattice).measure(moves[live])
        demand = cells.demand(obstacle.name, margin)[live]
        error = ground.settings.field_error_mm
        values[live[most + error - margin.grown_mm < demand]] = _kernels.CLOSED
    return cells, values


def finer(lattice: PoseLattice, open_: NDArray[np.bool_]) -> tuple[PoseLattice, NDArray[np.bool_]]:
    """A lattice of half the steps, and its cells that touch an open one.

    Parameters
    ----------
    lattice : PoseLattice
        Coarse.
    open_ : (n,) bool
        Its open cells.

    Returns
    -------
    tuple of (PoseLattice, (m,) bool)
        Every other node is one of the coarse ones.
    """
    found = PoseLattice(
        np.linspace(lattice.x_mm[0], lattice.x_mm[-1], 2 * len(lattice.x_mm) - 1),
        np.linspace(lattice.y_mm[0], lattice.y_mm[-1], 2 * len(lattice.y_mm) - 1),
        np.arange(2 * len(lattice.turns), dtype=np.float64) * (lattice.step_rad / 2.0),
    )
    within = open_.reshape(lattice.shape)
    for axis, count in enumerate(found.shape):
        low = np.arange(count) // 2
        high = (np.arange(count) + 1) // 2 % within.shape[axis]
        within = np.take(within, low, axis) | np.take(within, high, axis)
    return found, within.reshape(-1)


def tighten(
    ground: Ground, lattice: PoseLattice, scenario: Scenario, margin: Margin, target_mm: float
) -> float:
    """Upper end of one scenario, refined until it lies below a target or cells grow too many.

    Parameters
    ----------
    ground : Ground
        Piece or common core, and obstacles.
    lattice : PoseLattice
        Where to begin.
    scenario : Scenario
        Side and sacrifices.
    margin : Margin
        An upper one.
    target_mm : float, mm
        What is to be ruled out.

    Returns
    -------
    float, mm
        No way of the family betters it; ``CLOSED_MM`` if there is none.
    """
    within = np.ones(int(np.prod(lattice.shape)), dtype=np.bool_)
    best = np.inf
    while True:
        cells, values = _cell_map(ground, lattice, scenario, margin, within)
        best = min(best, cells.widest_of(values, margin)[0])
        if best < target_mm or best == CLOSED_MM:
            return best
        reached = _reached(lattice, values, target_mm)
        lattice, within = finer(lattice, reached)
        if np.count_nonzero(within) > MOST_CELLS:
            return best


def _reached(
    lattice: PoseLattice, values: NDArray[np.int16], target_mm: float
) -> NDArray[np.bool_]:
    """Cells that a way worth the target can reach from the seat."""
    shape = lattice.shape
    enough = np.where(values >= np.floor(100.0 * target_mm), values, np.int16(_kernels.CLOSED))
    came_from = np.empty(len(values), dtype=np.int32)
    nowhere = np.zeros(shape, dtype=np.uint8)
    _kernels.widest_path(enough.reshape(shape), nowhere, lattice.seat, came_from)
    return np.asarray(came_from >= 0)
