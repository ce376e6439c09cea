"""Poses of the piece: moves in a plane and turns about its normal, after a fixed tilt and lift."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.space.transforms import Points
from vertebloc.way_out import _kernels

_MANY = 4000  #: poses from which on threads bring more than they cost


@dataclass(frozen=True, slots=True, kw_only=True)
class Tilt:
    """A small motion before the move in the plane: turns about x and y, and a lift along z."""

    about_x_deg: float = 0.0
    about_y_deg: float = 0.0
    lift_mm: float = 0.0

    @property
    def matrix(self) -> NDArray[np.float64]:
        """The motion as a (4, 4) matrix about the origin: one turn about the joint axis."""
        turn = np.radians([self.about_x_deg, self.about_y_deg, 0.0])
        angle = float(np.linalg.norm(turn))
        matrix = np.eye(4)
        if angle > 0.0:
            x, y, z = turn / angle
            cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
            matrix[:3, :3] += np.sin(angle) * cross + (1.0 - np.cos(angle)) * cross @ cross
        matrix[2, 3] = self.lift_mm
        return matrix


#: The seat.
FLAT = Tilt()


@dataclass(frozen=True, slots=True, eq=False)
class PoseLattice:
    """Poses on a lattice; x, y in mm from the seat, turns all round in equal steps from 0."""

    x_mm: NDArray[np.float64]
    y_mm: NDArray[np.float64]
    turns: NDArray[np.float64]  #: radians, the first is 0

    @property
    def shape(self) -> tuple[int, int, int]:
        """How many x, y and turns."""
        return len(self.x_mm), len(self.y_mm), len(self.turns)

    @property
    def step_mm(self) -> float:
        """Distance between neighbours along x or y."""
        return float(self.x_mm[1] - self.x_mm[0])

    @property
    def step_rad(self) -> float:
        """Angle between neighbours."""
        return 2.0 * np.pi / len(self.turns)

    @property
    def seat(self) -> int:
        """Flat index of the pose at rest."""
        i, j = int(np.argmin(np.abs(self.x_mm))), int(np.argmin(np.abs(self.y_mm)))
        return (i * len(self.y_mm) + j) * len(self.turns)

    def poses(self, nodes: NDArray[np.int64] | None = None) -> NDArray[np.float64]:
        """x, y (mm) and turn (radians) of nodes by flat index, all if None; (n, 3)."""
        index = np.arange(np.prod(self.shape)) if nodes is None else np.asarray(nodes)
        a, b, c = np.unravel_index(index, self.shape)
        return np.column_stack((self.x_mm[a], self.y_mm[b], self.turns[c]))

    def covers_mm(self, reach_mm: float) -> float:
        """Largest displacement from a node to any pose of its cell, of points within a reach.

        Parameters
        ----------
        reach_mm : float, mm
            How far points lie from the axis of turning.

        Returns
        -------
        float, mm
            Half the diagonal of the cell, and half a step's turn at that reach.
        """
        return float(self.step_mm / np.sqrt(2.0) + reach_mm * self.step_rad / 2.0)


def make_lattice(
    x_mm: tuple[float, float], y_mm: tuple[float, float], step_mm: float, step_deg: float
) -> PoseLattice:
    """Lay out a lattice that has the seat among its nodes.

    Parameters
    ----------
    x_mm, y_mm : tuple of float, mm
        From where to where, the seat being 0.
    step_mm : float, mm
        Between neighbours.
    step_deg : float, degrees
        Between neighbours; made a little smaller until whole steps make a full turn.

    Returns
    -------
    PoseLattice
        At least as wide as asked.

    Raises
    ------
    InputError
        If a step is not positive or the seat lies outside.
    """
    if not (step_mm > 0.0 and 0.0 < step_deg <= 90.0):
        raise InputError(f"steps must be positive, got {step_mm} mm and {step_deg} degrees")
    if not (x_mm[0] < 0.0 < x_mm[1] and y_mm[0] < 0.0 < y_mm[1]):
        raise InputError(f"the seat (0, 0) must lie within x {x_mm} and y {y_mm}")
    axes = [
        step_mm * np.arange(np.floor(low / step_mm), np.ceil(high / step_mm) + 1)
        for low, high in (x_mm, y_mm)
    ]
    count = int(np.ceil(360.0 / step_deg - 1e-9))
    return PoseLattice(
        axes[0], axes[1], np.arange(count, dtype=np.float64) * (2.0 * np.pi / count)
    )


def moves_of(poses: NDArray[np.float64], tilt: Tilt = FLAT) -> NDArray[np.float64]:
    """Motions of poses, from the piece's frame into the frame of travel.

    Parameters
    ----------
    poses : (n, 3) float64
        x, y in mm and turn in radians.
    tilt : Tilt
        Applied before.

    Returns
    -------
    (n, 3, 4) float64
        Rotation and shift.
    """
    cos, sin = np.cos(poses[:, 2]), np.sin(poses[:, 2])
    moves = np.zeros((len(poses), 3, 4))
    moves[:, 0, 0], moves[:, 0, 1] = cos, -sin
    moves[:, 1, 0], moves[:, 1, 1] = sin, cos
    moves[:, 2, 2] = 1.0
    moves[:, 0, 3], moves[:, 1, 3] = poses[:, 0], poses[:, 1]
    if tilt == FLAT:
        return moves
    shift = moves[:, :, 3].copy()
    moves = moves[:, :, :3] @ tilt.matrix[:3]
    moves[:, :, 3] += shift
    return np.asarray(moves)


def moves_along(way: NDArray[np.float64]) -> NDArray[np.float64]:
    """Motions of poses that may each be tilted and lifted.

    Parameters
    ----------
    way : (n, 3) or (n, 6) float64
        x, y in mm and turn in radians; and, before that, a turn about a joint axis by its x and
        y parts (radians) and a lift (mm).

    Returns
    -------
    (n, 3, 4) float64
        Rotation and shift, from the piece's frame into the frame of travel.
    """
    moves = moves_of(way)
    if way.shape[1] == 3:
        return moves
    a, b = way[:, 3], way[:, 4]
    angle = np.hypot(a, b)
    safe = np.where(angle > 0.0, angle, 1.0)
    x, y = a / safe, b / safe
    cos, sin = np.cos(angle), np.sin(angle)
    tilt = np.empty((len(way), 3, 3))
    tilt[:, 0] = np.column_stack((cos + x * x * (1 - cos), x * y * (1 - cos), y * sin))
    tilt[:, 1] = np.column_stack((x * y * (1 - cos), cos + y * y * (1 - cos), -x * sin))
    tilt[:, 2] = np.column_stack((-y * sin, x * sin, cos))
    moves[:, :, :3] = moves[:, :, :3] @ tilt
    moves[:, 2, 3] += way[:, 5]
    return moves


def inverse_moves(moves: NDArray[np.float64]) -> NDArray[np.float64]:
    """Motions back.

    Parameters
    ----------
    moves : (n, 3, 4) float64
        Rigid motions.

    Returns
    -------
    (n, 3, 4) float64
        Their inverses.
    """
    back = np.empty_like(moves)
    back[:, :, :3] = np.swapaxes(moves[:, :, :3], 1, 2)
    back[:, :, 3] = -np.einsum("nij,nj->ni", back[:, :, :3], moves[:, :, 3])
    return back


@dataclass(frozen=True, slots=True, eq=False)
class Extents:
    """How far a moved body has gone and reaches."""

    gone_mm: NDArray[np.float64]  #: (n,) largest displacement of any of its points
    least_y_mm: NDArray[np.float64]  #: (n,) of any of its points
    least_x_mm: NDArray[np.float64]
    most_x_mm: NDArray[np.float64]


def extents(moves: NDArray[np.float64], corners: Points) -> Extents:
    """How far a body has gone and reaches at each pose.

    Parameters
    ----------
    moves : (n, 3, 4) float64
        Motions.
    corners : (m, 3) float64, mm
        Corners of the body's hull: a displacement is convex in the point, so that the largest
        one is at a corner.

    Returns
    -------
    Extents
        One a motion.
    """
    out = np.empty((4, len(moves)))
    many = len(moves) > _MANY
    measure = _kernels.measure_extents_of_many if many else _kernels.measure_extents
    measure(np.ascontiguousarray(moves), np.ascontiguousarray(corners), out)
    return Extents(*out)
