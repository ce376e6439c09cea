"""A way from pose to pose looked at again, closely, between its poses, and bettered there."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vertebloc.way_out.clearances import CLIP_MM
from vertebloc.way_out.model import CLOSED_MM
from vertebloc.way_out.pose_map import LEAST_WORTH_MM, SAC, Ground, Margin
from vertebloc.way_out.poses import Extents, extents, moves_along
from vertebloc.way_out.rules import demanded_mm, worth_mm
from vertebloc.way_out.samples import PointTree, point_tree, thinned

_Key = tuple[float, ...]
_SHUT = -50.0  #: score of a pose that an obstacle shuts, less how far it does
_USUAL = (12, 10)  #: rounds of bettering a way, and poses shifted in each
_PATIENCE = 2  #: rounds that may bring nothing before steps are made shorter
_SLACK_MM = 0.02  #: and lose no more than this
_ROUGHLY = 5.0  #: a rough look takes steps so many times wider
_SHORT_MM = 0.8  #: edges longer than this may be halved
#: Close to the seat a small error counts for much: steps are shorter there, down to this part
_FINEST = 0.2
_PARTS = ("gone_mm", "least_y_mm", "least_x_mm", "most_x_mm")
_GLANCES = np.array([0.5, 0.25, 0.75, 0.125, 0.375, 0.625, 0.875])


@dataclass(frozen=True, slots=True, eq=False)
class Edge:
    """Poses along one edge, measured; between two of them nothing moves farther than a step."""

    poses: NDArray[np.float64]
    extents: Extents
    half_step_mm: float | NDArray[np.float64]  #: of all, or of each pose
    clearance: dict[str, NDArray[np.float64]]


@dataclass(slots=True, eq=False)
class CloserLook:
    """Remembers what was measured: scenarios share most of their edges."""

    ground: Ground
    reach_mm: float
    is_rough: bool = False  #: thin points and wide steps: to better a way, never to judge it
    _edges: dict[tuple[_Key, _Key], Edge] = field(default_factory=dict)
    _thin: dict[str, PointTree] = field(default_factory=dict)

    def worths(
        self, way: NDArray[np.float64], names: tuple[str, ...], margin: Margin
    ) -> NDArray[np.float64]:
        """What each edge of a way is worth for certain.

        Parameters
        ----------
        way : (n, 3) float64
            Poses from the seat on.
        names : tuple of str
            Obstacles that stay.
        margin : Margin
            How strictly; not an upper one.

        Returns
        -------
        (n - 1,) float64, mm
            Worth at the sac; below ``_SHUT`` where an obstacle shuts the edge, by how far.
        """
        edges = self.along(way)
        self._measure(edges, names)
        first = np.cumsum([0] + [len(edge.poses) for edge in edges[:-1]])
        scores = self.scores(_joined(edges, (*self.ground.soft_names, *names)), names, margin)
        return np.asarray(np.minimum.reduceat(scores, first))

    def along(self, way: NDArray[np.float64]) -> list[Edge]:
        """Edges of a way.

        Parameters
        ----------
        way : (n, 3) float64
            Poses.

        Returns
        -------
        list of Edge
            Not measured yet, unless they were before.
        """
        keys = [tuple(np.round(pose, 6)) for pose in way]
        return [self._edge(a, b) for a, b in itertools.pairwise(keys)]

    def scores(self, edge: Edge, names: tuple[str, ...], margin: Margin) -> NDArray[np.float64]:
        """What each pose of a measured edge is worth, with half a step to either side."""
        ground, settings = self.ground, self.ground.settings
        gone = edge.extents.gone_mm + edge.half_step_mm
        worth = np.full(len(gone), CLIP_MM)
        for name in ground.soft_names:
            clearance = ground.gauges[name].at_least(edge.clearance[name], settings)
            one = worth_mm(
                clearance - edge.half_step_mm - margin.sac_grown_mm,
                gone,
                at_rest_mm=ground.rest_mm[name][1] - margin.sac_grown_mm,
                settings=settings,
            )
            worth = np.minimum(worth, one)
        low, high = ground.room.x_mm
        short = np.minimum(edge.extents.least_x_mm - low, high - edge.extents.most_x_mm)
        for name in names:
            clearance = ground.gauges[name].at_least(edge.clearance[name], settings)
            demand = demanded_mm(
                gone,
                at_rest_mm=ground.rest_mm[name][1] - margin.grown_mm,
                target_mm=-ground.press_mm(name),
                settings=settings,
            )
            over = clearance - edge.half_step_mm - margin.grown_mm - demand
            short = np.minimum(short, over)
        return np.where(short < 0.0, _SHUT + short, np.maximum(worth, 0.9 * _SHUT))

    def half_step_mm(self, poses: NDArray[np.float64]) -> NDArray[np.float64]:
        """Half a step of a close look at poses in the plane: shorter close to the seat."""
        turn = (poses[:, 2] + np.pi) % (2.0 * np.pi) - np.pi
        moved = np.hypot(poses[:, 0], poses[:, 1]) + self.reach_mm * np.abs(turn)
        settings = self.ground.settings
        share = np.clip(moved / settings.clear_after_mm, _FINEST, 1.0)
        return np.asarray(settings.check_mm * share / 2.0)

    def clearance_mm(self, name: str, moves: NDArray[np.float64]) -> NDArray[np.float64]:
        """What the clearance to an obstacle is at least at single poses."""
        gauge = self.ground.gauges[name]
        tree = self._thin_tree(name) if self.is_rough else None
        measured = gauge.measure(moves, tree, self._range_mm(name)).astype(np.float64)
        return gauge.at_least(measured, self.ground.settings)

    def may_be_worth(
        self,
        ends: NDArray[np.float64],
        names: tuple[str, ...],
        margin: Margin,
        least_mm: float,
    ) -> bool:
        """Whether a few poses between two are about worth something: to see soon that one is not.

        Parameters
        ----------
        ends : (2, 3) float64
            Two poses.
        names : tuple of str
            Obstacles that stay.
        margin : Margin
            How strictly; not an upper one.
        least_mm : float, mm
            What the way between them is to be worth.

        Returns
        -------
        bool
            True tells nothing.
        """
        ground, settings = self.ground, self.ground.settings
        way = ends[1] - ends[0]
        way[2] = (way[2] + np.pi) % (2.0 * np.pi) - np.pi
        moves = moves_along(ends[0] + _GLANCES[:, None] * way)
        gone = extents(moves, ground.body.samples.corners).gone_mm
        for name in (SAC, *names):
            grown = margin.sac_grown_mm if name == SAC else margin.grown_mm
            target = least_mm if name == SAC else -ground.press_mm(name)
            demand = demanded_mm(
                gone,
                at_rest_mm=ground.rest_mm[name][1] - grown,
                target_mm=target,
                settings=settings,
            )
            if np.any(self.clearance_mm(name, moves) - grown < demand):
                return False
        return True

    def _still(
        self, poses: NDArray[np.float64], names: tuple[str, ...], margin: Margin
    ) -> NDArray[np.float64]:
        """What single poses are worth, as if each were looked at closely."""
        far = extents(moves_along(poses), self.ground.body.samples.corners)
        still = Edge(poses, far, self.ground.settings.check_mm / 2.0, {})
        self._measure([still], names)
        return self.scores(still, names, margin)

    def _edge(self, a: _Key, b: _Key) -> Edge:
        """Poses along the straight way between two, the short way round."""
        if (a, b) not in self._edges:
            first, way = np.array(a), np.array(b) - np.array(a)
            way[2] = (way[2] + np.pi) % (2.0 * np.pi) - np.pi
            length = self._moved_mm(way)
            near = min(self._moved_mm(first), self._moved_mm(first + way))
            share = np.clip(near / self.ground.settings.clear_after_mm, _FINEST, 1.0)
            step = self.ground.settings.check_mm * float(share)
            step *= _ROUGHLY if self.is_rough else 1.0
            count = max(1, int(np.ceil(length / step)))
            poses = first + np.linspace(0.0, 1.0, count + 1)[:, None] * way
            far = extents(moves_along(poses), self.ground.body.samples.corners)
            half = length / count / 2.0
            if self.is_rough:  # a close look's own: what lies between is seen by that only
                half = self.ground.settings.check_mm * float(share) / 2.0
            self._edges[a, b] = Edge(poses, far, half, {})
        return self._edges[a, b]

    def _moved_mm(self, way: NDArray[np.float64]) -> float:
        """Most that any point moves along a straight way from pose to pose.

        A turn by an angle moves no point by more than the angle times its distance from the axis;
        turns about joint axes that differ by a vector differ by no more than its length.
        """
        turn = abs((way[2] + np.pi) % (2.0 * np.pi) - np.pi)
        far = float(np.hypot(way[0], way[1]))
        if len(way) == 3:
            return far + self.reach_mm * float(turn)
        tilt = float(np.hypot(way[3], way[4]))
        return far + self.tilted_reach_mm * (float(turn) + tilt) + abs(float(way[5]))

    @property
    def tilted_reach_mm(self) -> float:
        """How far the piece's points lie from the middle: tilted, so far from the axis at most."""
        return float(np.linalg.norm(self.ground.body.samples.corners, axis=1).max())

    def _measure(self, edges: list[Edge], names: tuple[str, ...]) -> None:
        """Measure edges against obstacles that they were not measured against yet."""
        for name in (*self.ground.soft_names, *names):
            todo = [edge for edge in edges if name not in edge.clearance]
            if name in self.ground.soft_names[1:]:
                todo = self._near_seat(todo, name)
            if not todo:
                continue
            moves = moves_along(np.concatenate([edge.poses for edge in todo]))
            gauge = self.ground.gauges[name]
            tree = self._thin_tree(name) if self.is_rough else None
            measured = gauge.measure(moves, tree, self._range_mm(name)).astype(np.float64)
            ends = np.cumsum([len(edge.poses) for edge in todo])[:-1]
            for edge, part in zip(todo, np.split(measured, ends), strict=True):
                edge.clearance[name] = part

    def _near_seat(self, edges: list[Edge], name: str) -> list[Edge]:
        """Edges on which patches that had room count; on others the whole sac is no farther."""
        found = []
        for edge in edges:
            gone = edge.extents.gone_mm - edge.half_step_mm
            if gone.min() < self.ground.settings.clear_after_mm:
                found.append(edge)
            else:
                edge.clearance[name] = np.full(len(gone), CLIP_MM)
        return found

    def _thin_tree(self, name: str) -> PointTree:
        if name not in self._thin:
            gauge, thin_mm = self.ground.gauges[name], self.ground.settings.thin_mm
            if gauge.piece_moves:
                self._thin[name] = self.ground.body.thin_tree
            elif gauge.radius_mm:
                self._thin[name] = gauge.tree
            else:
                self._thin[name] = point_tree(thinned(gauge.tree.points[:, :3], thin_mm))
        return self._thin[name]

    def _range_mm(self, name: str) -> tuple[float, float]:
        """Of what is only to be clear by so much, more is not told."""
        settings, gauge = self.ground.settings, self.ground.gauges[name]
        if name in self.ground.soft_names:
            return gauge.range_mm
        errors = settings.contour_error_mm + settings.check_mm + 2.0 * settings.field_error_mm
        enough = errors + gauge.cover_mm - self.ground.press_mm(name)
        return gauge.range_mm[0], min(gauge.range_mm[1], enough + 0.1)

    def better(
        self,
        way: NDArray[np.float64],
        names: tuple[str, ...],
        margin: Margin,
        effort: tuple[int, int] = _USUAL,
    ) -> tuple[float, NDArray[np.float64]]:
        """Better a way where it is worst: halve its worst edges and shift their ends.

        Parameters
        ----------
        way : (n, 3) or (n, 6) float64
            Poses from the seat to delivery; the first and the last stay.
        names : tuple of str
            Obstacles that stay.
        margin : Margin
            How strictly; not an upper one.
        effort : tuple of int
            Rounds, and poses shifted in each.

        Returns
        -------
        tuple of (float, mm; (m, 3) or (m, 6) float64)
            Worth of the best way met (``CLOSED_MM`` if all were shut), and that way.
        """
        worths = self.worths(way, names, margin)
        best, best_way = float(worths.min()), way
        shift, stalled = 1.0, 0
        for _ in range(effort[0]):
            way = self._halved(way, worths)
            way = self._shifted(way, names, margin, (shift, effort[1]))
            worths = self.worths(way, names, margin)
            if worths.min() > best + 1e-3:
                best, best_way, stalled = float(worths.min()), way, 0
            elif stalled < _PATIENCE and worths.min() > best - _SLACK_MM:
                stalled += 1  # there are more poses as bad as the worst: their turn comes
            else:
                way, shift, stalled = best_way, shift * 0.5, 0
                if shift < 0.1:
                    break
                worths = self.worths(way, names, margin)
        return (best if best >= LEAST_WORTH_MM else CLOSED_MM), best_way

    def _halved(
        self, way: NDArray[np.float64], worths: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """The way with a pose in the middle of each long edge among the worst."""
        worst = worths <= worths.min() + 0.25
        found = [way[0]]
        for i, pose in enumerate(way[1:]):
            edge = self.along(way[i : i + 2])[0]
            if worst[i] and self._length_mm(edge) > _SHORT_MM:
                found.append(edge.poses[len(edge.poses) // 2])
            found.append(pose)
        return np.array(found)

    def _length_mm(self, edge: Edge) -> float:
        return self._moved_mm(edge.poses[-1] - edge.poses[0])

    def _shifted(
        self,
        way: NDArray[np.float64],
        names: tuple[str, ...],
        margin: Margin,
        by: tuple[float, int],
    ) -> NDArray[np.float64]:
        """The way with each pose near a worst edge put where it is worth most nearby.

        ``by``: shifts in mm, and how many poses at most.
        """
        shift_mm, most = by
        worths = self.worths(way, names, margin)
        near = worths <= worths.min() + 0.25
        moving = np.flatnonzero(near[:-1] | near[1:]) + 1
        moving = moving[np.argsort(np.minimum(worths[moving - 1], worths[moving]))][:most]
        offsets = self._offsets(way.shape[1], shift_mm)
        found = way.copy()
        tried = (way[moving][:, None, :] + offsets).reshape(-1, way.shape[1])
        tried = self._within(tried)
        scores = self._still(tried, names, margin).reshape(len(moving), len(offsets))
        found[moving] = tried.reshape(len(moving), len(offsets), way.shape[1])[
            np.arange(len(moving)), scores.argmax(axis=1)
        ]
        return found

    def _offsets(self, freedoms: int, shift_mm: float) -> NDArray[np.float64]:
        """Shifts of a pose by about a length: of those in the plane, or of tilts and lift."""
        steps = np.array(list(itertools.product((0.0, -1.0, 1.0), repeat=3))) * shift_mm
        planar = steps / np.array([1.0, 1.0, self.reach_mm])
        if freedoms == 3:
            return np.asarray(planar, dtype=np.float64)
        found = np.zeros((2 * len(steps), 6))
        found[: len(steps), :3] = planar
        found[len(steps) :, 3:] = steps / np.array([*2 * (self.tilted_reach_mm,), 1.0])
        return found

    def _within(self, poses: NDArray[np.float64]) -> NDArray[np.float64]:
        """Poses with tilts and lifts no larger than those of the stated family."""
        if poses.shape[1] == 3:
            return poses
        settings, found = self.ground.settings, poses.copy()
        tilt = np.hypot(poses[:, 3], poses[:, 4])
        most = np.radians(settings.tilt_deg)
        found[:, 3:5] *= np.minimum(1.0, most / np.maximum(tilt, 1e-12))[:, None]
        found[:, 5] = np.clip(poses[:, 5], -settings.lift_mm, settings.lift_mm)
        return found


def _joined(edges: list[Edge], names: tuple[str, ...]) -> Edge:
    """Edges one after the other, as if they were one."""
    counts = [len(edge.poses) for edge in edges]
    far = [np.concatenate([getattr(e.extents, part) for e in edges]) for part in _PARTS]
    return Edge(
        np.concatenate([edge.poses for edge in edges]),
        Extents(*far),
        np.repeat([edge.half_step_mm for edge in edges], counts),
        {n: np.concatenate([edge.clearance[n] for edge in edges]) for n in names},
    )
