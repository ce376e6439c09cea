"""Both ends of one scenario brought together: ways through ever smaller cells, and none left."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from vertebloc.way_out.cell_stock import Shelf, first_cells
from vertebloc.way_out.cells import MOST_HALVINGS, CellSearch
from vertebloc.way_out.clearances import CLIP_MM
from vertebloc.way_out.closer_look import CloserLook
from vertebloc.way_out.model import CLOSED_MM, Bracket, Scenario
from vertebloc.way_out.pose_map import LEAST_WORTH_MM, Margin, PoseMap

#: A way is sought with obstacles grown by so much, mm: the closer look takes off sampling,
#: half a step and the field's error, and the smallest cells are a little better than their middle
_GROWN_MM, _SAC_GROWN_MM = 0.8, 0.45
_WAY_DEPTH = 6  #: cells of a way are halved so often
_STEP_MM = 0.25  #: between targets that are ruled out in turn
_LESS_MM = (0.0, 0.3, 0.6)  #: ways are sought that are worth so much less than hoped
_FAR_OFF_MM = 0.35  #: until one is not much less than sought
_CLOSED_DEPTH = 5  #: where no way was found cells are halved so often to rule one out
_CLIMB_DEPTH = 6  #: and so often where the wanted width could not be reached
_HOPE_MM = 1.2  #: what nodes of the lattice are hoped to gain by being shifted off it
_GOOD_MM = 0.15  #: a way that much below the target is not bettered
#: ways are bettered by a rough look, with obstacles grown by so much: a close look sees more
_STRICTER_MM = (0.2, 0.0)
_WALLS_MM = 0.3  #: and the wound's walls stand so much nearer where ways are sought
_STARTS = 14  #: poses tried as the first one after the seat
_APART_MM = 0.12  #: between poses of a way that is looked at

Pause = Callable[[], None]


@dataclass(slots=True, eq=False)
class Narrowing:
    """Narrows brackets of scenarios in one measured room."""

    map: PoseMap
    look: CloserLook
    rough: CloserLook
    shelf: Shelf
    pause: Pause
    _searches: dict[Margin, CellSearch] = field(default_factory=dict)

    def search(self, margin: Margin) -> CellSearch:
        """The cells of a margin: what was measured serves all scenarios."""
        if margin not in self._searches:
            self._searches[margin] = CellSearch(self.shelf, margin)
        return self._searches[margin]

    def upper_mm(self, scenario: Scenario, margin: Margin, target_mm: float) -> float:
        """What no way of the planar family betters, if a target can be ruled out.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        margin : Margin
            An upper one.
        target_mm : float, mm
            To be ruled out.

        Returns
        -------
        float, mm
            Below the target; infinite if it could not be ruled out.
        """
        return self.search(margin).upper_mm(scenario, target_mm, self.pause)

    def way(
        self,
        scenario: Scenario,
        names: tuple[str, ...],
        margin: Margin,
        target_mm: float,
        *,
        is_quick: bool = False,
    ) -> tuple[float, NDArray[np.float64]]:
        """A way through small cells, straightened and looked at closely.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        names : tuple of str
            Obstacles that stay.
        margin : Margin
            Not an upper one.
        target_mm : float, mm
            Ways worth less are not sought.
        is_quick : bool
            Leaves the way as it was found, rather than bettering it.

        Returns
        -------
        tuple of (float, mm; (n, 3) float64)
            What it is shown to keep, and its poses; ``CLOSED_MM`` and none if there is none.
        """
        cells = self.search(_for_ways(margin))
        rough = self._rough_way(scenario, names, margin)[1]
        if not len(rough):
            return CLOSED_MM, rough
        cells.keep_to(rough)
        if cells.rules_out(scenario, target_mm, self.pause, _WAY_DEPTH - 1):
            return CLOSED_MM, np.empty((0, 3))
        way = cells.way(scenario, target_mm, _WAY_DEPTH, self.pause)
        if not len(way):
            return CLOSED_MM, way
        way = _started(self.look, _thinned(way, self.look.reach_mm), names, margin)
        worth = float(self.look.worths(way, names, margin).min())
        self.pause()
        first = way
        for more in _STRICTER_MM:
            stricter = replace(
                margin,
                grown_mm=margin.grown_mm + more,
                sac_grown_mm=margin.sac_grown_mm + more / 4.0,
            )
            other = _straightened(self.rough, first, names, stricter)
            other = self.rough.better(other, names, stricter)[1]
            one = float(self.look.worths(other, names, margin).min())
            if one > worth:
                worth, way = one, other
            self.pause()
            if is_quick and worth >= target_mm - _GOOD_MM:
                break
        return (worth, way) if worth >= LEAST_WORTH_MM else (CLOSED_MM, np.empty((0, 3)))

    def bracket(
        self,
        scenario: Scenario,
        names: tuple[str, ...],
        found: tuple[float, NDArray[np.float64]],
        width_mm: float,
        upper_mm: float = np.inf,
    ) -> tuple[Bracket, NDArray[np.float64]]:
        """Narrow a scenario's bracket of the model.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        names : tuple of str
            Obstacles that stay.
        found : tuple of (float, mm; (n, 3) float64)
            The best way so far and what it is worth.
        width_mm : float, mm
            Wanted between the ends.
        upper_mm : float, mm
            No way is known to better it, such as with more given up.

        Returns
        -------
        tuple of (Bracket, (n, 3) float64)
            As narrow as it got, and the best way.
        """
        lower, way = found
        plain = Margin(True)
        upper = min(upper_mm, self.map.widest(names, scenario.side, plain)[0])
        if lower == CLOSED_MM and self.search(plain).is_shut(scenario, self.pause):
            return Bracket(CLOSED_MM, CLOSED_MM), way
        hoped = self._hoped_mm(scenario, names, max(lower, 0.0), min(upper, CLIP_MM))
        for less in _LESS_MM:
            if upper <= max(lower, 0.0) + width_mm or hoped - less <= lower:
                break
            worth, other = self.way(scenario, names, Margin(False), hoped - less)
            if worth > lower:
                lower, way = worth, other
            if worth > hoped - less - _FAR_OFF_MM:
                break
        low = max(lower, 0.0) + width_mm
        depth = _CLOSED_DEPTH if lower == CLOSED_MM else MOST_HALVINGS
        if low < upper:
            upper = min(upper, self._ruled_out_mm(scenario, low, depth))
        while upper > low + 2.0 * _STEP_MM:
            middle = (low + min(upper, CLIP_MM + _STEP_MM)) / 2.0
            one = self._ruled_out_mm(scenario, middle, min(depth, _CLIMB_DEPTH))
            upper, low = min(upper, one), (low if np.isfinite(one) else middle)
        return Bracket(lower, max(upper, lower)), way

    def _ruled_out_mm(self, scenario: Scenario, target_mm: float, depth: int) -> float:
        cells = self.search(Margin(True))
        return cells.upper_mm(scenario, target_mm, self.pause, depth)

    def _rough_way(
        self, scenario: Scenario, names: tuple[str, ...], margin: Margin
    ) -> tuple[float, NDArray[np.float64]]:
        """The widest way of the lattice if nodes are hoped to gain a little, and its worth."""
        worth, nodes = self.map.widest(names, scenario.side, replace(margin, hope_mm=_HOPE_MM))
        return worth, self.map.lattice.poses(nodes) if len(nodes) else np.empty((0, 3))

    def _hoped_mm(
        self, scenario: Scenario, names: tuple[str, ...], low_mm: float, high_mm: float
    ) -> float:
        """About the most that a way through small cells may be worth; below the least for none."""
        cells = self.search(_for_ways(Margin(False)))
        hoped, rough = self._rough_way(scenario, names, Margin(False))
        low, high = low_mm - _STEP_MM, min(high_mm, hoped)
        if not len(rough) or high < low_mm:
            return low
        cells.keep_to(rough)
        while high - low > _STEP_MM / 2.0:
            middle = max((low + high) / 2.0, low_mm)
            if not cells.rules_out(scenario, middle, self.pause, _WAY_DEPTH):
                low = middle
                continue
            high = middle
            if middle == low_mm:
                break
        return low


def _for_ways(margin: Margin) -> Margin:
    """Obstacles grown, so that ways through small cells are likely to hold."""
    return replace(
        margin,
        is_upper=True,
        grown_mm=margin.grown_mm + _GROWN_MM,
        sac_grown_mm=margin.sac_grown_mm + _SAC_GROWN_MM,
        hope_mm=-_WALLS_MM,
    )


def make_narrowing(map_: PoseMap, look: CloserLook, pause: Pause) -> Narrowing:
    """Prepare the cells that all scenarios share.

    Parameters
    ----------
    map_ : PoseMap
        Measured.
    look : CloserLook
        Of the same ground.
    pause : callable
        Called between steps; may raise to stop.

    Returns
    -------
    Narrowing
        For any scenario of the room.
    """
    rough = CloserLook(map_.ground, look.reach_mm, True)
    shelf = Shelf(map_.ground, first_cells(map_.lattice))
    return Narrowing(map_, look, rough, shelf, pause)


def _thinned(way: NDArray[np.float64], reach_mm: float) -> NDArray[np.float64]:
    """Fewer poses: the smallest cells make steps of a tenth of a millimetre."""
    steps = np.diff(way, axis=0)
    steps[:, 2] = (steps[:, 2] + np.pi) % (2.0 * np.pi) - np.pi
    gone = np.hypot(steps[:, 0], steps[:, 1]) + reach_mm * np.abs(steps[:, 2])
    along = np.concatenate(([0.0], np.cumsum(gone)))
    first = np.unique(np.floor(along / _APART_MM), return_index=True)[1]
    return np.asarray(way[np.unique(np.concatenate((first, [len(way) - 1])))])


def _started(
    look: CloserLook, way: NDArray[np.float64], names: tuple[str, ...], margin: Margin
) -> NDArray[np.float64]:
    """The way with its first part straight: close to the seat small cells say little."""
    far = np.hypot(way[:, 0], way[:, 1]) + look.reach_mm * np.abs(way[:, 2])
    clear = np.flatnonzero(far > look.ground.settings.clear_after_mm)
    last = int(clear[0]) if len(clear) else len(way) - 1
    if last < 2:
        return way
    worths = look.worths(way[: last + 1], names, margin)
    after = np.append(np.minimum.accumulate(worths[::-1])[::-1], np.inf)
    tried = np.unique(np.geomspace(1.0, last, _STARTS).astype(int))
    direct = [look.worths(way[[0, j]], names, margin)[0] for j in tried]
    whole = [min(one, after[j]) for one, j in zip(direct, tried, strict=True)]
    j = int(tried[int(np.argmax(whole))])
    return np.concatenate((way[:1], way[j:]))


def _straightened(
    look: CloserLook, way: NDArray[np.float64], names: tuple[str, ...], margin: Margin
) -> NDArray[np.float64]:
    """The way with parts made straight wherever that costs nothing."""
    worths = look.worths(way, names, margin)
    kept, todo = [0], [(0, len(way) - 1)]
    while todo:
        a, b = todo.pop()
        least = max(float(worths[a:b].min()), LEAST_WORTH_MM)  # never through what is shut
        if b - a == 1 or look.worths(way[[a, b]], names, margin)[0] >= least:
            kept.append(b)
        else:
            todo += [((a + b) // 2, b), (a, (a + b) // 2)]
    return way[kept]
