"""What cells of poses are measured against, laid out in rows for array loops."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vertebloc.space.fields import DistanceField
from vertebloc.way_out._kernels_cells import Stock
from vertebloc.way_out.clearances import CLIP_MM
from vertebloc.way_out.pose_map import LEAST_WORTH_MM, Ground, Margin
from vertebloc.way_out.poses import PoseLattice, make_lattice
from vertebloc.way_out.samples import BallTree, ball_tree, hull_corners_flat, thinned

#: The largest cells are so many times wider than the lattice of the map.
_WIDER = 4
#: One point in each voxel of these sizes bounds clearances from above: in large and small cells.
_APART_MM = (2.0, 1.0)


def first_cells(lattice: PoseLattice) -> PoseLattice:
    """The largest cells: as wide as several steps of a lattice, one around the seat.

    Parameters
    ----------
    lattice : PoseLattice
        Of the map.

    Returns
    -------
    PoseLattice
        Its nodes are the middles of the cells.
    """
    x, y = lattice.x_mm, lattice.y_mm
    return make_lattice(
        (float(x[0]), float(x[-1])),
        (float(y[0]), float(y[-1])),
        _WIDER * lattice.step_mm,
        min(90.0, _WIDER * float(np.degrees(lattice.step_rad))),
    )


class Shelf:
    """Fields and points of one ground, laid out once for all margins."""

    def __init__(self, ground: Ground, lattice: PoseLattice) -> None:
        """Lay out a ground.

        Parameters
        ----------
        ground : Ground
            Body and obstacles.
        lattice : PoseLattice
            From ``first_cells``.
        """
        soft = ground.soft_names[: 1 if ground.slack_mm else None]
        hard = [o.name for o in ground.room.obstacles if o.name not in ground.soft_names]
        self.ground, self.lattice, self.soft = ground, lattice, len(soft)
        self.names: tuple[str, ...] = (*soft, *hard)
        gauges = [ground.gauges[name] for name in self.names]
        self._fields: list[NDArray[np.float32]] = []
        self._first: dict[int, int] = {}
        self._trees: list[BallTree] = []
        self._balls = self._points = 0
        samples = ground.body.samples.points
        few, more = (self._tree(ball_tree(thinned(samples, mm))) for mm in _APART_MM)
        self.lattices = np.array([_row(gauge.field) for gauge in gauges])
        self.shapes = np.array([self._place(gauge.field) for gauge in gauges])
        self.moves = np.array([gauge.piece_moves for gauge in gauges])
        roots = []
        for gauge in gauges:
            if gauge.piece_moves:
                roots.append((few, more))
            elif gauge.radius_mm:
                roots.append((self._tree(ball_tree(gauge.tree.points[:, :3])),) * 2)
            else:
                all_ = gauge.tree.points[:, :3]
                a, b = (self._tree(ball_tree(thinned(all_, mm))) for mm in _APART_MM)
                roots.append((a, b))
        self.roots = np.array(roots)
        self.radii = np.array([gauge.radius_mm for gauge in gauges])
        self.fields = np.concatenate(self._fields)
        self.balls = np.concatenate([tree.balls for tree in self._trees])
        self.kids = np.concatenate([tree.kids for tree in self._trees])
        self.points = np.concatenate([tree.points for tree in self._trees])
        self.corners = hull_corners_flat(ground.body.samples.corners)

    def _tree(self, tree: BallTree) -> int:
        kids = tree.kids.copy()
        kids[:, :2] += np.where(kids[:, 2:] > 0, self._points, self._balls)
        self._trees.append(BallTree(tree.balls, kids, tree.points))
        first = self._balls
        self._balls += len(tree.balls)
        self._points += len(tree.points)
        return first

    def _place(self, field: DistanceField) -> tuple[int, int, int, int]:
        values = np.asarray(field.distances.values)
        if id(field) not in self._first:
            self._first[id(field)] = sum(len(one) for one in self._fields)
            self._fields.append(np.ascontiguousarray(values, dtype=np.float32).ravel())
        ni, nj, nk = values.shape
        return self._first[id(field)], ni, nj, nk

    def stock(self, margin: Margin) -> Any:
        """All of it, with the rules of an upper margin.

        Parameters
        ----------
        margin : Margin
            How far obstacles are grown.

        Returns
        -------
        Stock
            For the array loops.
        """
        ground, room, settings = self.ground, self.ground.room, self.ground.settings
        corners = self.corners
        return Stock(
            fields=self.fields,
            lattices=self.lattices,
            shapes=self.shapes,
            moves=self.moves,
            roots=self.roots,
            balls=self.balls,
            kids=self.kids,
            points=self.points,
            rules=np.array([self._rules(g, margin) for g in range(len(self.names))]),
            corners=corners,
            room=np.array(
                [
                    *room.x_mm,
                    room.delivered_y_mm,
                    *room.sac_middle_mm,
                    settings.clear_after_mm,
                    ground.slack_mm,
                    settings.field_error_mm,
                    CLIP_MM,
                    self.lattice.x_mm[0],
                    self.lattice.y_mm[0],
                    float(np.linalg.norm(corners, axis=1).max()),
                ]
            ),
            steps=np.array([self.lattice.step_mm, self.lattice.step_mm, self.lattice.step_rad]),
            soft=self.soft,
        )

    def _rules(self, g: int, margin: Margin) -> tuple[float, ...]:
        name, settings = self.names[g], self.ground.settings
        is_soft = g < self.soft
        grown = margin.sac_grown_mm if is_soft else margin.grown_mm
        first = self.ground.rest_mm[name][0] - grown - settings.tolerance_mm
        target = np.inf if is_soft else -self.ground.press_mm(name)
        lowest = min(first, LEAST_WORTH_MM) + grown - 0.01
        return self.radii[g], min(first, target), target, grown, lowest


def _row(field: DistanceField) -> NDArray[np.float64]:
    _, index_from_mm, low, high = field.arrays
    return np.concatenate((index_from_mm[:3].ravel(), [low[3]], low[:3], high))
