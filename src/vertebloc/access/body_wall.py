"""The way of a finger round a body, and what touches it, in one plane."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, cKDTree

from vertebloc.access.front_model import StationGround, WallWay
from vertebloc.errors import NoSolutionError
from vertebloc.space.polygons import PlanarFace

Flat = NDArray[np.float64]

_STEP_MM = 0.25  #: between the points that outlines are followed in


def flat_loops(face: PlanarFace, ground: StationGround) -> tuple[Flat, ...]:
    """Loops of a face in the station's own axes.

    Parameters
    ----------
    face : PlanarFace
        In the station's plane.
    ground : StationGround
        Its origin and axes.

    Returns
    -------
    tuple of (n, 2) float64, mm
        Outward to the side, forward.
    """
    return tuple(_flat(loop, ground) for loop in face.loops_lps())


def _flat(points: NDArray[np.float64], ground: StationGround) -> Flat:
    local = points - ground.origin
    return np.column_stack((local @ ground.outward, local @ ground.forward))


def wall_way(ground: StationGround, *, with_tumour: bool = True) -> WallWay:
    """Follow the wall from the rib bed to the front midline.

    Parameters
    ----------
    ground : StationGround
        Bone and tumour in the plane.
    with_tumour : bool
        Whether tumour is gone round as well, or bone only.

    Returns
    -------
    WallWay
        The taut line round bone and tumour together: hollows are bridged, osteophytes and tumour
        are gone round.

    Raises
    ------
    NoSolutionError
        If the plane misses the body.

    Notes
    -----
    Length on the convex hull. The hull of outlines that are larger by d everywhere is longer by d
    times the angle through which the way turns (Steiner), which is how the contour error enters.
    The rib bed is the hull's place nearest to the head of the rib; without a rib nearby, the
    corner between side and back wall.
    """
    loops = [*flat_loops(ground.bone, ground)]
    loops += flat_loops(ground.tumour, ground) if with_tumour else ()
    if not ground.bone.loops:
        raise NoSolutionError(
            f"the {ground.name} meets no bone on the {ground.side.value}",
            ("it must pass through a body or a disc",),
        )
    points = np.concatenate(loops)
    hull = points[ConvexHull(points).vertices]  # anticlockwise: from the side to the front
    ring = _dense(np.vstack((hull, hull[:1])))[:-1]
    start, said = _rib_bed(ring, ground)
    front = _front_midline(ring)
    way = _between(ring, start, front)
    steps = np.diff(way, axis=0)
    return WallWay(
        points=way,
        length_mm=float(np.linalg.norm(steps, axis=1).sum()),
        turn_rad=_turn(steps),
        from_rib=said,
    )


def _dense(line: Flat) -> Flat:
    """Points along a polyline, its corners among them."""
    parts = []
    for one, other in pairwise(line):
        count = max(1, int(np.ceil(np.linalg.norm(other - one) / _STEP_MM)))
        parts.append(one + (other - one) * (np.arange(count) / count)[:, None])
    parts.append(line[-1:])
    return np.concatenate(parts)


def _rib_bed(ring: Flat, ground: StationGround) -> tuple[int, str]:
    outside = np.where(ring[:, 0] > 0.0, 0.0, np.inf)
    for name, head in ground.rib_heads.items():
        at = _flat(np.asarray(head)[None], ground)[0]
        return int(np.argmin(np.linalg.norm(ring - at, axis=1) + outside)), f"bed of the {name}"
    corner = ring[:, 0] - np.abs(ring[:, 1])  # far out and near the back wall
    return int(np.argmax(corner - outside)), "corner of side and back wall, no rib nearby"


def _front_midline(ring: Flat) -> int:
    ahead = ring[:, 1] > ring[:, 1].mean()
    return int(np.argmin(np.abs(ring[:, 0]) + np.where(ahead, 0.0, np.inf)))


def _between(ring: Flat, start: int, front: int) -> Flat:
    """Along the ring in its own sense, which runs from the side over the front."""
    count = (front - start) % len(ring)
    return ring[(start + np.arange(count + 1)) % len(ring)]


def _turn(steps: Flat) -> float:
    """Angle between the first and the last step of a convex way."""
    steps = steps[np.linalg.norm(steps, axis=1) > 1e-9]
    if len(steps) < 2:
        return 0.0
    angles = np.unwrap(np.arctan2(steps[:, 1], steps[:, 0]))
    return float(max(angles[-1] - angles[0], 0.0))


def distances_mm(points: Flat, loops: Sequence[Flat], *, closed: bool = True) -> Flat:
    """Distance of points to lines: 0 inside closed ones.

    Parameters
    ----------
    points : (n, 2) float64, mm
        Where.
    loops : sequence of (m, 2) float64, mm
        Closed loops, or open lines.
    closed : bool
        Whether they enclose an area, whose inside counts as touched.

    Returns
    -------
    (n,) float64, mm
        Infinite if there is no loop.
    """
    least = np.full(len(points), np.inf)
    inside = np.zeros(len(points), dtype=np.bool_)
    for loop in loops:
        line = _dense(np.vstack((loop, loop[:1]))) if closed else _dense(loop)
        near = np.asarray(cKDTree(line).query(points)[1])
        for begin, end in ((near - 1, near), (near, near + 1)):
            if closed:
                ends = line[begin % len(line)], line[end % len(line)]
            else:
                ends = line[np.maximum(begin, 0)], line[np.minimum(end, len(line) - 1)]
            least = np.minimum(least, _to_segments(points, *ends))
        if closed:
            inside ^= _inside(points, loop, np.roll(loop, -1, axis=0))
    return np.where(inside, 0.0, least)


def _to_segments(points: Flat, begins: Flat, ends: Flat) -> Flat:
    """Distance of each point to its own segment."""
    along = ends - begins
    length = np.maximum((along**2).sum(axis=1), 1e-18)
    share = np.clip(((points - begins) * along).sum(axis=1) / length, 0.0, 1.0)
    return np.asarray(np.linalg.norm(points - begins - share[:, None] * along, axis=1))


def _inside(points: Flat, begins: Flat, ends: Flat) -> NDArray[np.bool_]:
    """Even-odd rule against one loop."""
    y = points[:, 1][:, None]
    crosses = (begins[:, 1] > y) != (ends[:, 1] > y)
    rise = np.where(ends[:, 1] == begins[:, 1], 1.0, ends[:, 1] - begins[:, 1])
    x = begins[:, 0] + (y - begins[:, 1]) / rise * (ends[:, 0] - begins[:, 0])
    hits = np.count_nonzero(crosses & (points[:, 0][:, None] < x), axis=1)
    return np.asarray(hits % 2 == 1)


def outline_points(loop: Flat) -> Flat:
    """Points along a closed loop, close together.

    Parameters
    ----------
    loop : (n, 2) float64, mm
        Its corners.

    Returns
    -------
    (m, 2) float64, mm
        In order.
    """
    return _dense(np.vstack((loop, loop[:1])))[:-1]


def contact_deg(outline: Flat, distance_mm: Flat, within_mm: float) -> float:
    """How much of an outline lies near something, as an angle about its own middle.

    Parameters
    ----------
    outline : (n, 2) float64, mm
        Points round a structure's outline, in order.
    distance_mm : (n,) float64, mm
        Of each to the other thing.
    within_mm : float, mm
        What counts as near.

    Returns
    -------
    float, deg
        0 to 360. For a round vessel of radius r at a gap g before a flat wall it is
        2 arccos(1 - (within - g) / r).
    """
    to = outline - _centroid(outline)
    angle = np.arctan2(to[:, 1], to[:, 0])
    step = np.abs((np.roll(angle, -1) - angle + np.pi) % (2.0 * np.pi) - np.pi)
    near = (distance_mm <= within_mm).astype(np.float64)
    share = 0.5 * (near + np.roll(near, -1))
    return float(min(np.degrees((step * share).sum()), 360.0))


def _centroid(outline: Flat) -> Flat:
    ahead = np.roll(outline, -1, axis=0)
    cross = outline[:, 0] * ahead[:, 1] - ahead[:, 0] * outline[:, 1]
    area = cross.sum()
    if abs(area) < 1e-9:
        return np.asarray(outline.mean(axis=0))
    return np.asarray(((outline + ahead) * cross[:, None]).sum(axis=0) / (3.0 * area))
