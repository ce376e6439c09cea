"""A way out as it is played: poses at even steps, and where the piece comes nearest the sac."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from vertebloc.way_out.clearances import CLIP_MM
from vertebloc.way_out.model import Path, Room, WayOutSettings
from vertebloc.way_out.poses import Tilt, moves_of
from vertebloc.way_out.rules import demanded_mm
from vertebloc.way_out.samples import sample_surface, thinned

#: Poses are shown after so much movement of the piece's farthest point.
EVERY_MM = 1.0
_NEAR_COUNTS = 4.0  #: way beside the sac tells so much more than way far from it
_SPACING_MM = 1.0  #: of the points among which the nearest place is looked for
_THIN_MM = 3.0  #: of those that are tried first


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Played:
    """Poses of a way out, from the seat to delivery."""

    moves: NDArray[np.float64]  #: (n, 3, 4) from the piece's seat into the frame of travel
    poses: NDArray[np.float64]  #: (n, 3) x, y (mm), turn (radians)
    tilts: NDArray[np.float64]  #: (n, 3) about x, about y (degrees), lift (mm)
    along_mm: NDArray[np.float64]  #: (n,) way of the piece's farthest point so far
    gone_mm: NDArray[np.float64]  #: (n,) displacement from the seat
    clearance_mm: NDArray[np.float64]  #: (n,) to the sac, as the search measured it
    demanded_mm: NDArray[np.float64]  #: (n,) what is wanted there
    on_piece: NDArray[np.float64]  #: (n, 3) place of the piece nearest the sac, frame of travel
    on_sac: NDArray[np.float64]  #: (n, 3) place of the sac nearest the piece
    narrowest: int  #: index of the pose that decides


def play(path: Path, room: Room, settings: WayOutSettings) -> Played:
    """Thin a path out to even steps, and find the nearest place at each.

    Parameters
    ----------
    path : Path
        From a search.
    room : Room
        Piece and sac.
    settings : WayOutSettings
        What is wanted.

    Returns
    -------
    Played
        First, last and narrowest pose are always among them. Clearances are the search's own;
        the nearest place is looked for among points 1 mm apart, so that it shows where, not how
        much.
    """
    steps = _steps(path, room)
    along = np.concatenate(([0.0], np.cumsum(steps)))
    every = np.unique(np.floor(along / EVERY_MM), return_index=True)[1]
    kept = np.array(sorted({*every.tolist(), path.narrowest, len(path.poses) - 1}))
    moves = np.concatenate([_move(path.poses[i], path.tilts[i]) for i in kept])
    on_piece, on_sac = _nearest(room, moves)
    return Played(
        moves=moves,
        poses=path.poses[kept],
        tilts=path.tilts[kept],
        along_mm=along[kept],
        gone_mm=path.gone_mm[kept],
        clearance_mm=path.clearance_mm[kept],
        demanded_mm=demanded_mm(
            path.gone_mm[kept],
            at_rest_mm=float(path.clearance_mm[0]),
            target_mm=settings.least_mm,
            settings=settings,
        ),
        on_piece=on_piece,
        on_sac=on_sac,
        narrowest=int(np.flatnonzero(kept == path.narrowest)[0]),
    )


def six_moments(played: Played) -> tuple[int, ...]:
    """Six moments that tell a way out: at rest, outside, the narrowest, and three between.

    Parameters
    ----------
    played : Played
        The way.

    Returns
    -------
    tuple of int
        Indices in order, without repeats; fewer if there are fewer poses. Where piece and sac
        are near, moments stand closer together.
    """
    near = played.clearance_mm[1:] < CLIP_MM
    steps = np.diff(played.along_mm) * np.where(near, _NEAR_COUNTS, 1.0)
    told = np.concatenate(([0.0], np.cumsum(steps)))
    chosen = [int(np.argmin(np.abs(told - at))) for at in np.linspace(0.0, told[-1], 6)]
    nearest = min(range(1, 5), key=lambda k: abs(chosen[k] - played.narrowest))
    if played.narrowest not in (chosen[0], chosen[-1]):
        chosen[nearest] = played.narrowest
    return tuple(sorted(set(chosen)))


def _move(pose: NDArray[np.float64], tilt: NDArray[np.float64]) -> NDArray[np.float64]:
    leaned = Tilt(about_x_deg=float(tilt[0]), about_y_deg=float(tilt[1]), lift_mm=float(tilt[2]))
    return moves_of(pose[None], leaned)


def _steps(path: Path, room: Room) -> NDArray[np.float64]:
    """How far the piece's farthest point moves at most from pose to pose.

    A tilted piece's points lie as far from the axis as from its middle at most; turns about joint
    axes that differ by a vector differ by no more than its length.
    """
    leaned = np.diff(path.tilts, axis=0)
    free = 3 if np.any(path.tilts) else 2
    reach = float(np.linalg.norm(room.piece.vertices[:, :free], axis=1).max())
    change = np.diff(path.poses, axis=0)
    turn = np.abs((change[:, 2] + np.pi) % (2.0 * np.pi) - np.pi)
    turn = turn + np.radians(np.hypot(leaned[:, 0], leaned[:, 1]))
    return np.asarray(np.hypot(change[:, 0], change[:, 1]) + reach * turn + np.abs(leaned[:, 2]))


def _nearest(
    room: Room, moves: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Nearest points of piece and sac at each pose."""
    piece = sample_surface(room.piece, _SPACING_MM).points
    thin = thinned(piece, _THIN_MM)
    sac = sample_surface(room.sac, _SPACING_MM).points
    near = sac[np.abs(sac[:, 2]) < np.abs(piece[:, 2]).max() + 20.0]
    sac = near if len(near) else sac
    of_sac, of_piece = cKDTree(sac), cKDTree(piece)
    on_piece, on_sac = np.empty((len(moves), 3)), np.empty((len(moves), 3))
    for i, move in enumerate(moves):
        first = thin[int(np.argmin(np.asarray(of_sac.query(_moved(thin, move))[0])))]
        around = piece[of_piece.query_ball_point(first, 2.0 * _THIN_MM)]
        moved = _moved(around, move)
        away, which = map(np.asarray, of_sac.query(moved))
        at = int(np.argmin(away))
        on_piece[i], on_sac[i] = moved[at], sac[which[at]]
    return on_piece, on_sac


def _moved(points: NDArray[np.float64], move: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(points @ move[:, :3].T + move[:, 3])
