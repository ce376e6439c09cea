"""The upper end of one scenario brought down to the lower one: no way through smaller cells."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from vertebloc.way_out.cell_stock import Shelf, first_cells
from vertebloc.way_out.cells import MOST_HALVINGS, CellSearch
from vertebloc.way_out.clearances import CLIP_MM
from vertebloc.way_out.model import CLOSED_MM, Bracket, Scenario
from vertebloc.way_out.pose_map import Margin, PoseMap

_STEP_MM = 0.25  #: between targets that are ruled out in turn
_CLOSED_DEPTH = 5  #: where no way was found cells are halved so often to rule one out
_CLIMB_DEPTH = 6  #: and so often where the wanted width could not be reached

Pause = Callable[[], None]


@dataclass(slots=True, eq=False)
class Narrowing:
    """Narrows brackets of scenarios in one measured room."""

    map: PoseMap
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

    def bracket(
        self,
        scenario: Scenario,
        names: tuple[str, ...],
        lower_mm: float,
        width_mm: float,
        upper_mm: float = np.inf,
    ) -> Bracket:
        """Narrow a scenario's bracket of the model from above.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        names : tuple of str
            Obstacles that stay.
        lower_mm : float, mm
            What the best way is shown to be worth.
        width_mm : float, mm
            Wanted between the ends.
        upper_mm : float, mm
            No way is known to better it, such as with more given up.

        Returns
        -------
        Bracket
            As narrow as it got.
        """
        plain = Margin(True)
        upper = min(upper_mm, self.map.widest(names, scenario.side, plain)[0])
        if lower_mm == CLOSED_MM and self.search(plain).is_shut(scenario, self.pause):
            return Bracket(CLOSED_MM, CLOSED_MM)
        if lower_mm < 0.0:
            is_known = bool(np.isfinite(upper_mm))
            return Bracket(lower_mm, self._upper_of_pressed(scenario, upper, is_known))
        low = lower_mm + width_mm
        if low < upper:
            upper = min(upper, self._ruled_out_mm(scenario, low, MOST_HALVINGS))
        while upper > low + 2.0 * _STEP_MM:
            middle = (low + min(upper, CLIP_MM + _STEP_MM)) / 2.0
            one = self._ruled_out_mm(scenario, middle, _CLIMB_DEPTH)
            upper, low = min(upper, one), (low if np.isfinite(one) else middle)
        return Bracket(lower_mm, max(upper, lower_mm))

    def _upper_of_pressed(self, scenario: Scenario, upper_mm: float, is_known: bool) -> float:
        """What no way betters where none leaves the sac alone: is what is wanted ruled out?

        If not, what is known with more given up is told.
        """
        low, upper = self.map.ground.settings.least_mm, min(upper_mm, CLIP_MM)
        if low < upper:
            upper = min(upper, self._ruled_out_mm(scenario, low, _CLOSED_DEPTH))
        while not is_known and upper > low + 4.0 * _STEP_MM:
            middle = (low + upper) / 2.0
            one = self._ruled_out_mm(scenario, middle, _CLOSED_DEPTH)
            upper, low = min(upper, one), (low if np.isfinite(one) else middle)
        return upper

    def _ruled_out_mm(self, scenario: Scenario, target_mm: float, depth: int) -> float:
        cells = self.search(Margin(True))
        return cells.upper_mm(scenario, target_mm, self.pause, depth)


def make_narrowing(map_: PoseMap, pause: Pause) -> Narrowing:
    """Prepare the cells that all scenarios share.

    Parameters
    ----------
    map_ : PoseMap
        Measured.
    pause : callable
        Called between steps; may raise to stop.

    Returns
    -------
    Narrowing
        For any scenario of the room.
    """
    shelf = Shelf(map_.ground, first_cells(map_.lattice))
    return Narrowing(map_, shelf, pause)
