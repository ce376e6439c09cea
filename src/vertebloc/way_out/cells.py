"""Cells of poses, halved only where it is not settled whether a way may run: a tighter upper end.

A cell holds all poses around a middle one. Its worth is what no pose in it can better. Cells in
which a way worth a target may still run are halved along x, y and turn until no way worth the
target leads from the seat to delivery any more, or cells grow too small or too many.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.way_out import _kernels
from vertebloc.way_out.cell_gauges import MOST_HALVINGS, CellGauges
from vertebloc.way_out.cell_tree import CellTree
from vertebloc.way_out.clearances import CLIP_MM, FLOOR_MM
from vertebloc.way_out.model import CLOSED_MM, Scenario, Substance
from vertebloc.way_out.pose_map import PER_MM, Ground, Margin, PoseMap
from vertebloc.way_out.poses import extents, moves_of

#: Cells measured in all for one upper end; then the best bound so far is handed back.
MOST_CELLS = 3_000_000
_WIDER = 48  #: ways that cost so much more are halved in the same go

Pause = Callable[[], None]


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
