"""Cells of poses, measured and halved only where a way may run: what no way can better.

A cell holds all poses around a middle one. A flood from the seat passes cells in which a pose may
be worth a target, and halves those of which only a part may be. If it cannot reach delivery, no
way is worth the target. What was measured is kept for other targets and scenarios.
"""

from __future__ import annotations

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
            An upper one.
        """
        self.shelf, self.margin = shelf, margin
        self.stock = shelf.stock(margin)
        self.cells = _empty(shelf, 1 << 18)

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
    )


def _grown(cells: Any) -> Any:
    """The same cells with twice the room."""
    count = len(cells.level)

    def grown(array: Any) -> Any:
        if not isinstance(array, np.ndarray) or array.shape[0] != count:
            return array
        return np.concatenate((array, np.zeros_like(array)))

    return Cells(*(grown(array) for array in cells))
