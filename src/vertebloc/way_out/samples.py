"""Points that stand for a surface, bundled in balls, and how far they may overstate a distance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from vertebloc.errors import InputError
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Points, as_points

_FEW = 10  #: points in the smallest balls, at most
_FAN = 8  #: balls in a larger one, at most


@dataclass(frozen=True, slots=True, eq=False)
class PointTree:
    """Points in balls of balls, as the kernels read them."""

    points: NDArray[np.float64]  #: (n, 4) mm: place, and what is added to its distance
    balls: NDArray[np.float64]
    """(k, 8): middle, radius, least addition, first and past-last child, 1 if these are points."""


def point_tree(points: Points, added_mm: NDArray[np.float64] | None = None) -> PointTree:
    """Bundle points in balls.

    Parameters
    ----------
    points : (n, 3) float64, mm
        At least one; in any one frame.
    added_mm : (n,) float64, mm, or None
        Added to each point's distance; None: nothing.

    Returns
    -------
    PointTree
        The same points in another order.

    Raises
    ------
    InputError
        If there is no point.
    """
    order, spans, kids = _bundled(points)
    p = as_points(points)
    added = np.zeros(len(p)) if added_mm is None else np.asarray(added_mm, dtype=np.float64)
    p, added = p[order], added[order]
    least = _over_spans(np.minimum, added, np.array(spans))
    return PointTree(np.column_stack((p, added)), np.column_stack((_balls(p, spans), least, kids)))


@dataclass(frozen=True, slots=True, eq=False)
class BallTree:
    """Points in balls of balls, which know how far from the axis of turning they lie."""

    balls: NDArray[np.float64]  #: (k, 6): middle, radius, least and most distance from the z axis
    kids: NDArray[np.int64]  #: (k, 3): first and one past the last; 1 if they are points, else 0
    points: NDArray[np.float64]  #: (n, 4): place, distance from the z axis


def ball_tree(points: Points) -> BallTree:
    """Bundle points in balls, with their distances from the axis of turning.

    Parameters
    ----------
    points : (n, 3) float64, mm
        At least one.

    Returns
    -------
    BallTree
        The same points in another order; the first ball holds all.

    Raises
    ------
    InputError
        If there is no point.
    """
    order, spans, kids = _bundled(points)
    p = as_points(points)[order]
    far = np.linalg.norm(p[:, :2], axis=1)
    ends = [_over_spans(f, far, np.array(spans)) for f in (np.minimum, np.maximum)]
    return BallTree(np.column_stack((_balls(p, spans), *ends)), kids, np.column_stack((p, far)))


def _bundled(
    points: Points,
) -> tuple[NDArray[np.int64], list[tuple[int, int]], NDArray[np.int64]]:
    """Order of points; spans of them, the first all; children of each, which follow it."""
    p = as_points(points)
    if not len(p):
        raise InputError("no points to measure distances from: is the surface empty?")
    order = np.arange(len(p))
    spans, kids, at = [(0, len(p))], [], 0
    while at < len(spans):
        first, last = spans[at]
        at += 1
        if last - first <= _FEW:
            kids.append((first, last, 1))
            continue
        part = order[first:last]
        own, groups = _halved(p[part], max(_FEW, -(-len(part) // _FAN)))
        order[first:last] = part[own]
        kids.append((len(spans), len(spans) + len(groups), 0))
        spans += [(first + a, first + b) for a, b in groups]
    return order, spans, np.array(kids)


def _balls(p: Points, spans: list[tuple[int, int]]) -> NDArray[np.float64]:
    """Middle and radius of a ball around each span of points."""
    ends = np.array(spans)
    low, high = (_over_spans(f, p, ends) for f in (np.minimum, np.maximum))
    middle = (low + high) / 2.0
    count = ends[:, 1] - ends[:, 0]
    first = np.concatenate(([0], np.cumsum(count)[:-1]))
    rows = np.arange(count.sum()) + np.repeat(ends[:, 0] - first, count)
    away = ((p[rows] - np.repeat(middle, count, axis=0)) ** 2).sum(axis=1)
    return np.column_stack((middle, np.sqrt(np.maximum.reduceat(away, first))))


def _over_spans(
    function: np.ufunc, values: NDArray[np.float64], ends: NDArray[np.int64]
) -> NDArray[np.float64]:
    """A least or a most over spans of rows; every other reduced part lies between two spans."""
    padded = np.concatenate((values, values[-1:]))
    return np.asarray(function.reduceat(padded, ends.ravel())[::2], dtype=np.float64)


def _first_of_each(cells: NDArray[np.int64]) -> NDArray[np.int64]:
    """Index of the first of all equal rows of whole numbers, in the order of the rows."""
    low = cells.min(axis=0)
    a, b, c = (cells - low).T
    wide = cells.max(axis=0) - low + 1
    return np.asarray(np.unique((a * wide[1] + b) * wide[2] + c, return_index=True)[1])


def _halved(points: Points, most: int) -> tuple[NDArray[np.int64], list[tuple[int, int]]]:
    """Order of points after halving along their longest side, and the groups they fall into."""
    done: list[NDArray[np.int64]] = []
    todo = [np.arange(len(points))]
    while todo:
        part = todo.pop()
        if len(part) <= most:
            done.append(part)
            continue
        p = points[part]
        axis = int(np.argmax(np.ptp(p, axis=0)))
        half = len(part) // 2
        split = np.argpartition(p[:, axis], half)
        todo += [part[split[:half]], part[split[half:]]]
    ends = np.cumsum([0] + [len(part) for part in done])
    return np.concatenate(done), list(zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True))


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """A surface by points: no point of it is farther than ``cover_mm`` from one on its facet."""

    points: Points
    cover_mm: float
    corners: Points  #: of its convex hull: the farthest points in every direction are among them


def between_samples(least_mm: NDArray[np.float64], cover_mm: float) -> NDArray[np.float64]:
    """What a facet's or an edge's distance is at least, if that of its samples is as given.

    Parameters
    ----------
    least_mm : (n,) float64, mm
        Least distance of the samples to an obstacle.
    cover_mm : float, mm
        No point of a facet or an edge is farther than this from a sample on it.

    Returns
    -------
    (n,) float64, mm
        Outside: the obstacle's nearest point stands square over the facet or edge that it is
        nearest to, and a sample lies in the same facet or edge within ``cover`` of its foot, so
        that d^2 >= c^2 - cover^2. Else c - cover: distances change no faster than places.
    """
    c = np.asarray(least_mm, dtype=np.float64)
    outside = np.sqrt(np.maximum(c * c - cover_mm**2, 0.0))
    return np.where(c > cover_mm, outside, c - cover_mm)


def sample_surface(surface: TriangleSurface, edge_mm: float) -> Samples:
    """Stand-in points of a closed surface.

    Parameters
    ----------
    surface : TriangleSurface
        Closed.
    edge_mm : float, mm
        Facets are halved at their longest edge until no edge is longer; a facet's points then
        lie within edge / sqrt(3) of one of its corners.

    Returns
    -------
    Samples
        The corners after halving.
    """
    corners = surface.corners
    found = [surface.vertices]
    while len(corners):
        ends = np.roll(corners, -1, axis=1)
        lengths = np.linalg.norm(ends - corners, axis=2)
        worst = lengths.argmax(axis=1)
        rows = np.arange(len(corners))
        long = lengths[rows, worst] > edge_mm
        corners, worst = corners[long], worst[long]
        rows = np.arange(len(corners))
        a, b, c = (corners[rows, (worst + k) % 3] for k in range(3))
        middle = (a + b) / 2.0
        found.append(middle)
        corners = np.concatenate((np.stack((a, middle, c), 1), np.stack((middle, b, c), 1)))
    joined = np.concatenate(found).astype(np.float64)
    rounded = np.round(1000.0 * joined).astype(np.int64)
    points = rounded[_first_of_each(rounded)] / 1000.0
    return Samples(points, edge_mm / np.sqrt(3.0), hull_corners(points))


def thinned(points: Points, voxel_mm: float) -> Points:
    """One point of each voxel: enough where only a bound from above is wanted.

    Parameters
    ----------
    points : (n, 3) float64, mm
        Many.
    voxel_mm : float, mm
        Side of a voxel.

    Returns
    -------
    (m, 3) float64, mm
        Some of them.
    """
    first = _first_of_each(np.floor(points / voxel_mm).astype(np.int64))
    return points[np.sort(first)]


def hull_corners(points: Points) -> Points:
    """Corners of the convex hull of points.

    Parameters
    ----------
    points : (n, 3) float64, mm
        Not all in one plane.

    Returns
    -------
    (m, 3) float64, mm
        Those that are corners.
    """
    return np.asarray(points[ConvexHull(points).vertices])


def hull_corners_flat(points: Points) -> NDArray[np.float64]:
    """Corners of the convex hull of points seen along z.

    Parameters
    ----------
    points : (n, 3) float64, mm
        Not all in one line.

    Returns
    -------
    (m, 2) float64, mm
        x and y of those that are corners: moves in the plane move the farthest of all by most.
    """
    flat = np.asarray(points, dtype=np.float64)[:, :2]
    return np.ascontiguousarray(flat[ConvexHull(flat).vertices])
