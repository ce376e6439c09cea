"""A way sought anew among ever finer poses around one that is known.

The lattice of the map is too coarse for the best way: close to the seat a tenth of a millimetre at
the sac makes a millimetre of what a way is worth. So the widest way is sought again among poses
half as far apart around the last one, and so on; where it is roomy it stays as it is. At first
poses are hoped to gain a little, since a finer one beside them will; at last they are not.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from vertebloc.way_out import _kernels_near as kernels
from vertebloc.way_out._kernels import CLOSED
from vertebloc.way_out.clearances import CLIP_MM
from vertebloc.way_out.closer_look import CloserLook
from vertebloc.way_out.measured_poses import STRIDES, MeasuredPoses, keys_of, places_of
from vertebloc.way_out.model import CLOSED_MM
from vertebloc.way_out.pose_map import LEAST_WORTH_MM, PER_MM, PoseMap
from vertebloc.way_out.pose_worths import (
    Asked,
    Stage,
    Way,
    keys_near,
    nearest_places,
    pose_worths,
    unwound,
)

Pause = Callable[[], None]

NO_WAY: Way = np.empty((0, 3))

#: rounds of rough looks; and wider ones, where the first were shut
_ROUGHLY = (
    Stage(1 / 2, 3, 0.6, 0.0, False),
    Stage(1 / 4, 3, 0.3, 0.0, False),
    Stage(1 / 8, 2, 0.1, 0.0, False),
)
_WIDELY = (
    Stage(1 / 2, 5, 0.3, 0.0, False),
    Stage(1 / 4, 4, 0.1, 0.0, False),
    Stage(1 / 8, 3, 0.1, 0.0, False),
)
_CLOSELY = Stage(1 / 8, 2, 0.1, 0.0, True)
#: the narrow parts: boldly, and if an edge between two poses is shut then, less so
_FINEST = (Stage(1 / 16, 2, 0.0, 0.015, True), Stage(1 / 16, 2, 0.0, 0.06, True))
#: what is hoped for more, mm, where a way is shut, until one is found
_EASES_MM = (0.05, 0.1, 0.2, 0.4)
#: what nodes of the lattice are hoped to gain by finer ones beside them, mm: tried in turn
_HOPES_MM = (-0.3, 0.4, 1.2)
#: a mm on a way that needs hope counts for so many more for each mm that is lacking
_DEAR_PER_MM = 30.0
_WORSE_MM = 0.6  #: poses worth so much less than the way before are not looked at further
_ROOMY_MM = 0.35  #: where the way is worth so much more than where it is narrowest it stays
_ROUNDS, _HARDLY_MM = 8, 0.01  #: of bettering a way among the finest poses, and what counts
_BESIDE = 4  #: poses that a narrow part reaches farther to either side
_SHY_MM = 0.5  #: poses that are worth less than this above the narrowest are gone round
_BENDS = np.array([a for a in itertools.product((-1, 0, 1), repeat=3) if any(a)])


def _go_on() -> None:
    """Nobody listens."""


@dataclass(slots=True, eq=False)
class FinerWays:
    """Seeks ways among fine poses."""

    look: CloserLook
    rough: CloserLook
    steps: NDArray[np.float64]  #: (3,) of the map's lattice: mm, mm, radians
    pause: Pause = _go_on  #: called between rounds; may raise to stop
    _poses: dict[tuple[float, bool], MeasuredPoses] = field(default_factory=dict)

    def widest(self, map_: PoseMap, asked: Asked) -> tuple[float, Way]:
        """The widest way found: from ways of the lattice on, which finer ones better.

        Parameters
        ----------
        map_ : PoseMap
            Of the same ground.
        asked : Asked
            What stays, the side, how strictly.

        Returns
        -------
        tuple of (float, mm; (n, 3) float64)
            What it is shown to be worth, and its poses; ``CLOSED_MM`` and none if none was found.
        """
        found = sorted(self._rough_ways(map_, asked), key=lambda one: -one[0])
        best = CLOSED_MM, NO_WAY
        for worth, way in found:
            if worth < best[0]:
                break
            one = self.closely(way, asked, about_mm=worth)
            best = max(best, one, key=lambda one: one[0])
        return best

    def one_worth(
        self,
        map_: PoseMap,
        asked: Asked,
        least_mm: float,
    ) -> tuple[float, Way]:
        """A way that is worth enough, if one is found: it need not be the widest.

        Parameters
        ----------
        map_, asked
            As in ``widest``.
        least_mm : float, mm
            Enough.

        Returns
        -------
        tuple of (float, mm; (n, 3) float64)
            What it is shown to be worth, and its poses; ``CLOSED_MM`` and none if none was found.
        """
        # what few points and hope tell of a way is off by some tenths
        for worth, way in self._rough_ways(map_, asked, least_mm - _WORSE_MM):
            sure = float(self.look.worths(way, asked.names, asked.margin).min())
            if sure >= least_mm:
                return sure, way
            found = self.closely(way, asked, about_mm=worth, enough_mm=least_mm)
            if found[0] >= least_mm:
                return found
        return CLOSED_MM, NO_WAY

    def _rough_ways(
        self,
        map_: PoseMap,
        asked: Asked,
        least_mm: float = LEAST_WORTH_MM,
    ) -> Iterator[tuple[float, Way]]:
        """Ways around different ones of the lattice, as they are asked for."""
        tried: list[Way] = []
        for hope in _HOPES_MM:
            hopeful = replace(asked.margin, hope_mm=hope)
            worth = map_.widest(asked.names, asked.side, hopeful)[0]
            if worth == CLOSED_MM or worth < least_mm - abs(hope):
                continue
            nodes = map_.shortest(asked.names, asked.side, hopeful, worth)
            way = map_.lattice.poses(nodes)
            if any(self._is_near(way, other) for other in tried):
                continue
            tried.append(way)
            worth, way = self.roughly(way, asked, least_mm)
            if len(way):
                tried.append(way)
                yield worth, way

    def _is_near(self, way: Way, other: Way) -> bool:
        """Whether poses near one way are looked at around the other."""
        tree = cKDTree(unwound(other) / self.steps)
        far = tree.query(unwound(way) / self.steps, p=np.inf)[0]
        return bool(np.max(far) <= _ROUGHLY[0].around * _ROUGHLY[0].part)

    def roughly(
        self,
        way: Way,
        asked: Asked,
        least_mm: float = LEAST_WORTH_MM,
    ) -> tuple[float, Way]:
        """The widest way around another one, looked at with few points.

        Parameters
        ----------
        way : (n, 3) float64
            From the seat to delivery; its poses may be as far apart as on the lattice.
        asked : Asked
            What stays, the side, how strictly.
        least_mm : float, mm
            Ways worth less are of no use.

        Returns
        -------
        tuple of (float, mm; (m, 3) float64)
            What it is about worth, and its poses; ``CLOSED_MM`` and none if there is none.
        """
        worth, found = self._stages(way, asked, _ROUGHLY, least_mm)
        if not len(found):  # hope led into a corner: less of it, and farther around
            worth, found = self._stages(way, asked, _WIDELY, least_mm)
        return worth, found

    def _stages(
        self,
        way: Way,
        asked: Asked,
        stages: tuple[Stage, ...],
        least_mm: float,
    ) -> tuple[float, Way]:
        worth = CLOSED_MM
        for stage in stages:
            least = least_mm - stage.hope_mm
            seek = self._eased if stage is stages[-1] else self._among
            worth, way = seek(way, asked, stage, least)
            if not len(way):
                break
        return worth, way

    def _eased(self, way: Way, asked: Asked, stage: Stage, least_mm: float) -> tuple[float, Way]:
        """The widest way, or if it is shut one that needs the least hope, and on from there."""
        worth, found = self._among(way, asked, stage, least_mm)
        eased: list[float] = []
        while not len(found) and eased[-2:] not in [[e, e] for e in _EASES_MM]:
            for ease in _EASES_MM:
                easier = replace(stage, hope_mm=stage.hope_mm + ease)
                other = self._among(way, asked, easier, least_mm - ease)[1]
                if len(other):
                    break
            else:
                break
            eased.append(ease)
            way = other
            worth, found = self._among(way, asked, stage, least_mm)
        return worth, found

    def closely(
        self,
        way: Way,
        asked: Asked,
        *,
        about_mm: float,
        enough_mm: float = np.inf,
    ) -> tuple[float, Way]:
        """The widest way around another one, looked at closely.

        Parameters
        ----------
        way : (n, 3) float64
            From ``roughly``.
        asked : Asked
            What stays, the side, how strictly.
        about_mm : float, mm
            What that way is about worth.
        enough_mm : float, mm
            A way worth this is not bettered.

        Returns
        -------
        tuple of (float, mm; (m, 3) float64)
            What it is shown to be worth, and its poses; ``CLOSED_MM`` and none if it is shut.
        """
        for least in (about_mm - _WORSE_MM, LEAST_WORTH_MM):
            close = self._among(way, asked, _CLOSELY, least)[1]
            if len(close):
                break
        else:
            return CLOSED_MM, NO_WAY
        worths = self.look.worths(close, asked.names, asked.margin)
        if worths.min() >= enough_mm:
            return float(worths.min()), close
        for stage in _FINEST:
            sure, found = self._settled(close, asked, stage)
            if sure >= enough_mm:
                return sure, found
            if sure >= LEAST_WORTH_MM:
                found = straightened(self.look, found, asked)
                worths = self.look.worths(found, asked.names, asked.margin)
                return float(worths.min()), found
        return CLOSED_MM, NO_WAY

    def _settled(self, way: Way, asked: Asked, stage: Stage) -> tuple[float, Way]:
        """Worth and way, bettered among the finest poses around it until that brings no more."""
        best, best_way = -np.inf, way
        for _ in range(_ROUNDS):
            worths = self.look.worths(way, asked.names, asked.margin)
            worth = float(worths.min())
            if worth < best + _HARDLY_MM:
                break
            best, best_way = worth, way
            way = self._finest(way, worths, asked, stage, max(worth, LEAST_WORTH_MM) - _WORSE_MM)
        return best, best_way

    def _finest(
        self,
        way: Way,
        worths: NDArray[np.float64],
        asked: Asked,
        stage: Stage,
        least_mm: float,
    ) -> Way:
        """The way with its narrow parts sought anew among the finest poses."""
        parts: list[Way] = []
        at = 0
        for first, last in _narrow(worths):
            old = way[first : last + 1]
            part = self._eased(old, asked, stage, least_mm)[1]
            parts += [way[at:first], part if len(part) else old]
            at = last + 1
        return np.concatenate((*parts, way[at:]))

    def _among(
        self,
        way: Way,
        asked: Asked,
        stage: Stage,
        least_mm: float,
    ) -> tuple[float, Way]:
        """The widest way among the poses of a finer lattice near a way."""
        self.pause()
        poses = self._measured(stage)
        steps, reach_mm = poses.steps, poses.look.reach_mm
        keys = keys_near(way, steps, stage.around)
        rows = poses.rows(keys)
        worths, shorts = pose_worths(poses, (keys, rows), asked, stage, least_mm)
        ends = np.searchsorted(keys, keys_of(nearest_places(unwound(way)[[0, -1]], steps)))
        is_end = poses.extents(rows).least_y_mm >= self._delivered_mm
        if not is_end[ends[1]]:  # a part of a way: where it goes on is given
            is_end[:], is_end[ends[1]] = False, True
            worths[ends[1]] = CLIP_MM
        worths[ends[0]] = CLIP_MM
        kept = np.flatnonzero(np.isfinite(worths))
        values, is_end = np.floor(PER_MM * worths[kept]).astype(np.int64), is_end[kept]
        beside = kernels.neighbours(keys[kept], STRIDES)
        start = int(np.searchsorted(kept, ends[0]))
        width = kernels.widest_among(beside, values, start, is_end)
        if width == CLOSED:
            return CLOSED_MM, NO_WAY
        lengths = np.hypot(*(_BENDS[:, :2] * steps[:2]).T)
        lengths += reach_mm * np.abs(_BENDS[:, 2]) * steps[2]
        shy = np.clip(1.0 - (values - width) / (PER_MM * _SHY_MM), 0.0, 1.0)
        dear = 1.0 + 2.0 * shy + _DEAR_PER_MM * shorts[kept]
        costs = np.where(values >= width, dear, np.inf)
        nodes = kept[kernels.shortest_among(beside, costs, lengths, start, is_end)]
        return width / PER_MM, places_of(keys[nodes]) * steps

    @property
    def _delivered_mm(self) -> float:
        return self.look.ground.room.delivered_y_mm

    def _measured(self, stage: Stage) -> MeasuredPoses:
        """Poses of a stage's lattice."""
        key = stage.part, stage.is_close
        if key not in self._poses:
            look = self.look if stage.is_close else self.rough
            self._poses[key] = MeasuredPoses(look, stage.part * self.steps)
        return self._poses[key]


def _narrow(worths: NDArray[np.float64]) -> list[tuple[int, int]]:
    """First and last pose of each part whose edges are shut, or hardly worth more than any."""
    worth = worths[worths >= LEAST_WORTH_MM].min(initial=np.inf)
    narrow = worths < worth + _ROOMY_MM
    wide = np.convolve(narrow, np.ones(2 * _BESIDE + 1), "same") > 0.0
    steps = np.flatnonzero(np.diff(np.concatenate(([False], wide, [False]))))
    return [(int(a), int(b)) for a, b in zip(steps[::2], steps[1::2], strict=True)]


def straightened(look: CloserLook, way: Way, asked: Asked) -> Way:
    """The way with parts made straight wherever that costs nothing.

    Parameters
    ----------
    look : CloserLook
        Judges.
    way : (n, 3) float64
        Poses.
    asked : Asked
        What stays, how strictly.

    Returns
    -------
    (m, 3) float64
        Some of the poses.
    """
    names, margin = asked.names, asked.margin
    worths = look.worths(way, names, margin)
    kept, todo = [0], [(0, len(way) - 1)]
    while todo:
        a, b = todo.pop()
        least = max(float(worths[a:b].min()), LEAST_WORTH_MM)  # never through what is shut
        if b - a == 1 or (
            look.may_be_worth(way[[a, b]], names, margin, least)
            and look.worths(way[[a, b]], names, margin)[0] >= least
        ):
            kept.append(b)
        else:
            todo += [((a + b) // 2, b), (a, (a + b) // 2)]
    return way[kept]
