"""Each vertebra's own directions and the walls of its body.

A frame has +x to the patient's left, +y to the back and +z to the head of that vertebra, its
origin at the centroid of the body. The diseased vertebra's frame comes from its neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from vertebloc.anatomy.model import CanalSpline, Vertebra
from vertebloc.anatomy.outlines import mask_points
from vertebloc.anatomy.rays import first_entry_mm, first_exit_mm
from vertebloc.anatomy.separation import BodyProfile, find_forward
from vertebloc.errors import InputError
from vertebloc.space.frames import Frame
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points, Transform, rigid_frame

_FARTHEST_WALL_MM = 25.0  #: from the canal's middle; a wall further off has been destroyed
_USUAL_WALL_MM = 8.0  #: taken for a first look where the wall has been destroyed
_WIDEST_MM = 30.0  #: half the width of the widest body, with room
_REACH_MM = 45.0  #: from a body's middle to any of its walls
_SIDE_MM = 4.0  #: what lies further beside a side wall is a transverse process
_SEEN = 0.5  #: share of rays that must meet a wall for it to count as measured
_FEWEST_BODY_VOXELS = 50

_WALLS = (
    "posterior_wall_mm",
    "anterior_wall_mm",
    "upper_endplate_mm",
    "lower_endplate_mm",
    "left_wall_mm",
    "right_wall_mm",
)


@dataclass(frozen=True, slots=True, eq=False)
class _Body:
    """The part of a vertebra in front of the canal, and the directions found with it."""

    points: Points
    lps_from_vertebra: Transform
    s_mm: float


def find_own_frame(
    bone: Volume, canal: CanalSpline, around: BodyProfile | None = None
) -> Vertebra:
    """Frame and walls of one vertebra from its own bone.

    Parameters
    ----------
    bone : Volume
        Mask of the vertebra without stray islands.
    canal : CanalSpline
        Middle of the canal.
    around : BodyProfile or None
        Profile of all bone in view, for a first idea of the front; None = from this bone alone,
        which may fail where a transverse process is as stout as the body (T1).

    Returns
    -------
    Vertebra
        Without a level.

    Raises
    ------
    InputError
        If no body is found in front of the canal, one of its walls is not met by rays, or
        its size is no vertebra's.

    Notes
    -----
    +z runs along the canal at the body's height, -y from the canal to the body's centroid,
    across +z. The body is what lies in front of the posterior wall; the wall is where rays
    from the canal forward first enter bone (median of 45 rays).
    """
    body = _find_body(bone, canal, around)
    walls = _measure_walls((bone,), body.lps_from_vertebra, canal, body.s_mm)
    lost = [name for name, value in walls.items() if not np.isfinite(value)]
    if lost:
        raise InputError(f"the body's {lost[0][:-3].replace('_', ' ')} cannot be found")
    _refuse_odd_size(walls)
    return Vertebra(
        level=None,
        lps_from_vertebra=body.lps_from_vertebra,
        canal_s_mm=body.s_mm,
        frame_from_neighbours=False,
        own_frame_differs_deg=0.0,
        **walls,
    )


def _refuse_odd_size(walls: dict[str, float]) -> None:
    """Refuse what cannot be a body: a stub at the edge, or a transverse process."""
    for name, low_wall, high_wall, least, most in (
        ("high", "lower_endplate_mm", "upper_endplate_mm", 6.0, 50.0),
        ("wide", "right_wall_mm", "left_wall_mm", 12.0, 80.0),
        ("deep", "anterior_wall_mm", "posterior_wall_mm", 8.0, 60.0),
    ):
        size = walls[high_wall] - walls[low_wall]
        if not least <= size <= most:
            raise InputError(f"a body {size:.0f} mm {name} is no vertebra's")


def _find_body(bone: Volume, canal: CanalSpline, around: BodyProfile | None) -> _Body:
    """Body, frame and place along the canal, by turns until they agree."""
    points = mask_points(bone)
    if len(points) < _FEWEST_BODY_VOXELS:
        raise InputError(f"a vertebra of {len(points)} voxels is too small to have a body")
    s_of = canal.nearest_s_mm(points[:: max(1, len(points) // 4000)])
    low, high = np.percentile(s_of, [10.0, 60.0])  # the arch hangs down, the body does not
    s = np.linspace(low, max(high, low + 2.0), 12)
    if around is None:
        forward = find_forward((bone,), canal, s, window_mm=200.0).mean(axis=0)
    else:
        near = np.stack([np.interp(s, around.s_mm, f) for f in around.forward.T], axis=1)
        forward = near.mean(axis=0)
    s_mm = float(np.median(s))
    for _ in range(4):
        frame = _frame_at(canal, s_mm, forward)
        there = _is_in_body(bone, frame, canal, s_mm, points)
        if np.count_nonzero(there) < _FEWEST_BODY_VOXELS:
            raise InputError("no body is found in front of the canal")
        centroid = points[there].mean(axis=0)
        s_mm = float(canal.nearest_s_mm(centroid)[0])
        forward = centroid - canal.at(s_mm)[0]
    axes = _frame_at(canal, s_mm, forward).matrix[:3, :3].T
    return _Body(points[there], rigid_frame(centroid, axes, source=Frame.VERTEBRA), s_mm)


def _frame_at(canal: CanalSpline, s_mm: float, forward: NDArray[np.float64]) -> Transform:
    """Right-handed frame on the canal: +z along it to the head, -y nearest to ``forward``."""
    z = canal.tangent(s_mm)[0]
    y = -(forward - (forward @ z) * z)
    length = float(np.linalg.norm(y))
    if length < 1e-3:
        raise InputError("the body lies on the canal's line: check the canal's outline")
    y = y / length
    return rigid_frame(canal.at(s_mm)[0], np.stack([np.cross(y, z), y, z]), source=Frame.VERTEBRA)


def _posterior_wall(bone: Volume, frame: Transform, canal: CanalSpline, s_mm: float) -> float:
    """How far in front of the canal's middle the body begins; NaN if few rays meet it."""
    starts = _in_the_canal(frame, canal, s_mm)
    return _median_met(first_entry_mm((bone,), starts, -frame.axis(1), _FARTHEST_WALL_MM))


def _is_in_body(
    bone: Volume, frame: Transform, canal: CanalSpline, s_mm: float, points: Points
) -> NDArray[np.bool_]:
    """Which points lie in front of the posterior wall and between the side walls.

    The side walls matter: transverse processes of T1 and C7 reach in front of the wall and
    would turn the frame towards the larger one.
    """
    wall = _posterior_wall(bone, frame, canal, s_mm)
    wall = wall if np.isfinite(wall) else _USUAL_WALL_MM
    local = frame.inverse.points(points)
    middle = _lattice(None, -wall - np.linspace(8.0, 14.0, 4), np.linspace(-4.0, 4.0, 5))
    sides = [
        _median_met(first_exit_mm((bone,), frame.points(middle), sign * frame.axis(0), _WIDEST_MM))
        for sign in (1, -1)
    ]
    left, right = [side + 2.0 if np.isfinite(side) else _WIDEST_MM for side in sides]
    return np.asarray((local[:, 1] < -wall) & (local[:, 0] < left) & (local[:, 0] > -right))


def _in_the_canal(frame: Transform, canal: CanalSpline, s_mm: float) -> Points:
    """Starts of 45 rays: 10 mm of the canal's middle line and 4 mm to either side of it."""
    along = canal.at(s_mm + np.linspace(-5.0, 5.0, 9))[:, None]
    return (along + np.linspace(-4.0, 4.0, 5)[:, None] * frame.axis(0)).reshape(-1, 3)


def _median_met(ways: NDArray[np.float64]) -> float:
    """Median of the rays that met something; NaN if fewer than half did."""
    met = np.isfinite(ways)
    return float(np.median(ways[met])) if met.mean() >= _SEEN else float("nan")


def _measure_walls(
    masks: tuple[Volume, ...], lps_from_vertebra: Transform, canal: CanalSpline, s_mm: float
) -> dict[str, float]:
    """The six walls of a body in its frame, mm; NaN where too few rays meet one."""
    low, middle = np.linspace(-6.0, 6.0, 5), np.linspace(-4.0, 4.0, 5)
    frame = lps_from_vertebra

    def look(starts: Points, axis: int, sign: int) -> float:
        way = first_exit_mm(masks, frame.points(starts), sign * frame.axis(axis), _REACH_MM)
        return sign * _median_met(way)

    plate = _lattice(low, low, None)
    front = _lattice(low, None, middle)
    side = _lattice(None, low, middle)
    start = _in_the_canal(frame, canal, s_mm)
    way = first_entry_mm(masks, start, -frame.axis(1), _FARTHEST_WALL_MM)
    return {
        "posterior_wall_mm": _median_met(frame.inverse.points(start)[:, 1] - way),
        "anterior_wall_mm": look(front, 1, -1),
        "upper_endplate_mm": look(plate, 2, 1),
        "lower_endplate_mm": look(plate, 2, -1),
        "left_wall_mm": look(side, 0, 1),
        "right_wall_mm": look(side, 0, -1),
    }


def _lattice(
    x: NDArray[np.float64] | None, y: NDArray[np.float64] | None, z: NDArray[np.float64] | None
) -> Points:
    """Points of a flat lattice; None stands for 0."""
    zero = np.zeros(1)
    axes = [zero if a is None else a for a in (x, y, z)]
    return np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)


def interpolate_frame(
    own: Vertebra | None, above: Vertebra, below: Vertebra, canal: CanalSpline
) -> Vertebra:
    """The diseased vertebra with its frame interpolated from its neighbours along the canal.

    Parameters
    ----------
    own : Vertebra or None
        What was found from the diseased bone itself, for the cross-check; None if nothing was.
    above, below : Vertebra
        Its neighbours towards the head and the feet.
    canal : CanalSpline
        Middle of the canal.

    Returns
    -------
    Vertebra
        Walls are the neighbours' means until ``measure_diseased_walls`` has looked.

    Notes
    -----
    Height: half way between the endplates that face it. Directions: the neighbours'
    rotations, interpolated by the length of canal (slerp). Origin: the neighbours' mean
    offset from the canal in their own frames, taken into the interpolated frame.
    """
    facing = [
        above.lps_from_vertebra.points([0.0, 0.0, above.lower_endplate_mm]),
        below.lps_from_vertebra.points([0.0, 0.0, below.upper_endplate_mm]),
    ]
    s_mm = float(np.mean(canal.nearest_s_mm(np.concatenate(facing))))
    share = (s_mm - above.canal_s_mm) / (below.canal_s_mm - above.canal_s_mm)
    turns = [v.lps_from_vertebra.matrix[:3, :3] for v in (above, below)]
    first = Rotation.from_matrix(turns[0])
    between = first * Rotation.from_rotvec(
        share * (first.inv() * Rotation.from_matrix(turns[1])).as_rotvec()
    )
    offsets = [
        v.lps_from_vertebra.inverse.points(canal.at(v.canal_s_mm))[0] for v in (above, below)
    ]
    offset = (1.0 - share) * offsets[0] + share * offsets[1]
    axes = between.as_matrix()
    origin = canal.at(s_mm)[0] - axes @ offset
    walls: dict[str, Any] = {
        n: (1 - share) * getattr(above, n) + share * getattr(below, n) for n in _WALLS
    }
    differs = None
    if own is not None:
        turned = Rotation.from_matrix(own.lps_from_vertebra.matrix[:3, :3])
        differs = _angle_between_deg(turned, between)
    return Vertebra(
        level=own.level if own is not None else None,
        lps_from_vertebra=rigid_frame(origin, axes.T, source=Frame.VERTEBRA),
        canal_s_mm=s_mm,
        frame_from_neighbours=True,
        own_frame_differs_deg=differs,
        **walls,
    )


def _with_walls(vertebra: Vertebra, walls: dict[str, float]) -> Vertebra:
    """The vertebra with some of its walls put elsewhere."""
    changed: dict[str, Any] = dict(walls)
    return replace(vertebra, **changed)


def _angle_between_deg(first: Rotation, second: Rotation) -> float:
    """Angle of the turn that takes one orientation into the other."""
    return float(np.degrees((first.inv() * second).magnitude()))


def measure_diseased_walls(
    expected: Vertebra, bone: Volume, tumour: Volume | None, canal: CanalSpline
) -> Vertebra:
    """Walls of the diseased body in its interpolated frame.

    Parameters
    ----------
    expected : Vertebra
        From ``interpolate_frame``.
    bone : Volume
        The diseased vertebra's bone.
    tumour : Volume or None
        Tumour within the expected walls counts as body, so that a destroyed wall is found
        where it was; tumour outside does not, so that a mass beside the body is no wall.
    canal : CanalSpline
        Middle of the canal.

    Returns
    -------
    Vertebra
        A wall that rays do not meet keeps the neighbours' mean.
    """
    masks: tuple[Volume, ...] = (bone,)
    if tumour is not None:
        local = expected.lps_from_vertebra.inverse.points(mask_points(tumour))
        low = [expected.right_wall_mm, expected.anterior_wall_mm, expected.lower_endplate_mm]
        high = [expected.left_wall_mm, expected.posterior_wall_mm, expected.upper_endplate_mm]
        kept = np.zeros(tumour.values.shape, dtype=bool)
        kept[tumour.values.astype(bool)] = np.all((local >= low) & (local <= high), axis=1)
        masks = (bone, Volume(tumour.grid, kept))
    walls = _measure_walls(masks, expected.lps_from_vertebra, canal, expected.canal_s_mm)
    return _with_walls(expected, {n: v for n, v in walls.items() if np.isfinite(v)})


def split_body_and_arch(bone: Volume, vertebra: Vertebra) -> tuple[Volume, Volume]:
    """Body and arch of a vertebra, split at the posterior wall.

    Parameters
    ----------
    bone : Volume
        Mask of the vertebra.
    vertebra : Vertebra
        Its frame and walls.

    Returns
    -------
    tuple of Volume
        Body (in front of the wall) and arch (pedicles and all behind), on the mask's grid.

    Notes
    -----
    The wall is the plane y = ``posterior_wall_mm`` of the frame: the corners of a body
    whose back is hollow go to the arch, by 1 to 3 mm. Transverse processes that reach in
    front of it (beside the side walls, in the back third of the body) go to the arch.
    """
    inside = bone.values.astype(bool)
    x, y, _ = vertebra.lps_from_vertebra.inverse.points(mask_points(bone)).T
    third = (vertebra.posterior_wall_mm - vertebra.anterior_wall_mm) / 3.0
    process = (x > vertebra.left_wall_mm + _SIDE_MM) | (x < vertebra.right_wall_mm - _SIDE_MM)
    process &= y > vertebra.posterior_wall_mm - third
    in_front = np.zeros(inside.shape, dtype=bool)
    in_front[inside] = (y < vertebra.posterior_wall_mm) & ~process
    return Volume(bone.grid, in_front), Volume(bone.grid, inside & ~in_front)
