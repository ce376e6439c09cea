"""Ribs from their head at the spine round the chest wall."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vertebloc.made_up.rods import draw_curve, make_flat_rod
from vertebloc.made_up.spine import PlacedVertebra
from vertebloc.made_up.trunk import on_chest_wall
from vertebloc.space.frames import Side
from vertebloc.space.solids import Solid, Union
from vertebloc.space.transforms import Points

_HALF_THICKNESS_MM = 3.4  #: with the two rods' distance: 6.8 mm thick, 12.2 mm high
_HALF_SPREAD_MM = 2.7
_JOINT_GAP_MM = 1.0  #: cartilage between rib and vertebra
_FALL = 0.42  #: how far a rib sinks for each mm along the chest wall
_WALL_MM = 6.0  #: from the inside of the chest to the middle of a rib
_ANGLE_DEG = 27.0  #: where a rib has reached the chest wall, round the side from the back
_LAST_ANGLE_DEG = {11: 74.0, 12: 44.0, 13: 40.0}  #: where floating ribs end; others go on
_OTHERS_LAST_ANGLE_DEG = 96.0
_NEAR = 14  #: points of a rib, from its head, that lie near the spine


def make_ribs(
    placed: PlacedVertebra, spine: Union, *, trunk_moved: Points | None = None, mirror: bool = True
) -> dict[Side, Solid]:
    """Both ribs of a vertebra, their heads 1 mm off the bone and disc they belong to.

    Parameters
    ----------
    placed : PlacedVertebra
        The vertebra that owns them.
    spine : Union
        Vertebrae and discs from which they must stay clear.
    trunk_moved : (3,) float64, mm, or None
        How far the chest lies from where it is in the lead patient.
    mirror : bool
        Whether the spine is symmetrical, so that the right rib mirrors the left one.

    Returns
    -------
    dict
        The left and the right rib; exact outside.
    """
    moved = np.zeros(3) if trunk_moved is None else trunk_moved
    p, radii, spread, up = _rod(placed, spine, 1.0, moved)
    left = make_flat_rod(p, radii, spread, up)
    if mirror:
        flip = np.array([-1.0, 1.0, 1.0])
        return {Side.LEFT: left, Side.RIGHT: make_flat_rod(p * flip, radii, spread, up * flip)}
    return {Side.LEFT: left, Side.RIGHT: make_flat_rod(*_rod(placed, spine, -1.0, moved))}


def _rod(
    placed: PlacedVertebra, spine: Union, side: float, moved: Points
) -> tuple[Points, NDArray[np.float64], NDArray[np.float64], Points]:
    """Points, radii, spread and height direction of one rib (+1 left, -1 right)."""
    p = draw_curve(_course(placed, side, moved), 4.0)
    radii = np.full(len(p), _HALF_THICKNESS_MM)
    radii[0] = 3.9  # the head is a little thicker than the neck
    spread = np.full(len(p), _HALF_SPREAD_MM)
    up = _across(p)
    p = _pushed_clear(p, spread[:, None] * up, radii + _JOINT_GAP_MM, spine)
    return p, radii, spread, up


def _course(placed: PlacedVertebra, side: float, moved: Points) -> Points:
    """Points a rib passes through: head, neck, knuckle, then the chest wall."""
    flip = np.array([side, 1.0, 1.0])
    head, knuckle = placed.at(placed.shape.points_of_left_rib() * flip)
    neck = 0.45 * head + 0.55 * knuckle - np.array([0.0, 1.5, 0.0])
    last = _LAST_ANGLE_DEG.get(placed.shape.level.number, _OTHERS_LAST_ANGLE_DEG)
    count = max(int((last - _ANGLE_DEG) / 12.0), 2)
    course = [head, neck, knuckle]
    z = float(knuckle[2] - moved[2])
    for angle in np.linspace(_ANGLE_DEG, last, count):
        level = on_chest_wall(float(angle), z, _WALL_MM) * flip + moved
        z -= _FALL * float(np.linalg.norm((level - course[-1])[:2]))
        course.append(on_chest_wall(float(angle), z, _WALL_MM) * flip + moved)
    return np.array(course)


def _across(points: Points) -> Points:
    """Unit vectors of a rib's height: upwards, across its course."""
    along = np.gradient(points, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    up = np.array([0.0, 0.0, 1.0]) - along[:, 2:] * along
    return np.asarray(up / np.linalg.norm(up, axis=1, keepdims=True))


def _pushed_clear(
    points: Points, spread: Points, room_mm: NDArray[np.float64], spine: Union
) -> Points:
    """Move points away from the spine until both rods along them have room, smoothly."""
    p = np.array(points)
    steps = 0.05 * np.concatenate((np.eye(3), -np.eye(3)))
    for _ in range(30):
        either = np.stack((p[:_NEAR] - spread[:_NEAR], p[:_NEAR] + spread[:_NEAR]))
        distance = spine.signed_distance_mm(either.reshape(-1, 3)).reshape(2, _NEAR)
        short = np.maximum(room_mm[:_NEAR] - distance.min(axis=0), 0.0)
        if short.max() < 0.02:
            break
        rod = either[np.argmin(distance, axis=0), np.arange(_NEAR)]
        around = spine.signed_distance_mm((rod + steps[:, None]).reshape(-1, 3)).reshape(6, -1)
        slope = (around[:3] - around[3:]).T
        slope[:, 2] *= 0.3  # rather sideways or forward than up or down
        slope /= np.maximum(np.linalg.norm(slope, axis=1, keepdims=True), 1e-9)
        p[:_NEAR] += short[:, None] * slope
        p[1:-1] += 0.08 * (0.5 * (p[:-2] + p[2:]) - p[1:-1])
    return p
