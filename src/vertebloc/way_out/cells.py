"""Cells of poses, measured and halved only where a way may run: what no way can better.

A cell holds all poses around a middle one. A flood from the seat passes cells in which a pose may
be worth a target, and halves those of which only a part may be. If it cannot reach delivery, no
way is worth the target. What was measured is kept for other targets and scenarios.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vertebloc.way_out import _kernels_flood as kernels
from vertebloc.way_out._kernels_cells import Cells
from vertebloc.way_out.cell_stock import Shelf
from vertebloc.way_out.model import Scenario, Substance
from vertebloc.way_out.pose_map import LEAST_WORTH_MM, PER_MM, Margin

#: Halvings of the largest cells, of 8 mm and 20 degrees at usual settings.
MOST_HALVINGS = 7
_FIRST_DEPTH = 3
_BUDGET = 10_000  #: cells measured between two pauses
_MOST_MEASURED = 150_000  #: cells measured for one answer; then it is not known
_FEW_MEASURED = 15_000  #: and where large ones are to tell
#: Cells in all; then what is not known by then is not told.
MOST_CELLS = 6_000_000

_NO_TUBE = np.empty((0, 0, 0), dtype=np.bool_)

Pause = Callable[[], None]


class CellSearch:
    """Floods with one margin, for any scenario of a ground."""

    def __init__(self, shelf: Shelf, margin: Margin) -> None:
        """Begin with the largest cells.

        Parameters
        ----------
        shelf : Shelf
            Body and obstacles.
        margin : Margin
            An upper one; obstacles grown: ways found are likely to hold.
        """
        self.shelf, self.margin = shelf, margin
        self.stock = shelf.stock(margin)
        self.cells = _empty(shelf, 1 << 18)

    def keep_to(self, way: NDArray[np.float64]) -> None:
        """Let floods pass only cells near a way: then they may find ways, but rule out nothing.

        Parameters
        ----------
        way : (n, 3) float64
            Poses no farther apart than half of the largest cells; none: let them pass all.
        """
        if not len(way):
            self.cells = self.cells._replace(tube=_NO_TUBE)
            return
        first = np.array([*self.stock.room[9:11], 0.0])
        place = np.floor((way - first) / (self.stock.steps / 2.0) + 1.0).astype(int)
        shape = 2 * self.cells.shape
        tube = np.zeros(shape, dtype=np.bool_)
        for beside in itertools.product((-1, 0, 1), repeat=3):
            i, j, k = (place + beside).T
            tube[np.clip(i, 0, shape[0] - 1), np.clip(j, 0, shape[1] - 1), k % shape[2]] = True
        self.cells = self.cells._replace(tube=tube)

    def reaches(
        self,
        scenario: Scenario,
        target_mm: float,
        depth: int,
        pause: Pause,
        most: int = _MOST_MEASURED,
    ) -> tuple[bool, int]:
        """Whether a way worth a target may lead out through cells of a depth.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        target_mm : float, mm
            Worth of a way.
        depth : int
            How often the largest cells may be halved.
        pause : callable
            Called now and then; may raise to stop.
        most : int
            Cells measured; then it is not known.

        Returns
        -------
        tuple of (bool, int)
            False: surely not. The last cell of a way, -1 if none.
        """
        pause()
        stay = self._staying(scenario)
        target = int(np.floor(PER_MM * target_mm))
        side = float(scenario.side.sign) if scenario.side else 0.0
        until = int(self.cells.now[4]) + most
        kernels.begin(self.stock, self.cells, stay, target, side)
        while True:
            what, end = kernels.flood(self.stock, self.cells, stay, target, side, depth, _BUDGET)
            if what == kernels.FULL:
                if len(self.cells.level) >= MOST_CELLS:
                    return True, -1
                self.cells = _grown(self.cells)
            elif what != kernels.PAUSED:
                return what == kernels.FOUND, int(end)
            elif self.cells.now[4] > until:
                return True, -1
            pause()

    def rules_out(
        self,
        scenario: Scenario,
        target_mm: float,
        pause: Pause,
        depth: int = MOST_HALVINGS,
        most: int = _MOST_MEASURED,
    ) -> bool:
        """Whether no way is worth a target: shown with cells as large as will do.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        target_mm : float, mm
            To be ruled out.
        pause : callable
            Called now and then; may raise to stop.
        depth : int
            How often the largest cells may be halved.
        most : int
            Cells measured; then it is not known.

        Returns
        -------
        bool
            False: it may be, as far as cells of that depth tell.
        """
        until = int(self.cells.now[4]) + most
        for d in range(_FIRST_DEPTH, depth + 1):
            left = until - int(self.cells.now[4])
            may, end = self.reaches(scenario, target_mm, d, pause, left)
            if not may or end < 0:
                return not may
        return False

    def upper_mm(
        self, scenario: Scenario, target_mm: float, pause: Pause, depth: int = MOST_HALVINGS
    ) -> float:
        """What no way betters, if a target can be ruled out.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        target_mm : float, mm
            To be ruled out.
        pause : callable
            Called now and then; may raise to stop.
        depth : int
            How often the largest cells may be halved.

        Returns
        -------
        float, mm
            Below the target; infinite if it could not be ruled out.
        """
        if not self.rules_out(scenario, target_mm, pause, depth):
            return np.inf
        return float(np.floor(PER_MM * target_mm) - 1.0) / PER_MM

    def is_shut(self, scenario: Scenario, pause: Pause) -> bool:
        """Whether large cells tell that there is no way at all, however little is wanted.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        pause : callable
            Called now and then; may raise to stop.

        Returns
        -------
        bool
            False: they do not.
        """
        return self.rules_out(scenario, LEAST_WORTH_MM, pause, _FIRST_DEPTH + 1, _FEW_MEASURED)

    def way(
        self, scenario: Scenario, target_mm: float, depth: int, pause: Pause
    ) -> NDArray[np.float64]:
        """A short way through cells in which a pose may be worth a target.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        target_mm : float, mm
            Worth of a way.
        depth : int
            How often the largest cells may be halved.
        pause : callable
            Called now and then; may raise to stop.

        Returns
        -------
        (n, 3) float64
            Seat, middles of cells and of the faces between them; none if there is no way.
        """
        reached, end = self.reaches(scenario, target_mm, depth, pause)
        if not reached or end < 0:
            return np.empty((0, 3))
        cost = np.array([max(1, 256 >> level) for level in range(MOST_HALVINGS + 4)])
        way = kernels.cheapest_way(self.cells, end, cost)
        return _through(self._poses(way), self.cells.level[way], self.stock.steps)

    def _poses(self, cells: NDArray[np.int64]) -> NDArray[np.float64]:
        part = 0.5 ** self.cells.level[cells].astype(np.float64)[:, None]
        first = np.array([*self.stock.room[9:11], 0.0])
        places = (self.cells.place[cells] + 0.5) * part - 0.5
        return np.asarray(first + self.stock.steps * places)

    def _staying(self, scenario: Scenario) -> NDArray[np.int64]:
        """Obstacles that stay, by their place on the shelf, what never leaves first."""
        shelf = self.shelf
        stays = {
            o.name: o
            for o in shelf.ground.room.obstacles
            if o.substance is not Substance.CROWDED and o.name not in scenario.given_up
        }
        above = {o.name: o.part_of for o in shelf.ground.room.obstacles}

        def is_part(name: str) -> bool:
            whole = above[name]
            while whole is not None and whole not in stays:
                whole = above[whole]
            return whole is not None

        kept = [o for o in stays.values() if not is_part(o.name)]
        kept.sort(key=lambda o: o.sacrifice is not None)
        return np.array([shelf.names.index(o.name) for o in kept], dtype=np.int64)


def _empty(shelf: Shelf, count: int) -> Any:
    """Room for cells, with the largest ones in place."""
    shape = shelf.lattice.shape
    first = int(np.prod(shape))
    count = max(count, 2 * first)
    words = (len(shelf.names) + 63) // 64
    place = np.zeros((count, 3), dtype=np.int32)
    place[:first] = np.column_stack(np.unravel_index(np.arange(first), shape))
    now = np.zeros(5, dtype=np.int64)
    now[0] = first
    bits = [np.zeros((count, words), dtype=np.uint64) for _ in range(3)]
    return Cells(
        shape=np.array(shape),
        level=np.zeros(count, dtype=np.int8),
        place=place,
        first_child=np.full(count, -1, dtype=np.int32),
        high=np.full(count, 30_000, dtype=np.int16),
        low=np.full(count, -30_000, dtype=np.int16),
        most=np.zeros((count, shelf.soft), dtype=np.float32),
        flags=np.zeros(count, dtype=np.uint8),
        shut=bits[0],
        clear=bits[1],
        seen=bits[2],
        mark=np.zeros(count, dtype=np.int32),
        came_from=np.full(count, -1, dtype=np.int32),
        after=np.full(count, -1, dtype=np.int32),
        todo=np.zeros(count, dtype=np.int32),
        heads=np.full(kernels.BUCKETS, -1, dtype=np.int32),
        now=now,
        balls=np.zeros(8192, dtype=np.int64),
        bounds=np.zeros(8192),
        tube=_NO_TUBE,
    )


def _grown(cells: Any) -> Any:
    """The same cells with twice the room."""
    count = len(cells.level)

    def grown(array: Any) -> Any:
        if not isinstance(array, np.ndarray) or array.shape[0] != count:
            return array
        return np.concatenate((array, np.zeros_like(array)))

    return Cells(*(grown(array) for array in cells))


def _through(
    poses: NDArray[np.float64], levels: NDArray[np.int8], steps: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Middles of cells on a way, and between two of them the middle of the face they share."""
    found = [np.zeros(3)]
    for i in range(len(poses)):
        found.append(poses[i])
        if i + 1 == len(poses):
            break
        small, large = (i, i + 1) if levels[i] >= levels[i + 1] else (i + 1, i)
        away = poses[large] - poses[small]
        away[2] = (away[2] + np.pi) % (2.0 * np.pi) - np.pi
        sizes = steps * (0.5 ** levels[i] + 0.5 ** levels[i + 1]) / 2.0
        axis = int(np.argmin(np.abs(np.abs(away) / sizes - 1.0)))
        face = poses[small].copy()
        face[axis] += np.sign(away[axis]) * steps[axis] * 0.5 ** levels[small] / 2.0
        found.append(face)
    return np.array(found)
