"""Widest ways out, between what is shown to be possible and what is shown to be impossible."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vertebloc.way_out.clearances import (
    CLIP_MM,
    FLOOR_MM,
    Gauge,
    field_of,
    make_body,
    make_gauge,
)
from vertebloc.way_out.closer_look import CloserLook
from vertebloc.way_out.finer_way import NO_WAY, FinerWays
from vertebloc.way_out.model import (
    CLOSED_MM,
    Bracket,
    Path,
    Room,
    Scenario,
    Substance,
    WayOutSettings,
)
from vertebloc.way_out.pose_map import LEAST_WORTH_MM, SAC, Ground, Margin, PoseMap, measure_map
from vertebloc.way_out.pose_worths import Asked
from vertebloc.way_out.poses import PoseLattice, make_lattice, moves_of

Say = Callable[[str], None]


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
    rest = {name: _at_rest_mm(gauge, settings) for name, gauge in gauges.items()}
    for one in room.obstacles:
        if one.substance is Substance.CROWDED:  # that is how these patches are told
            rest[one.name] = -one.may_press_mm, -one.may_press_mm
    return Ground(room=room, settings=settings, gauges=gauges, rest_mm=rest, body=body)


def _at_rest_mm(gauge: Gauge, settings: WayOutSettings) -> tuple[float, float]:
    """Clearance at rest, at least and at most."""
    still = moves_of(np.zeros((1, 3)))
    measured = gauge.measure(still, None, (FLOOR_MM, CLIP_MM)).astype(np.float64)
    least = float(gauge.at_least(measured, settings)[0])
    return least, float(measured[0]) + settings.field_error_mm


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
    finer: FinerWays
    scenarios_searched: int = 0
    _lower: dict[tuple[Scenario, Margin], tuple[float, NDArray[np.float64]]] = field(
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
        return self.map.widest(self.staying(scenario), scenario.side, margin)[0]

    def lower_mm(self, scenario: Scenario, margin: Margin) -> tuple[float, NDArray[np.float64]]:
        """Clearance that a way is shown to keep.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        margin : Margin
            Not an upper one.

        Returns
        -------
        tuple of (float, mm; (n, 3) float64)
            And the poses of that way; ``CLOSED_MM`` and none if no way was found.
        """
        key = (scenario, margin)
        if key not in self._lower:
            names = self.staying(scenario)
            asked = Asked(names, scenario.side, margin)
            self._lower[key] = self.finer.widest(self.map, asked)
        return self._lower[key]

    def known(
        self, scenario: Scenario, margin: Margin
    ) -> tuple[float, NDArray[np.float64]] | None:
        """The way of a scenario that was found or kept before; None if there is none."""
        return self._lower.get((scenario, margin))

    def keep_way(self, scenario: Scenario, margin: Margin, way: NDArray[np.float64]) -> None:
        """Remember a way; none, or one that is shut in this scenario: that none was found.

        Parameters
        ----------
        scenario : Scenario
            Side and sacrifices.
        margin : Margin
            Not an upper one.
        way : (n, 3) float64
            Its poses.
        """
        worth = CLOSED_MM
        if len(way):
            worth = float(self.look.worths(way, self.staying(scenario), margin).min())
        is_open = worth >= LEAST_WORTH_MM
        self._lower[scenario, margin] = (worth, way) if is_open else (CLOSED_MM, NO_WAY)

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
        worth, way = self.lower_mm(scenario, margin)
        if worth == CLOSED_MM:
            return None
        names = self.staying(scenario)
        edges = self.look.along(way)
        scores = [self.look.scores(edge, names, margin) for edge in edges]
        parts = [slice(0, -1)] * (len(edges) - 1) + [slice(0, None)]
        joined = [(edge, part) for edge, part in zip(edges, parts, strict=True)]
        poses = np.concatenate([edge.poses[part] for edge, part in joined])
        score = np.concatenate([one[part] for one, part in zip(scores, parts, strict=True)])
        return Path(
            poses=poses[:, :3],
            tilts=_tilts_of(poses),
            clearance_mm=np.concatenate([edge.clearance[SAC][part] for edge, part in joined]),
            gone_mm=np.concatenate([edge.extents.gone_mm[part] for edge, part in joined]),
            narrowest=int(np.argmin(score)),
        )


def _tilts_of(poses: NDArray[np.float64]) -> NDArray[np.float64]:
    """Tilts in degrees and lifts in mm of poses with three or six freedoms."""
    if poses.shape[1] == 3:
        return np.zeros_like(poses)
    return np.column_stack((np.degrees(poses[:, 3:5]), poses[:, 5]))


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
    look = CloserLook(ground, reach)
    steps = np.array([lattice.step_mm, lattice.step_mm, lattice.step_rad])
    finer = FinerWays(look, CloserLook(ground, reach, True), steps)
    return Search(ground, measure_map(ground, lattice), look, finer)
