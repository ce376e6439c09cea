"""Which points lie inside flat outlines, and the outlines of a flat mask."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

_AT_ONCE = 2_000_000  #: pairs of point and edge looked at together


def fill_polygons(
    rings: Sequence[NDArray[np.float64]], points: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Find which points lie inside an odd number of closed outlines.

    Parameters
    ----------
    rings : sequence of (n, 2) float64, mm
        Corners in order; the last is joined to the first.
    points : (m, 2) float64, mm
        Points of the same plane.

    Returns
    -------
    (m,) bool
        Inside or not; a point on an edge is either.

    Notes
    -----
    Counts edges that a ray from the point crosses. A line that runs there and back is crossed
    twice at the very same place, whichever way it runs, so it encloses nothing.
    """
    inside = np.zeros(len(points), dtype=bool)
    if not len(points):
        return inside
    order = np.argsort(points[:, 1], kind="stable")
    x, y = points[order].T
    crossings = np.zeros(len(points), dtype=np.int64)
    for ring in rings:
        _count_crossings(ring, x, y, crossings)
    inside[order] = crossings % 2 == 1
    return inside


def _count_crossings(
    ring: NDArray[np.float64],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    crossings: NDArray[np.int64],
) -> None:
    """Add how many edges lie to the right of each point; points come sorted by y.

    An edge can only be crossed by points between its ends: a run of the sorted points.
    """
    start, end = ring, np.roll(ring, -1, axis=0)
    swap = (start[:, 1] > end[:, 1])[:, None]
    below, above = np.where(swap, end, start), np.where(swap, start, end)
    rising = above[:, 1] > below[:, 1]
    below, above = below[rising], above[rising]
    slope = (above[:, 0] - below[:, 0]) / (above[:, 1] - below[:, 1])
    first = np.searchsorted(y, below[:, 1], side="left")
    count = np.searchsorted(y, above[:, 1], side="left") - first
    done = np.concatenate(([0], np.cumsum(count)))
    at = 0
    while at < len(below):
        to = max(at + 1, int(np.searchsorted(done, done[at] + _AT_ONCE, side="right")) - 1)
        edge = np.repeat(np.arange(at, to), count[at:to])
        point = first[edge] + np.arange(len(edge)) - (done[edge] - done[at])
        right = x[point] < below[edge, 0] + slope[edge] * (y[point] - below[edge, 1])
        crossings += np.bincount(point[right], minlength=len(crossings))
        at = to


def fill_pixels(rings: Sequence[NDArray[np.float64]], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Find which pixels' centres lie inside an odd number of closed outlines, row by row.

    Parameters
    ----------
    rings : sequence of (n, 2) float64, pixels
        Corners in order; pixel centres lie at whole numbers.
    shape : (int, int)
        Pixels along both axes.

    Returns
    -------
    (ni, nj) bool
        The same answer as ``fill_polygons`` at every centre, much sooner.
    """
    turns = np.zeros((shape[1], shape[0] + 1), dtype=np.int32)
    for ring in rings:
        start, end = ring, np.roll(ring, -1, axis=0)
        swap = (start[:, 1] > end[:, 1])[:, None]
        below, above = np.where(swap, end, start), np.where(swap, start, end)
        first = np.clip(np.ceil(below[:, 1]), 0, shape[1]).astype(np.int64)
        count = np.clip(np.ceil(above[:, 1]), 0, shape[1]).astype(np.int64) - first
        edge = np.repeat(np.arange(len(ring)), count)
        nth = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
        rows = first[edge] + nth
        rise = above[edge, 1] - below[edge, 1]
        share = (rows - below[edge, 1]) / rise
        x = below[edge, 0] + share * (above[edge, 0] - below[edge, 0])
        np.add.at(turns, (rows, np.clip(np.ceil(x), 0, shape[0]).astype(np.int64)), 1)
    # a pixel is inside if an odd number of crossings lies beyond it
    beyond = np.cumsum(turns[:, ::-1], axis=1)[:, ::-1][:, 1:]
    return np.asarray(beyond.T % 2 == 1)


def outline_mask(mask: NDArray[np.bool_]) -> list[NDArray[np.float64]]:
    """Outlines of a flat mask along the edges of its pixels.

    Parameters
    ----------
    mask : (ni, nj) bool
        Pixels; their centres lie at whole numbers.

    Returns
    -------
    list of (n, 2) float64, pixels
        One closed outline for each connected part (pixels that share an edge), corners only.
        Holes are joined to the outer outline by a line that runs there and back.

    Notes
    -----
    Corners lie at half pixels: filled again, the very same pixels are inside.
    """
    rings = _trace(np.pad(mask, 1))
    outer = [ring for ring in rings if _area(ring) > 0.0]
    holes = [ring for ring in rings if _area(ring) < 0.0]
    joined = [[ring] for ring in outer]
    for hole in holes:
        inside = [
            n for n, ring in enumerate(outer) if fill_polygons([ring], _just_outside(hole)).all()
        ]
        owner = min(inside, key=lambda n: _area(outer[n]))
        joined[owner].append(hole)
    return [_keyhole(parts) - 1.5 for parts in joined]


def _just_outside(hole: NDArray[np.float64]) -> NDArray[np.float64]:
    """A point in the pixel that bounds the hole from outside, beside its first edge."""
    start, end = hole[0], hole[1]
    along = (end - start) / np.abs(end - start).max()
    left = np.array([-along[1], along[0]])
    return np.asarray((start + 0.5 * along + 0.5 * left)[None, :])


def _trace(mask: NDArray[np.bool_]) -> list[NDArray[np.float64]]:
    """Closed loops along pixel edges with the mask at their left, corners only."""
    edges: dict[tuple[int, int], list[tuple[int, int]]] = {}

    # corner (i, j) is the lower left one of pixel (i, j); each edge keeps the mask at its left
    for beside, axis, first, step in (
        (1, 1, (0, 0), (1, 0)),
        (-1, 0, (1, 0), (0, 1)),
        (-1, 1, (1, 1), (-1, 0)),
        (1, 0, (0, 1), (0, -1)),
    ):
        for i, j in np.argwhere(mask & ~np.roll(mask, beside, axis)).tolist():
            edges.setdefault((i + first[0], j + first[1]), []).append(step)
    rings = []
    while edges:
        rings.append(_follow(edges))
    return rings


def _follow(edges: dict[tuple[int, int], list[tuple[int, int]]]) -> NDArray[np.float64]:
    """Take one closed loop out of the edges."""
    first = at = next(iter(edges))
    step = start = edges[first][0]
    corners = []
    while True:
        edges[at].remove(step)
        if not edges[at]:
            del edges[at]
        at, before = (at[0] + step[0], at[1] + step[1]), step
        # where two pixels meet at a corner only, turn left: parts stay apart
        left = (-before[1], before[0])
        onward = edges.get(at, [])
        if at == first and left not in onward:
            if before != start:
                corners.append(at)
            return np.array(corners, dtype=np.float64)
        step = left if left in onward else onward[0]
        if step != before:
            corners.append(at)


def _keyhole(parts: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Outer outline and holes as one line."""
    line = parts[0]
    for hole in sorted(parts[1:], key=lambda ring: tuple(ring.min(axis=0))):
        apart = np.abs(line[:, None, :] - hole[None, :, :]).sum(axis=2)
        a, b = np.unravel_index(int(apart.argmin()), apart.shape)
        around = np.concatenate((hole[b:], hole[: b + 1]))
        line = np.concatenate((line[: a + 1], around, line[a:]))
    return line


def _area(ring: NDArray[np.float64]) -> float:
    x, y = ring.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
