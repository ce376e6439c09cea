"""A path from node to node looked at again, closely, between its nodes."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vertebloc.way_out.clearances import CLIP_MM
from vertebloc.way_out.model import CLOSED_MM
from vertebloc.way_out.pose_map import LEAST_WORTH_MM, Ground, Margin
from vertebloc.way_out.poses import Extents, PoseLattice, extents, moves_of
from vertebloc.way_out.rules import demanded_mm, worth_mm


@dataclass(frozen=True, slots=True, eq=False)
class _Edge:
    """Poses along one edge, measured; between two of them nothing moves farther than a step."""

    poses: NDArray[np.float64]
    extents: Extents
    half_step_mm: float
    clearance: dict[str, NDArray[np.float64]]


@dataclass(slots=True, eq=False)
class CloserLook:
    """Remembers what was measured: scenarios share most of their edges."""

    ground: Ground
    lattice: PoseLattice
    reach_mm: float
    _edges: dict[tuple[int, int], _Edge] = field(default_factory=dict)

    def worths(
        self, nodes: NDArray[np.int64], names: tuple[str, ...], margin: Margin
    ) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """What each edge of a path is worth for certain.

        Parameters
        ----------
        nodes : (n,) int
            From the seat on.
        names : tuple of str
            Obstacles that stay.
        margin : Margin
            How strictly; not an upper one.

        Returns
        -------
        tuple of ((n - 1,) float, mm; (n - 1,) bool)
            Worth at the sac, ``CLOSED_MM`` where an obstacle shuts the edge; whether one does.
        """
        pairs = [(int(a), int(b)) for a, b in zip(nodes[:-1], nodes[1:], strict=True)]
        self._measure(pairs, names)
        worth = np.empty(len(pairs))
        shut = np.zeros(len(pairs), dtype=np.bool_)
        for i, pair in enumerate(pairs):
            edge = self._edges[pair]
            shut[i] = any(self._is_shut(edge, name, margin) for name in names)
            worth[i] = CLOSED_MM if shut[i] else self._sac_worth(edge, margin).min()
        return worth, shut

    def along(self, nodes: NDArray[np.int64]) -> list[_Edge]:
        """Edges of a path whose worth was asked for before."""
        return [self._edges[(int(a), int(b))] for a, b in zip(nodes[:-1], nodes[1:], strict=True)]

    def _sac_worth(self, edge: _Edge, margin: Margin) -> NDArray[np.float64]:
        ground, settings = self.ground, self.ground.settings
        worth = np.full(len(edge.poses), CLIP_MM)
        for name in ground.soft_names:
            clearance = ground.gauges[name].at_least(edge.clearance[name], settings)
            rest = ground.rest_mm[name] + settings.field_error_mm - margin.sac_grown_mm
            one = worth_mm(
                clearance - edge.half_step_mm - margin.sac_grown_mm,
                edge.extents.gone_mm + edge.half_step_mm,
                at_rest_mm=rest,
                settings=settings,
            )
            worth = np.minimum(worth, one)
        return np.where(worth < LEAST_WORTH_MM, CLOSED_MM, worth)

    def _is_shut(self, edge: _Edge, name: str, margin: Margin) -> bool:
        ground, settings = self.ground, self.ground.settings
        low, high = ground.room.x_mm
        if edge.extents.least_x_mm.min() < low or edge.extents.most_x_mm.max() > high:
            return True
        clearance = ground.gauges[name].at_least(edge.clearance[name], settings)
        demand = demanded_mm(
            edge.extents.gone_mm + edge.half_step_mm,
            at_rest_mm=ground.rest_mm[name] + settings.field_error_mm - margin.grown_mm,
            target_mm=-ground.press_mm(name),
            settings=settings,
        )
        return bool(np.any(clearance - edge.half_step_mm - margin.grown_mm < demand))

    def _measure(self, pairs: list[tuple[int, int]], names: tuple[str, ...]) -> None:
        """Measure edges against obstacles that they were not measured against yet."""
        new = list(dict.fromkeys(pair for pair in pairs if pair not in self._edges))
        made = [self._poses_between(*pair) for pair in new]
        if made:
            far = extents(moves_of(np.concatenate([m[0] for m in made])),
                          self.ground.body.samples.corners)  # fmt: skip
            start = 0
            for pair, (poses, half) in zip(new, made, strict=True):
                part = slice(start, start + len(poses))
                start += len(poses)
                own = Extents(
                    far.gone_mm[part], far.least_y_mm[part], far.least_x_mm[part],
                    far.most_x_mm[part],
                )  # fmt: skip
                self._edges[pair] = _Edge(poses, own, half, {})
        for name in (*self.ground.soft_names, *names):
            edges = [self._edges[p] for p in pairs if name not in self._edges[p].clearance]
            if not edges:
                continue
            moves = moves_of(np.concatenate([edge.poses for edge in edges]))
            measured = self.ground.gauges[name].measure(moves).astype(np.float64)
            ends = np.cumsum([len(edge.poses) for edge in edges])[:-1]
            for edge, part in zip(edges, np.split(measured, ends), strict=True):
                edge.clearance[name] = part

    def _poses_between(self, one: int, other: int) -> tuple[NDArray[np.float64], float]:
        """Poses along the straight way between two nodes, the short way round."""
        a, b = self.lattice.poses(np.array([one, other]))
        way = b - a
        way[2] = (way[2] + np.pi) % (2.0 * np.pi) - np.pi
        length = float(np.hypot(way[0], way[1]) + self.reach_mm * abs(way[2]))
        count = max(1, int(np.ceil(length / self.ground.settings.check_mm)))
        poses = a + np.linspace(0.0, 1.0, count + 1)[:, None] * way
        return poses, length / count / 2.0
