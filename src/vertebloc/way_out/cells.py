"""Cells of poses, halved only where it is not settled whether a way may run: a tighter upper end.

A cell holds all poses around a middle one. Its worth is what no pose in it can better. Cells in
which a way worth a target may still run are halved along x, y and turn until no way worth the
target leads from the seat to delivery any more, or cells grow too small or too many.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from vertebloc.space.fields import DistanceField
from vertebloc.space.grids import Volume
from vertebloc.way_out import _kernels, _kernels_cells
from vertebloc.way_out.clearances import CLIP_MM, FLOOR_MM, Gauge
from vertebloc.way_out.model import CLOSED_MM, Scenario, Substance
from vertebloc.way_out.pose_map import PER_MM, Ground, Margin, PoseMap
from vertebloc.way_out.poses import PoseLattice, extents, moves_of
from vertebloc.way_out.samples import PointTree, point_tree

#: Cells measured in all for one upper end; then the best bound so far is handed back.
MOST_CELLS = 3_000_000
MOST_HALVINGS = 5
#: In cells larger than this some of the piece's points do: each bounds from above.
_THIN_FROM_MM = 1.0
_WIDER = 48  #: ways that cost so much more are halved in the same go

Pause = Callable[[], None]


@dataclass(slots=True, eq=False)
class CellGauges:
    """Measures the most that a clearance may be anywhere in cells of one size."""

    ground: Ground
    shift_mm: float  #: from a cell's middle along x and y together
    turn: float  #: from a cell's middle, radians
    reach_mm: float
    _made: dict[tuple[str, float], tuple[Gauge, PointTree]] = field(default_factory=dict)
    _points: dict[float, PointTree] = field(default_factory=dict)
    _fields: dict[float, DistanceField] = field(default_factory=dict)

    @property
    def covers_mm(self) -> float:
        """Largest displacement of any point from a cell's middle to any pose of it."""
        return self.shift_mm + self.reach_mm * self.turn

    def most_mm(
        self, name: str, moves: NDArray[np.float64], range_mm: tuple[float, float]
    ) -> NDArray[np.float64]:
        """Most clearance that any pose of each cell may have; told apart within a range."""
        return self._bound(name, moves, range_mm, 1.0)

    def least_mm(
        self, name: str, moves: NDArray[np.float64], range_mm: tuple[float, float]
    ) -> NDArray[np.float64]:
        """Least clearance of any pose of each cell, as the points say: no more than a hint."""
        return self._bound(name, moves, range_mm, -1.0)

    def _bound(
        self,
        name: str,
        moves: NDArray[np.float64],
        range_mm: tuple[float, float],
        sign: float,
    ) -> NDArray[np.float64]:
        if (name, sign) not in self._made:
            self._made[name, sign] = self._make(self.ground.gauges[name], sign)
        gauge, tree = self._made[name, sign]
        far = sign * (self.shift_mm + self.ground.settings.field_error_mm)
        floor, clip = range_mm
        measured = gauge.measure(moves, tree, (floor - far, clip - far))
        return np.asarray(measured, dtype=np.float64) + far

    def _make(self, gauge: Gauge, sign: float) -> tuple[Gauge, PointTree]:
        """Each point of the piece is moved by a turn by its own distance from the axis only.

        Where the piece's own field is read, the same is added to the field: a place at a distance
        from the axis is passed by matter of the piece that moves as far.
        """
        turn = sign * self.turn
        if gauge.piece_moves:
            if sign not in self._points:
                body = self.ground.body
                tree = body.tree if self.covers_mm < _THIN_FROM_MM else body.thin_tree
                points = tree.points[:, :3]
                own = np.linalg.norm(points[:, :2], axis=1) * turn
                self._points[sign] = point_tree(points, own)
            return gauge, self._points[sign]
        if sign not in self._fields:
            self._fields[sign] = _raised(gauge.field, turn)
        tree = gauge.tree
        inner, outer = tree.inner.copy(), tree.outer.copy()
        inner[:, 3] *= 1.0 + self.turn  # the field now rises that much faster
        outer[:, 3] *= 1.0 + self.turn
        wide = PointTree(tree.points, outer, inner, tree.whole)
        return replace(gauge, field=self._fields[sign]), wide


def _raised(field_: DistanceField, turn: float) -> DistanceField:
    grid = field_.distances.grid
    axes = [grid.lps_from_ijk.matrix[a, 3] + grid.spacing_mm[a] * np.arange(n)
            for a, n in enumerate(grid.shape[:2])]  # fmt: skip
    far = np.hypot(axes[0][:, None], axes[1][None, :]) * turn
    values = (np.asarray(field_.distances.values) + far[:, :, None]).astype(np.float32)
    return DistanceField(Volume(grid, values), field_.solid_low_ijk, field_.solid_high_ijk)


@dataclass(slots=True, eq=False)
class CellTree:
    """Cells and their halves; the first ones are the cells around the nodes of a lattice."""

    lattice: PoseLattice
    level: NDArray[np.int8]
    place: NDArray[np.int32]  #: (n, 3) among the cells of the same level
    first_child: NDArray[np.int32]  #: -1: a leaf
    worth: NDArray[np.int16]  #: what no pose in it betters, in hundredths of a mm
    near: NDArray[np.uint64]  #: obstacles that are not clear of the whole cell, one bit each
    is_sure: NDArray[np.bool_]  #: all of it is worth the target: no need to halve it
    goal: NDArray[np.uint8]  #: holds a pose at which the piece is delivered

    def poses_of(self, cells: NDArray[np.int64]) -> NDArray[np.float64]:
        """Middles of cells: x, y in mm and turn in radians."""
        a = self.lattice
        part = 0.5 ** self.level[cells].astype(np.float64)[:, None]
        first = np.array([a.x_mm[0], a.y_mm[0], a.turns[0]])
        steps = np.array([a.step_mm, a.step_mm, a.step_rad])
        return np.asarray(first + steps * ((self.place[cells] + 0.5) * part - 0.5))

    def starts(self) -> NDArray[np.int64]:
        """Leaves that hold the seat."""
        todo, found = [self.lattice.seat], []
        while todo:
            cell = todo.pop()
            first = int(self.first_child[cell])
            if first < 0:
                found.append(cell)
            elif self.level[cell] == 0:  # the seat is in the middle of its first cell
                todo += range(first, first + 8)
            else:  # and at a corner of all smaller ones
                seat = self._seat_bits(cell)
                todo.append(first + seat)
        return np.array(found)

    def _seat_bits(self, cell: int) -> int:
        root = np.array(np.unravel_index(self.lattice.seat, self.lattice.shape))
        level = int(self.level[cell])
        bits = (self.place[cell] >> (level - 1)) - 2 * root  # which half of the first cell
        return int((1 - bits[0]) << 2 | (1 - bits[1]) << 1 | (1 - bits[2]))

    def halved(self, cells: NDArray[np.int64]) -> NDArray[np.int64]:
        """Add the eight parts of each cell; their indices."""
        count, old = 8 * len(cells), len(self.level)
        bits = np.array([(b >> 2, b >> 1 & 1, b & 1) for b in range(8)], dtype=np.int32)
        place = (2 * self.place[cells][:, None, :] + bits).reshape(-1, 3)
        self.first_child[cells] = old + 8 * np.arange(len(cells), dtype=np.int32)
        self.level = np.concatenate((self.level, np.repeat(self.level[cells] + 1, 8)))
        self.level = self.level.astype(np.int8)
        self.place = np.concatenate((self.place, place))
        self.first_child = np.concatenate((self.first_child, np.full(count, -1, np.int32)))
        self.worth = np.concatenate((self.worth, np.repeat(self.worth[cells], 8)))
        self.near = np.concatenate((self.near, np.repeat(self.near[cells], 8)))
        self.is_sure = np.concatenate((self.is_sure, np.zeros(count, dtype=np.bool_)))
        self.goal = np.concatenate((self.goal, np.repeat(self.goal[cells], 8)))
        return np.arange(old, old + count)

    def flood(self, least: int) -> tuple[int, NDArray[np.bool_]]:
        """Width of the widest way at least so wide, and the leaves that such ways reach."""
        width, _, came_from = self._flood(self.worth, least)
        return width, came_from >= 0

    def way(self, open_: NDArray[np.bool_], least: int) -> NDArray[np.float64]:
        """Poses of the shortest way through some leaves: their middles, shared faces; (n, 3)."""
        open_ = open_ & (self.worth >= least)
        length = (32 >> self.level.astype(np.int32)).astype(np.int32)
        sums, came_from = self._cheapest(length, open_, self.starts())
        goals = np.flatnonzero(open_ & (self.goal > 0))
        if not len(goals) or sums[goals].min() >= 1 << 29:
            return np.empty((0, 3))
        cell = int(goals[np.argmin(sums[goals])])
        cells = [cell]
        while came_from[cells[-1]] != cells[-1]:
            cells.append(int(came_from[cells[-1]]))
        way = np.array(cells[::-1])
        poses = self.poses_of(way)
        between = [
            self._shared(a, b, poses[i : i + 2])
            for i, (a, b) in enumerate(itertools.pairwise(way.tolist()))
        ]
        seat = np.zeros((1, 3))
        return np.concatenate(
            (seat, *(np.stack(p) for p in zip(poses, [*between, poses[-1]], strict=True)))
        )

    def _shared(self, a: int, b: int, poses: NDArray[np.float64]) -> NDArray[np.float64]:
        """Middle of the face that two leaves share: on the line to the smaller one, at its rim."""
        small, large = (0, 1) if self.level[a] >= self.level[b] else (1, 0)
        level = max(self.level[a], self.level[b])
        lattice = self.lattice
        steps = np.array([lattice.step_mm, lattice.step_mm, lattice.step_rad])
        away = poses[large] - poses[small]
        away[2] = (away[2] + np.pi) % (2.0 * np.pi) - np.pi
        sizes = steps * (0.5 ** self.level[a] + 0.5 ** self.level[b]) / 2.0
        axis = int(np.argmin(np.abs(np.abs(away) / sizes - 1.0)))
        face = poses[small].copy()
        face[axis] += np.sign(away[axis]) * steps[axis] * 0.5**level / 2.0
        return np.asarray(face, dtype=np.float64)

    def _flood(self, worth: NDArray[np.int16], least: int) -> tuple[int, int, NDArray[np.int32]]:
        came_from = np.empty(len(self.level), dtype=np.int32)
        shape = np.array(self.lattice.shape)
        width, end = _kernels_cells.flood_cells(
            self.first_child, shape, self.level, self.place, worth, self.goal,
            self.starts(), least, came_from,
        )  # fmt: skip
        return int(width), int(end), came_from

    def ways(
        self, cost: NDArray[np.int32], open_: NDArray[np.bool_], ends: NDArray[np.int64]
    ) -> NDArray[np.int32]:
        """Least cost of a way from an end to each leaf."""
        return self._cheapest(cost, open_, ends)[0]

    def _cheapest(
        self, cost: NDArray[np.int32], open_: NDArray[np.bool_], ends: NDArray[np.int64]
    ) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        found, came_from = np.empty((2, len(cost)), dtype=np.int32)
        shape = np.array(self.lattice.shape)
        _kernels_cells.cheapest_ways(
            self.first_child, shape, self.level, self.place, cost, open_, ends, found, came_from
        )
        return found, came_from


@dataclass(slots=True, eq=False)
class UpperEnd:
    """Tightens the upper end of one scenario."""

    ground: Ground
    scenario: Scenario
    margin: Margin
    target_mm: float
    tree: CellTree
    names: tuple[str, ...]  #: obstacles by the bits of ``near``
    gauges: list[CellGauges]
    easing_mm: float = 0.0  #: asked more near the seat: only to find ways

    def run(self, pause: Pause) -> float:
        """Halve cells until the target is ruled out or nothing more can be done."""
        target = int(np.floor(PER_MM * self.target_mm))
        best = np.inf
        while True:
            pause()
            width, reached = self.tree.flood(target)
            if width == _kernels.CLOSED:
                return min(best, self._below(target))
            best = min(best, width / PER_MM)
            cells = self._to_halve(reached)
            if not len(cells) or len(self.tree.level) + 8 * len(cells) > MOST_CELLS:
                return best
            for level in np.unique(self.tree.level[cells]):
                part = cells[self.tree.level[cells] == level]
                self._measure(self.tree.halved(part), int(level) + 1)

    def way(self) -> NDArray[np.float64]:
        """The shortest way through cells that were not ruled out at the smallest size; (n, 3)."""
        open_ = self.tree.is_sure | (self.tree.level >= MOST_HALVINGS)
        return self.tree.way(open_, int(np.floor(PER_MM * self.target_mm)))

    def _to_halve(self, reached: NDArray[np.bool_]) -> NDArray[np.int64]:
        """Unsettled cells on the ways that pass the fewest of them; none if one passes none."""
        tree = self.tree
        cost = np.where(
            tree.is_sure | (tree.level >= MOST_HALVINGS),
            0,
            256 >> (2 * tree.level.astype(np.int32)),
        )
        cost = cost.astype(np.int32)
        goals = np.flatnonzero(reached & (tree.goal > 0))
        there, back = (tree.ways(cost, reached, ends) for ends in (tree.starts(), goals))
        total = there + back - cost
        least = int(total.min())
        if least == 0:
            return np.empty(0, dtype=np.int64)
        return np.flatnonzero(reached & (cost > 0) & (total <= least + _WIDER))

    def _below(self, target: int) -> float:
        """The width below the target; ``CLOSED_MM`` if there is no way at all."""
        lowest = int(self.tree.worth[self.tree.worth != _kernels.CLOSED].min(initial=target))
        width, _ = self.tree.flood(lowest)
        return CLOSED_MM if width == _kernels.CLOSED else width / PER_MM

    def _measure(self, cells: NDArray[np.int64], level: int) -> None:
        tree, gauges, margin = self.tree, self.gauges[level], self.margin
        moves = moves_of(tree.poses_of(cells))
        map_ = PoseMap(
            self.ground, tree.lattice, extents(moves, self.ground.body.samples.corners),
            gauges.covers_mm, {}, np.empty(0, np.float32),
        )  # fmt: skip
        worth = tree.worth[cells].astype(np.float64)
        tree.goal[cells] &= map_.delivered(margin)
        open_ = map_.inside(margin) & self._passes(cells, level, 1.0)
        worth[~open_] = _kernels.CLOSED
        target = PER_MM * self.target_mm
        need = self.target_mm + margin.sac_grown_mm
        room, far = self.ground.room, map_.extents
        is_sure = self._passes(cells, level, -1.0)
        is_sure &= far.least_x_mm >= room.x_mm[0] + gauges.covers_mm
        is_sure &= far.most_x_mm <= room.x_mm[1] - gauges.covers_mm
        for name in self.ground.soft_names[: 1 if self.ground.slack_mm else None]:
            live = np.flatnonzero(worth >= target)
            most = gauges.most_mm(name, moves[live], (FLOOR_MM, CLIP_MM))
            if self.easing_mm:
                share = map_.extents.gone_mm[live] / self.ground.settings.clear_after_mm
                most = most - self.easing_mm * np.clip(1.0 - share, 0.0, 1.0)
            one = map_.worth_of(name, most, margin, live)
            worth[live] = np.minimum(worth[live], np.ceil(PER_MM * one))
            is_sure[live] &= self._is_clear(name, moves[live], most, need, gauges)
        near = tree.near[cells]
        presses = {o.name: o.may_press_mm for o in self.ground.room.obstacles}
        for bit, name in enumerate(self.names):
            flag = np.uint64(1 << bit)
            live = np.flatnonzero((worth >= target) & ((near & flag) != 0))
            need = margin.grown_mm - presses[name]
            beyond = need + 2.0 * gauges.covers_mm + 1.0
            most = gauges.most_mm(name, moves[live], (FLOOR_MM, beyond))
            demand = map_.demand(name, margin)[live] + margin.grown_mm
            worth[live[most < demand]] = _kernels.CLOSED
            near[live[self._is_clear(name, moves[live], most, need, gauges)]] &= ~flag
        tree.near[cells] = near
        tree.worth[cells] = np.maximum(worth, _kernels.CLOSED).astype(np.int16)
        tree.is_sure[cells] = is_sure & (near == 0)

    def _is_clear(
        self,
        name: str,
        moves: NDArray[np.float64],
        most_mm: NDArray[np.float64],
        need_mm: float,
        gauges: CellGauges,
    ) -> NDArray[np.bool_]:
        """Whether all poses of a cell are farther than needed: no such cell need be halved."""
        clear = most_mm >= need_mm + 2.0 * gauges.shift_mm
        some = np.flatnonzero(clear)
        least = gauges.least_mm(name, moves[some], (need_mm - 1.0, need_mm + 0.5))
        clear[some] = least >= need_mm
        return clear

    def _passes(self, cells: NDArray[np.int64], level: int, ease: float) -> NDArray[np.bool_]:
        """Where some pose of a cell (all poses, if ease is -1) passes the sac on the side."""
        side = self.scenario.side
        if side is None:
            return np.ones(len(cells), dtype=np.bool_)
        x, y = self.ground.room.sac_middle_mm
        half = ease * self.tree.lattice.step_mm / 2.0 ** (level + 1)
        poses = self.tree.poses_of(cells)
        wrong = side.sign * (poses[:, 0] - x) < -half
        return ~(wrong & (poses[:, 1] - y > half))


def gauges_of(ground: Ground, lattice: PoseLattice) -> list[CellGauges]:
    """Gauges for cells of each size, the largest first; made once for all scenarios.

    Parameters
    ----------
    ground : Ground
        Body, obstacles.
    lattice : PoseLattice
        The first cells.

    Returns
    -------
    list of CellGauges
        One more than cells may be halved.
    """
    reach = float(np.linalg.norm(ground.body.samples.corners[:, :2], axis=1).max())
    shift, turn = lattice.step_mm / np.sqrt(2.0), lattice.step_rad / 2.0
    return [
        CellGauges(ground, shift * 0.5**level, turn * 0.5**level, reach)
        for level in range(MOST_HALVINGS + 1)
    ]


def cells_of(
    map_: PoseMap,
    gauges: list[CellGauges],
    scenario: Scenario,
    margin: Margin,
    target_mm: float,
) -> UpperEnd:
    """First cells of one scenario, to be halved until no way worth a target is left.

    Parameters
    ----------
    map_ : PoseMap
        Measured nodes of the piece or a common core: the first cells.
    gauges : list of CellGauges
        From ``gauges_of``.
    scenario : Scenario
        Side and sacrifices.
    margin : Margin
        An upper one; obstacles grown: ways found are likely to hold.
    target_mm : float, mm
        What is to be ruled out; below it nothing is sharpened.

    Returns
    -------
    UpperEnd
        To be run.
    """
    ground, lattice = map_.ground, map_.lattice
    names = tuple(
        o.name
        for o in ground.room.obstacles
        if o.substance is not Substance.CROWDED and o.name not in scenario.given_up
    )
    names = _without_parts(map_, names)
    values = map_.values(margin).copy()
    for name in names:
        values[map_.shut(name, margin)] = _kernels.CLOSED
    values[~map_.passes(scenario.side, margin).reshape(-1)] = _kernels.CLOSED
    count = len(values)
    near = np.zeros(count, dtype=np.uint64)
    for bit, name in enumerate(names):
        clear = ground.press_mm(name) + map_.clearance[name] >= margin.grown_mm + map_.covers_mm
        near[~clear] |= np.uint64(1 << bit)
    tree = CellTree(
        lattice=lattice,
        level=np.zeros(count, dtype=np.int8),
        place=np.column_stack(np.unravel_index(np.arange(count), lattice.shape)).astype(np.int32),
        first_child=np.full(count, -1, dtype=np.int32),
        worth=values,
        near=near,
        is_sure=(near == 0) & _is_clear(map_, scenario, margin, target_mm),
        goal=map_.delivered(margin).astype(np.uint8),
    )
    return UpperEnd(ground, scenario, margin, target_mm, tree, names, gauges)


def _is_clear(
    map_: PoseMap, scenario: Scenario, margin: Margin, target_mm: float
) -> NDArray[np.bool_]:
    """Cells around nodes in which every pose is surely far enough from sac and walls."""
    need = target_mm + margin.sac_grown_mm + map_.covers_mm
    room, far, lattice = map_.ground.room, map_.extents, map_.lattice
    clear = far.least_x_mm >= room.x_mm[0] + map_.covers_mm
    clear &= far.most_x_mm <= room.x_mm[1] - map_.covers_mm
    for name in map_.ground.soft_names:
        if name in map_.clearance:
            clear &= map_.clearance[name] >= need
    if scenario.side is not None:
        x, y = room.sac_middle_mm
        half = lattice.step_mm / 2.0
        wrong = scenario.side.sign * (lattice.x_mm - x) < half
        behind = lattice.y_mm - y > -half
        both = np.repeat((wrong[:, None] & behind[None, :]).ravel(), lattice.shape[2])
        clear &= ~both
    return np.asarray(clear)


def _without_parts(map_: PoseMap, names: tuple[str, ...]) -> tuple[str, ...]:
    """Where all of an obstacle stays, its parts say nothing more."""
    whole = {o.name: o.part_of for o in map_.ground.room.obstacles}

    def is_part(name: str) -> bool:
        above = whole[name]
        while above is not None:
            if above in names:
                return True
            above = whole[above]
        return False

    return tuple(name for name in names if not is_part(name))
