"""The most and the least that a clearance may be anywhere in cells of poses of one size."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from vertebloc.space.fields import DistanceField
from vertebloc.space.grids import Volume
from vertebloc.way_out.clearances import Gauge
from vertebloc.way_out.pose_map import Ground
from vertebloc.way_out.poses import PoseLattice
from vertebloc.way_out.samples import PointTree, point_tree

MOST_HALVINGS = 5  #: of a lattice's cell
#: In cells larger than this some of the piece's points do: each bounds from above.
_THIN_FROM_MM = 1.0


@dataclass(slots=True, eq=False)
class CellGauges:
    """Measures the most that a clearance may be anywhere in cells of one size."""

    ground: Ground
    shift_mm: float  #: from a cell's middle along x and y together
    turn: float  #: from a cell's middle, radians
    reach_mm: float
    _made: dict[tuple[str, float], tuple[Gauge, PointTree]] = field(default_factory=dict)
    _points: dict[float, PointTree] = field(default_factory=dict)
    _fields: dict[float, DistanceField] = field(default_factory=dict)

    @property
    def covers_mm(self) -> float:
        """Largest displacement of any point from a cell's middle to any pose of it."""
        return self.shift_mm + self.reach_mm * self.turn

    def most_mm(
        self, name: str, moves: NDArray[np.float64], range_mm: tuple[float, float]
    ) -> NDArray[np.float64]:
        """Most clearance that any pose of each cell may have; told apart within a range."""
        return self._bound(name, moves, range_mm, 1.0)

    def least_mm(
        self, name: str, moves: NDArray[np.float64], range_mm: tuple[float, float]
    ) -> NDArray[np.float64]:
        """Least clearance of any pose of each cell, as the points say: no more than a hint."""
        return self._bound(name, moves, range_mm, -1.0)

    def _bound(
        self,
        name: str,
        moves: NDArray[np.float64],
        range_mm: tuple[float, float],
        sign: float,
    ) -> NDArray[np.float64]:
        if (name, sign) not in self._made:
            self._made[name, sign] = self._make(self.ground.gauges[name], sign)
        gauge, tree = self._made[name, sign]
        far = sign * (self.shift_mm + self.ground.settings.field_error_mm)
        floor, clip = range_mm
        measured = gauge.measure(moves, tree, (floor - far, clip - far))
        return np.asarray(measured, dtype=np.float64) + far

    def _make(self, gauge: Gauge, sign: float) -> tuple[Gauge, PointTree]:
        """Each point of the piece is moved by a turn by its own distance from the axis only.

        Where the piece's own field is read, the same is added to the field: a place at a distance
        from the axis is passed by matter of the piece that moves as far.
        """
        turn = sign * self.turn
        if gauge.piece_moves:
            if sign not in self._points:
                body = self.ground.body
                tree = body.tree if self.covers_mm < _THIN_FROM_MM else body.thin_tree
                points = tree.points[:, :3]
                own = np.linalg.norm(points[:, :2], axis=1) * turn
                self._points[sign] = point_tree(points, own)
            return gauge, self._points[sign]
        if sign not in self._fields:
            self._fields[sign] = _raised(gauge.field, turn)
        tree = gauge.tree
        inner, outer = tree.inner.copy(), tree.outer.copy()
        inner[:, 3] *= 1.0 + self.turn  # the field now rises that much faster
        outer[:, 3] *= 1.0 + self.turn
        wide = PointTree(tree.points, outer, inner, tree.whole)
        return replace(gauge, field=self._fields[sign]), wide


def _raised(field_: DistanceField, turn: float) -> DistanceField:
    grid = field_.distances.grid
    axes = [grid.lps_from_ijk.matrix[a, 3] + grid.spacing_mm[a] * np.arange(n)
            for a, n in enumerate(grid.shape[:2])]  # fmt: skip
    far = np.hypot(axes[0][:, None], axes[1][None, :]) * turn
    values = (np.asarray(field_.distances.values) + far[:, :, None]).astype(np.float32)
    return DistanceField(Volume(grid, values), field_.solid_low_ijk, field_.solid_high_ijk)


def gauges_of(ground: Ground, lattice: PoseLattice) -> list[CellGauges]:
    """Gauges for cells of each size, the largest first; made once for all scenarios.

    Parameters
    ----------
    ground : Ground
        Body, obstacles.
    lattice : PoseLattice
        The first cells.

    Returns
    -------
    list of CellGauges
        One more than cells may be halved.
    """
    reach = float(np.linalg.norm(ground.body.samples.corners[:, :2], axis=1).max())
    shift, turn = lattice.step_mm / np.sqrt(2.0), lattice.step_rad / 2.0
    return [
        CellGauges(ground, shift * 0.5**level, turn * 0.5**level, reach)
        for level in range(MOST_HALVINGS + 1)
    ]
