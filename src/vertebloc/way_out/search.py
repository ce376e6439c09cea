"""Widest ways out, between what is shown to be possible and what is shown to be impossible."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vertebloc.way_out.clearances import (
    CLIP_MM,
    FLOOR_MM,
    Body,
    Gauge,
    field_of,
    make_body,
    make_gauge,
)
from vertebloc.way_out.closer_look import CloserLook
from vertebloc.way_out.model import CLOSED_MM, Bracket, Path, Room, Scenario, Substance, WayOutSettings
from vertebloc.way_out.pose_map import SAC, Ground, Margin, PoseMap, measure_map
from vertebloc.way_out.poses import PoseLattice, make_lattice, moves_of

Say = Callable[[str], None]

_TRIES = 60  #: other ways tried when the closer look shuts one
_NEAR_MM = 0.05  #: a looser look may stay so far below the nodes' own worth


def _quiet(_: str) -> None:
    """Say nothing."""


def make_ground(room: Room, settings: WayOutSettings) -> Ground:
    """Prepare a room for measuring.

    Parameters
    ----------
    room : Room
        Piece and obstacles.
    settings : WayOutSettings
        Lengths.

    Returns
    -------
    Ground
        With the clearances at rest.
    """
    body = make_body(room.piece, settings)
    gauges = {o.name: make_gauge(body, o, settings) for o in room.obstacles}
    gauges[SAC] = Gauge(field_of(room.sac, settings), body.tree, True, 0.0, body.samples.cover_mm)
    still = moves_of(np.zeros((1, 3)))
    wide = (FLOOR_MM, CLIP_MM)
    rest = {n: float(gauge.measure(still, None, wide)[0]) for n, gauge in gauges.items()}
    return Ground(room=room, settings=settings, gauges=gauges, rest_mm=rest, body=body)


def lattice_for(room: Room, settings: WayOutSettings, finer: float = 1.0) -> PoseLattice:
    """The lattice of poses of a room.

    Parameters
    ----------
    room : Room
        Says how far the piece's middle may go.
    settings : WayOutSettings
        Steps.
    finer : float, -
        Steps are divided by this.

    Returns
    -------
    PoseLattice
        All turns.
    """
    corners = room.piece.vertices
    low, high = room.x_mm
    least = float(np.linalg.norm(corners[:, :2], axis=1).min())
    return make_lattice(
        (min(low + least, -settings.step_mm), max(high - least, settings.step_mm)),
        room.y_mm,
        settings.step_mm / finer,
        settings.step_deg / finer,
    )


@dataclass(slots=True, eq=False)
class Search:
    """All that was measured in one room, and the ways found in it."""

    ground: Ground
    map: PoseMap
    look: CloserLook
    fine: PoseMap | None = None
    scenarios_searched: int = 0
    _lower: dict[tuple[Scenario, Margin], tuple[float, NDArray[np.int64]]] = field(
        default_factory=dict
    )

    def staying(self, scenario: Scenario) -> tuple[str, ...]:
        """Names of the obstacles that stay in a scenario."""
        return tuple(
            o.name
            for o in self.ground.room.obstacles
            if o.name not in scenario.given_up and o.substance is not Substance.CROWDED
        )

    def upper_mm(self, scenario: Scenario, margin: Margin) -> float:
        """Clearance that no way of the planar family can better.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        margin : Margin
            An upper one.

        Returns
        -------
        float, mm
            ``CLOSED_MM`` if there is no way at all.
        """
        self.scenarios_searched += 1
        used = self.fine or self.map
        return used.widest(self.staying(scenario), scenario.side, margin)[0]

    def lower_mm(self, scenario: Scenario, margin: Margin) -> tuple[float, NDArray[np.int64]]:
        """Clearance that a way is shown to keep.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        margin : Margin
            Not an upper one.

        Returns
        -------
        tuple of (float, mm; (n,) int)
            And the nodes of that way; ``CLOSED_MM`` and none if no way was found.
        """
        key = (scenario, margin)
        if key not in self._lower:
            self._lower[key] = self._search_lower(scenario, margin)
        return self._lower[key]

    def _search_lower(self, scenario: Scenario, margin: Margin) -> tuple[float, NDArray[np.int64]]:
        names = self.staying(scenario)
        used = self.map
        values = used.values(margin).copy()
        for name in names:
            values[used.shut(name, margin)] = -32768
        values[~used.passes(scenario.side, margin).reshape(-1)] = -32768
        best: tuple[float, NDArray[np.int64]] = (CLOSED_MM, np.empty(0, dtype=np.int64))
        for _ in range(_TRIES):
            hoped, nodes = used.widest_of(values, margin)
            if hoped <= best[0] + _NEAR_MM:
                break
            worth, shut = self.look.worths(nodes, names, margin)
            sure = float(worth.min(initial=hoped))
            if sure > best[0]:
                best = (sure, nodes)
            if sure >= hoped - self.ground.settings.check_mm / 2.0 - _NEAR_MM:
                break
            # the edges that disappoint lose the node at their outer end
            poor = (
                np.flatnonzero(worth <= max(sure, best[0]) + 1e-9)
                if not shut.any()
                else (np.flatnonzero(shut))
            )
            for edge in poor:
                at = nodes[edge + 1]
                values[at] = (
                    -32768
                    if shut[edge]
                    else min(values[at], np.int16(np.floor(100.0 * worth[edge])))
                )
        return best

    def bracket(self, scenario: Scenario, *, grown_mm: float, sac_grown_mm: float) -> Bracket:
        """Both ends, with obstacles grown for the lower and shrunk for the upper one.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        grown_mm, sac_grown_mm : float, mm
            By how much obstacles, and the sac, are grown and shrunk.

        Returns
        -------
        Bracket
            Of the clearance to the sac once the piece is clear of its seat.
        """
        lower = self.lower_mm(scenario, Margin(False, grown_mm, sac_grown_mm))[0]
        upper = self.upper_mm(scenario, Margin(True, -grown_mm, -sac_grown_mm))
        return Bracket(lower, upper)

    def path(self, scenario: Scenario, margin: Margin) -> Path | None:
        """The way behind a lower end, pose by pose.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        margin : Margin
            Not an upper one.

        Returns
        -------
        Path or None
            None if no way was found.
        """
        worth, nodes = self.lower_mm(scenario, margin)
        if worth == CLOSED_MM or len(nodes) < 2:
            return None
        edges = self.look.along(nodes)
        poses = np.concatenate([edge.poses[:-1] for edge in edges] + [edges[-1].poses[-1:]])
        gauge = self.ground.gauges[SAC]
        clearance = gauge.measure(moves_of(poses)).astype(np.float64)
        least = np.concatenate([[self.look._sac_worth(edge, margin).min()] for edge in edges])
        starts = np.cumsum([0] + [len(edge.poses) - 1 for edge in edges])
        tight = edges[int(np.argmin(least))]
        within = int(np.argmin(self.look._sac_worth(tight, margin)))
        gone = np.concatenate(
            [edge.extents.gone_mm[:-1] for edge in edges] + [edges[-1].extents.gone_mm[-1:]]
        )
        return Path(
            poses=poses,
            tilts=np.zeros_like(poses),
            clearance_mm=clearance,
            gone_mm=gone,
            narrowest=min(int(starts[int(np.argmin(least))]) + within, len(poses) - 1),
        )


def make_search(room: Room, settings: WayOutSettings, say: Say = _quiet) -> Search:
    """Measure a room once for all its scenarios.

    Parameters
    ----------
    room : Room
        Piece and obstacles.
    settings : WayOutSettings
        Lengths and steps.
    say : callable
        Called before each long step.

    Returns
    -------
    Search
        Ready for scenarios.
    """
    say("measuring the obstacles")
    ground = make_ground(room, settings)
    say("measuring the poses")
    lattice = lattice_for(room, settings)
    reach = float(np.linalg.norm(ground.body.samples.corners[:, :2], axis=1).max())
    return Search(ground, measure_map(ground, lattice), CloserLook(ground, lattice, reach))


def refine(search: Search, open_nodes: NDArray[np.bool_], finer: int = 2) -> PoseMap:
    """A finer map of the nodes that matter.

    Parameters
    ----------
    search : Search
        With its coarse map.
    open_nodes : (n,) bool
        Coarse nodes whose cells may still hold a way.
    finer : int
        By what steps are divided; 2 keeps every other node.

    Returns
    -------
    PoseMap
        Nodes none of whose coarse cells is open are shut.
    """
    coarse = search.map.lattice
    lattice = PoseLattice(
        np.linspace(coarse.x_mm[0], coarse.x_mm[-1], finer * (len(coarse.x_mm) - 1) + 1),
        np.linspace(coarse.y_mm[0], coarse.y_mm[-1], finer * (len(coarse.y_mm) - 1) + 1),
        np.arange(finer * len(coarse.turns)) * (coarse.step_rad / finer),
    )
    within = open_nodes.reshape(coarse.shape)
    for axis, count in enumerate(lattice.shape):
        at = np.arange(count) / finer
        low, high = np.floor(at + 1e-9).astype(int), np.ceil(at - 1e-9).astype(int)
        size = within.shape[axis]
        if axis == 2:
            low, high = low % size, high % size
        within = np.take(within, low, axis) | np.take(within, high, axis)
    return measure_map(search.ground, lattice, within.reshape(-1))


def body_of(search: Search) -> Body:
    """The moving piece of a search."""
    return search.ground.body
