"""Cells of poses, their halves and neighbours, and ways from cell to cell."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.way_out import _kernels_cells
from vertebloc.way_out.poses import PoseLattice


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
