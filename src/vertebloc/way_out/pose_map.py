"""Clearances of one body at all poses of a lattice, and what they mean for a path."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vertebloc.space.frames import Side
from vertebloc.way_out import _kernels
from vertebloc.way_out.clearances import CLIP_MM, FLOOR_MM, Body, Gauge
from vertebloc.way_out.model import CLOSED_MM, Room, Substance, WayOutSettings
from vertebloc.way_out.poses import Extents, PoseLattice, extents, moves_of
from vertebloc.way_out.rules import demanded_mm, worth_mm
from vertebloc.way_out.samples import point_tree, thinned

#: A path that is worth less is none: the piece would have to be pushed through the sac, mm.
LEAST_WORTH_MM = -3.0
PER_MM = 100.0  #: values of nodes are whole hundredths


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ground:
    """What pose maps of one room share."""

    room: Room
    settings: WayOutSettings
    gauges: Mapping[str, Gauge]  #: by obstacle's name; the sac's under ``SAC``
    #: the piece's own clearances at rest, at least and at most, mm
    rest_mm: Mapping[str, tuple[float, float]]
    body: Body  #: what moves
    slack_mm: float = 0.0  #: most that a point of the body is moved by any tilt of the family

    @property
    def soft_names(self) -> tuple[str, ...]:
        """The sac, and patches of it that had room at rest: what a way is worth at them counts."""
        crowded = (o.name for o in self.room.obstacles if o.substance is Substance.CROWDED)
        return (SAC, *crowded)

    def press_mm(self, name: str) -> float:
        """How far an obstacle may be pressed; negative: clearance that is demanded."""
        return next(o.may_press_mm for o in self.room.obstacles if o.name == name)


SAC = "sac"


@dataclass(frozen=True, slots=True)
class Margin:
    """How strictly a pose is judged.

    A node that is judged itself only says where a way may run: the closer look decides.
    ``grown_mm`` is taken off every clearance (negative: added); ``sac_grown_mm`` off the sac's.
    """

    is_upper: bool  #: true: what no pose of a node's cell can better; false: the node itself
    grown_mm: float = 0.0
    sac_grown_mm: float = 0.0
    #: a node itself: what finer ones beside it may gain
    hope_mm: float = 0.0


@dataclass(slots=True, eq=False)
class PoseMap:
    """Measured once; every scenario is then a least of stored values."""

    ground: Ground
    lattice: PoseLattice
    extents: Extents
    covers_mm: float
    clearance: dict[str, NDArray[np.float32]]
    best_sac: NDArray[np.float32]  #: most that the clearance to the sac may be in a node's cell
    _values: dict[Margin, NDArray[np.int16]] = field(default_factory=dict)
    _shut: dict[Margin, NDArray[np.uint64]] = field(default_factory=dict)
    _goals: dict[bool, NDArray[np.uint8]] = field(default_factory=dict)

    def values(self, margin: Margin) -> NDArray[np.int16]:
        """What each node is worth at the sac, in hundredths of a mm."""
        if margin not in self._values:
            self._values[margin] = self._worth(margin)
        return self._values[margin]

    def _gone(self, margin: Margin) -> NDArray[np.float64]:
        gone = self.extents.gone_mm
        if not margin.is_upper:
            return gone
        return np.maximum(0.0, gone - self.covers_mm - self.ground.slack_mm)

    def _rest(self, name: str, margin: Margin, grown_mm: float) -> float:
        """Clearance at rest, taken so that the demand errs the right way."""
        least, most = self.ground.rest_mm[name]
        return (least if margin.is_upper else most) - grown_mm

    def _worth(self, margin: Margin) -> NDArray[np.int16]:
        """Least that the sac, and its patches that had room, let a node be worth."""
        ground, settings = self.ground, self.ground.settings
        worth = np.full(len(self.extents.gone_mm), CLIP_MM)
        for name in ground.soft_names:
            if name not in self.clearance:
                continue
            if not margin.is_upper:
                clearance = self.clearance[name] + margin.hope_mm
            elif name == SAC:
                clearance = self.best_sac + settings.field_error_mm
            else:
                clearance = self.clearance[name] + self.covers_mm + settings.field_error_mm
            worth = np.minimum(worth, self.worth_of(name, clearance, margin))
        inside = self.inside(margin) & (worth >= LEAST_WORTH_MM)
        rounded = np.ceil if margin.is_upper else np.floor
        found = rounded(np.maximum(worth, -99.0) * PER_MM).astype(np.int16)
        return np.where(inside, found, np.int16(_kernels.CLOSED))

    def worth_of(
        self,
        name: str,
        clearance_mm: NDArray[np.float64] | NDArray[np.float32],
        margin: Margin,
        nodes: NDArray[np.int64] | slice = slice(None),
    ) -> NDArray[np.float64]:
        """What nodes are worth at the sac, or at a patch of it, with a clearance, mm."""
        grown = margin.sac_grown_mm
        return worth_mm(
            np.asarray(clearance_mm, dtype=np.float64) - grown,
            self._gone(margin)[nodes],
            at_rest_mm=self._rest(name, margin, grown),
            settings=self.ground.settings,
        )

    def inside(self, margin: Margin) -> NDArray[np.bool_]:
        """Whether the piece stays between the walls of the wound."""
        room, far = self.ground.room, self.extents
        allow = self.covers_mm if margin.is_upper else 0.0
        low, high = room.x_mm
        return (far.least_x_mm >= low - allow) & (far.most_x_mm <= high + allow)

    def _shuts(self, name: str, margin: Margin) -> NDArray[np.bool_]:
        settings = self.ground.settings
        measured = self.clearance[name].astype(np.float64)
        if margin.is_upper:
            clearance = measured + self.covers_mm + settings.field_error_mm
        else:
            clearance = measured + margin.hope_mm
        return clearance - margin.grown_mm < self.demand(name, margin)

    def demand(self, name: str, margin: Margin) -> NDArray[np.float64]:
        """Clearance to an obstacle that is demanded of each node."""
        return demanded_mm(
            self._gone(margin),
            at_rest_mm=self._rest(name, margin, margin.grown_mm),
            target_mm=-self.ground.press_mm(name),
            settings=self.ground.settings,
        )

    def _aside(
        self, side: Side | None, margin: Margin
    ) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Along x and y, where the piece's middle is on the other side, and behind the sac."""
        if side is None:
            return np.zeros(self.lattice.shape[0], np.bool_), np.zeros(
                self.lattice.shape[1], np.bool_
            )
        allow = self.lattice.step_mm / 2.0 if margin.is_upper else 0.0
        x, y = self.ground.room.sac_middle_mm
        return side.sign * (self.lattice.x_mm - x) < -allow, self.lattice.y_mm - y > allow

    def range_mm(self, name: str) -> tuple[float, float]:
        """Clearances that need to be told apart: below the first a node is shut in any case."""
        settings, soft = self.ground.settings, name in self.ground.soft_names
        at_rest = self.ground.rest_mm[name][0] - settings.tolerance_mm
        least = min(at_rest, LEAST_WORTH_MM if soft else -self.ground.press_mm(name))
        errors = settings.contour_error_mm + (settings.sac_motion_mm if soft else 0.0)
        cover = self.ground.gauges[name].cover_mm + 2.0 * settings.field_error_mm
        return least - errors - cover - max(1.5, self.covers_mm), self.ground.gauges[
            name
        ].range_mm[1]

    def delivered(self, margin: Margin) -> NDArray[np.bool_]:
        """Where the whole piece is out of the wound."""
        allow = self.covers_mm if margin.is_upper else 0.0
        return self.extents.least_y_mm >= self.ground.room.delivered_y_mm - allow

    def widest(
        self, names: tuple[str, ...], side: Side | None, margin: Margin
    ) -> tuple[float, NDArray[np.int64]]:
        """Widest path of a scenario.

        Parameters
        ----------
        names : tuple of str
            Obstacles that stay.
        side : Side or None
            On which the sac's middle is passed.
        margin : Margin
            How strictly.

        Returns
        -------
        tuple of (float, mm; (n,) int)
            What it is worth (``CLOSED_MM`` if there is none), and its nodes from the seat on.
        """
        came_from = np.empty(len(self.best_sac), dtype=np.int32)
        worth, end = _kernels.widest_path(
            *self._passable(names, side, margin), int(PER_MM * LEAST_WORTH_MM),
            self.lattice.seat, came_from,
        )  # fmt: skip
        if end < 0:
            return CLOSED_MM, np.empty(0, dtype=np.int64)
        return worth / PER_MM, self._followed(end, came_from)

    def shortest(
        self, names: tuple[str, ...], side: Side | None, margin: Margin, worth: float
    ) -> NDArray[np.int64]:
        """Path of the fewest nodes that is worth something: a widest one may wander.

        Parameters
        ----------
        names, side, margin
            As in ``widest``.
        worth : float, mm
            From ``widest``.

        Returns
        -------
        (n,) int
            Nodes from the seat on; none if there is no such path.
        """
        came_from = np.empty(len(self.best_sac), dtype=np.int32)
        end = _kernels.shortest_path(
            *self._passable(names, side, margin), int(np.floor(PER_MM * worth + 1e-6)),
            self.lattice.seat, came_from,
        )  # fmt: skip
        return self._followed(end, came_from) if end >= 0 else np.empty(0, dtype=np.int64)

    def _passable(
        self, names: tuple[str, ...], side: Side | None, margin: Margin
    ) -> tuple[NDArray[Any], ...]:
        """Values of nodes, what shuts them and stays, what lies on the other side, and goals."""
        stay = np.zeros(self._words, dtype=np.uint64)
        for name in names:
            at = self._bit[name]
            stay[at >> 6] |= np.uint64(1 << (at & 63))
        values = self.values(margin).reshape(self.lattice.shape)
        return (
            values, self._bits(margin), stay, *self._aside(side, margin), self._goal(margin)
        )  # fmt: skip

    def _followed(self, end: int, came_from: NDArray[np.int32]) -> NDArray[np.int64]:
        nodes = [end]
        while nodes[-1] != self.lattice.seat:
            nodes.append(int(came_from[nodes[-1]]))
        return np.array(nodes[::-1])

    @property
    def _bit(self) -> dict[str, int]:
        return {o.name: i for i, o in enumerate(self.ground.room.obstacles)}

    @property
    def _words(self) -> int:
        return len(self.ground.room.obstacles) // 64 + 1

    def _bits(self, margin: Margin) -> NDArray[np.uint64]:
        """Obstacles that shut each node, one bit each."""
        if margin not in self._shut:
            found = np.zeros((len(self.best_sac), self._words), dtype=np.uint64)
            for name, at in self._bit.items():
                if name in self.clearance and name not in self.ground.soft_names:
                    found[self._shuts(name, margin), at >> 6] |= np.uint64(1 << (at & 63))
            self._shut[margin] = found
        return self._shut[margin]

    def _goal(self, margin: Margin) -> NDArray[np.uint8]:
        if margin.is_upper not in self._goals:
            self._goals[margin.is_upper] = self.delivered(margin).astype(np.uint8)
        return self._goals[margin.is_upper]


def measure_map(
    ground: Ground, lattice: PoseLattice, within: NDArray[np.bool_] | None = None
) -> PoseMap:
    """Measure a body against everything at all poses where a path may run at all.

    Parameters
    ----------
    ground : Ground
        Body, obstacles.
    lattice : PoseLattice
        Poses.
    within : (n,) bool or None
        Nodes to look at; the others are shut.

    Returns
    -------
    PoseMap
        Nodes that the walls, the sac or what never leaves shut under the mildest judgement are
        not measured against what may be given up.
    """
    settings = ground.settings
    corners = ground.body.samples.corners
    reach = float(np.linalg.norm(corners[:, :2], axis=1).max())
    covers = lattice.covers_mm(reach)
    moves = moves_of(lattice.poses())
    count = len(moves)
    far = extents(moves, corners)
    empty = np.full(count, FLOOR_MM, dtype=np.float32)
    found = PoseMap(ground, lattice, far, covers, {}, empty.copy())
    mildest = Margin(
        is_upper=True,
        grown_mm=-settings.contour_error_mm,
        sac_grown_mm=-settings.contour_error_mm - settings.sac_motion_mm,
    )
    inside = found.inside(mildest)
    live = np.flatnonzero(inside if within is None else within & inside)
    thin = ground.body.thin_tree
    own = np.linalg.norm(thin.points[:, :2], axis=1)
    cell = lattice.step_mm / np.sqrt(2.0) + own * lattice.step_rad / 2.0
    wide = point_tree(thin.points[:, :3], cell)
    sac = ground.gauges[SAC]
    found.best_sac[live] = sac.measure(moves[live], wide, found.range_mm(SAC))
    found._values.clear()
    live = live[found._worth(mildest)[live] != _kernels.CLOSED]
    found.clearance[SAC] = empty.copy()
    if not ground.slack_mm:  # the core's own clearance is never read
        found.clearance[SAC][live] = sac.measure(moves[live], thin, found.range_mm(SAC))
    for name in () if ground.slack_mm else ground.soft_names[1:]:
        # pointwise crowding is left out of the proof for tilts
        gauge = ground.gauges[name]
        few = point_tree(thinned(gauge.tree.points[:, :3], settings.thin_mm))
        found.clearance[name] = np.full(count, CLIP_MM, dtype=np.float32)
        # elsewhere the whole sac is no farther than its patches, and as much is wanted
        near = live[far.gone_mm[live] - covers < settings.clear_after_mm]
        found.clearance[name][near] = gauge.measure(moves[near], few, found.range_mm(name))
    found._values.clear()
    live = live[found._worth(mildest)[live] != _kernels.CLOSED]
    ordered = sorted(ground.room.obstacles, key=lambda o: o.sacrifice is not None)
    for obstacle in ordered:
        if obstacle.substance is Substance.CROWDED:
            continue
        gauge = ground.gauges[obstacle.name]
        todo, here = live, empty.copy()
        if obstacle.part_of in found.clearance:  # where the whole is far, its part is farther
            near = found.clearance[obstacle.part_of] < gauge.range_mm[1]
            here[live] = gauge.range_mm[1]
            todo = live[near[live]]
        range_mm = found.range_mm(obstacle.name)
        here[todo] = gauge.measure(moves[todo], thin if gauge.piece_moves else None, range_mm)
        found.clearance[obstacle.name] = here
        if obstacle.sacrifice is None:
            live = live[~found._shuts(obstacle.name, mildest)[live]]
    return found


def with_body(ground: Ground, body: Body, slack_mm: float) -> Ground:
    """The same room with another body, such as the common core of a family of tilts.

    Parameters
    ----------
    ground : Ground
        With the piece.
    body : Body
        Moves instead.
    slack_mm : float, mm
        Most that a tilt of the family moves a point of it.

    Returns
    -------
    Ground
        Clearances at rest stay the piece's.
    """
    gauges = {
        name: replace(gauge, tree=body.tree, cover_mm=body.samples.cover_mm)
        if gauge.piece_moves
        else replace(gauge, field=body.field)
        for name, gauge in ground.gauges.items()
    }
    return replace(ground, body=body, slack_mm=slack_mm, gauges=gauges)
