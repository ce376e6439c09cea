"""A way looked at once more by an independent library: exact distances between meshes."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import fcl
import numpy as np
from numpy.typing import NDArray

from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Points
from vertebloc.way_out.clearances import CLIP_MM
from vertebloc.way_out.model import Obstacle, Path, Room, Substance
from vertebloc.way_out.pose_map import SAC
from vertebloc.way_out.poses import Tilt, moves_of

#: Ours may differ from exact distances by so much where nothing touches (asked of surfaces).
ALLOWED_MM = 0.25
_SEGMENT_MM = 2.0  #: capsules of a root are so long at most
#: Obstacles are told apart this far; farther off ours is a bound from below (their boxes'), mm
_TOLD_MM = 3.0
_EVERY_MM = 1.0  #: poses of a way that are checked: displacements apart

Measure = Callable[[str, NDArray[np.float64]], NDArray[np.float64]]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ExactCheck:
    """Exact distances along a way beside ours.

    Exact distances are of meshes, roots as capsules; 0 where they touch or overlap, however deep.
    """

    poses: NDArray[np.int64]  #: (n,) indices of the way's poses that were checked
    sac_mm: NDArray[np.float64]  #: (n,) exact distance to the sac
    ours_mm: NDArray[np.float64]  #: (n,) our clearance to the sac at the same poses
    most_above_mm: Mapping[str, float]  #: by obstacle: most by which ours lies above the exact one
    most_below_mm: Mapping[str, float]  #: and below it, where nothing touches
    distances_measured: int

    @property
    def agrees(self) -> bool:
        """Whether ours never differs by more than is allowed."""
        worst = (*self.most_above_mm.values(), *self.most_below_mm.values())
        return max(worst, default=0.0) <= ALLOWED_MM


def mesh_of(surface: TriangleSurface) -> Any:
    """Mesh of the independent library.

    Parameters
    ----------
    surface : TriangleSurface
        Closed.

    Returns
    -------
    fcl.BVHModel
        The same triangles.
    """
    mesh = fcl.BVHModel()
    mesh.beginModel(len(surface.vertices), len(surface.triangles))
    mesh.addSubModel(
        np.ascontiguousarray(surface.vertices), np.ascontiguousarray(surface.triangles)
    )
    mesh.endModel()
    return mesh


def capsules_of(line: Points, radius_mm: float) -> list[Any]:
    """Capsules around the pieces of a line.

    Parameters
    ----------
    line : (n, 3) float64, mm
        Points along it, close together.
    radius_mm : float, mm
        Around it.

    Returns
    -------
    list of fcl.CollisionObject
        One for each straight piece of about 2 mm.
    """
    step = np.linalg.norm(np.diff(line, axis=0), axis=1)
    along = np.concatenate(([0.0], np.cumsum(step)))
    first = np.unique(np.floor(along / _SEGMENT_MM), return_index=True)[1]
    ends = line[np.unique(np.concatenate((first, [len(line) - 1])))]
    found = []
    for a, b in itertools.pairwise(ends):
        length = float(np.linalg.norm(b - a))
        if length == 0.0:
            continue
        z = (b - a) / length
        x = np.cross(z, np.eye(3)[int(np.argmin(np.abs(z)))])
        x /= np.linalg.norm(x)
        turn = np.column_stack((x, np.cross(z, x), z))
        place = fcl.Transform(turn, (a + b) / 2.0)
        found.append(fcl.CollisionObject(fcl.Capsule(radius_mm, length), place))
    return found


def exact_distances(
    piece: Any, others: list[Any], moves: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Exact distance of a moved mesh to bodies.

    Parameters
    ----------
    piece : fcl.BVHModel
        What moves.
    others : list of fcl.CollisionObject
        Stay.
    moves : (n, 3, 4) float64
        Motions.

    Returns
    -------
    (n,) float64, mm
        To the nearest; 0 where they touch.
    """
    found = np.empty(len(moves))
    for q, move in enumerate(moves):
        body = fcl.CollisionObject(piece, fcl.Transform(move[:, :3], move[:, 3]))
        found[q] = min(
            fcl.distance(body, one, fcl.DistanceRequest(), fcl.DistanceResult()) for one in others
        )
    return np.maximum(found, 0.0)


def _bodies(obstacle: Obstacle) -> list[Any]:
    if obstacle.line is not None:
        return capsules_of(obstacle.line, obstacle.radius_mm)
    assert obstacle.surface is not None
    return [fcl.CollisionObject(mesh_of(obstacle.surface), fcl.Transform())]


def check_exactly(
    room: Room, path: Path, given_up: frozenset[str], measure: Measure, pause: Callable[[], None]
) -> ExactCheck:
    """Check a way pose by pose with exact distances of an independent library.

    Parameters
    ----------
    room : Room
        Piece and obstacles.
    path : Path
        The way.
    given_up : frozenset of str
        Obstacles that are not there any more.
    measure : callable
        Our clearance to an obstacle by its name (``sac``: the sac) at motions, mm.
    pause : callable
        Called between obstacles; may raise to stop.

    Returns
    -------
    ExactCheck
        Exact distances and ours.
    """
    far = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(path.gone_mm)))))
    every = np.unique(np.floor(far / _EVERY_MM), return_index=True)[1]
    poses = np.unique(np.concatenate((every, [path.narrowest, len(path.poses) - 1])))
    moves = np.concatenate(
        [
            moves_of(pose[None], Tilt(about_x_deg=t[0], about_y_deg=t[1], lift_mm=t[2]))
            for pose, t in zip(path.poses[poses], path.tilts[poses], strict=True)
        ]
    )
    piece = mesh_of(room.piece)
    bodies = {SAC: [fcl.CollisionObject(mesh_of(room.sac), fcl.Transform())]}
    for obstacle in room.obstacles:
        stays = obstacle.name not in given_up and obstacle.substance is not Substance.CROWDED
        if stays and not _is_part(obstacle, given_up):
            bodies[obstacle.name] = _bodies(obstacle)
    exact, above, below = {}, {}, {}
    for name, others in bodies.items():
        pause()
        ours = measure(name, moves)
        near = np.arange(len(moves)) if name == SAC else np.flatnonzero(ours < _TOLD_MM)
        exact[name] = exact_distances(piece, others, moves[near])
        if name == SAC:
            sac, ours_of_sac = exact[name], ours
        told = ours[near] < CLIP_MM
        over = (ours[near] - exact[name])[told]
        clear = (exact[name] - ours[near])[told & (exact[name] > 0.0)]
        above[name] = float(over.max(initial=0.0))
        below[name] = float(clear.max(initial=0.0))
    return ExactCheck(
        poses=poses,
        sac_mm=sac,
        ours_mm=ours_of_sac,
        most_above_mm=above,
        most_below_mm=below,
        distances_measured=sum(len(one) for one in exact.values()),
    )


def _is_part(obstacle: Obstacle, given_up: frozenset[str]) -> bool:
    """Whether all that it is part of stays too."""
    return obstacle.part_of is not None and obstacle.part_of not in given_up
