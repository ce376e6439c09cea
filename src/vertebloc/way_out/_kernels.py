"""Array loops of the way out: least distances at many poses, widest paths over a lattice."""

import numpy as np
from numba import njit, prange

#: Value of a node where the piece may not be.
CLOSED = -32768


@njit(cache=True, inline="always")
def _read(field, low, high, pitch, i, j, k):
    """Trilinear look-up in index space; off the grid the distance to the solid's own box."""
    ni, nj, nk = field.shape
    if 0.0 <= i <= ni - 1 and 0.0 <= j <= nj - 1 and 0.0 <= k <= nk - 1:
        i0, j0, k0 = min(int(i), ni - 2), min(int(j), nj - 2), min(int(k), nk - 2)
        a, b, c = np.float32(i - i0), np.float32(j - j0), np.float32(k - k0)
        f00 = field[i0, j0, k0] + (field[i0, j0, k0 + 1] - field[i0, j0, k0]) * c
        f01 = field[i0, j0 + 1, k0] + (field[i0, j0 + 1, k0 + 1] - field[i0, j0 + 1, k0]) * c
        f10 = field[i0 + 1, j0, k0] + (field[i0 + 1, j0, k0 + 1] - field[i0 + 1, j0, k0]) * c
        f11 = (
            field[i0 + 1, j0 + 1, k0]
            + (field[i0 + 1, j0 + 1, k0 + 1] - field[i0 + 1, j0 + 1, k0]) * c
        )
        g0 = f00 + (f01 - f00) * b
        g1 = f10 + (f11 - f10) * b
        return g0 + (g1 - g0) * a
    x = max(0.0, low[0] - i, i - high[0])
    y = max(0.0, low[1] - j, j - high[1])
    z = max(0.0, low[2] - k, k - high[2])
    return np.float32(pitch * np.sqrt(x * x + y * y + z * z))


@njit(cache=True, inline="always")
def _at(field, low, high, pitch, m, x, y, z):
    """Look-up of one point moved by the rows of m into index space."""
    return _read(
        field,
        low,
        high,
        pitch,
        m[0] * x + m[1] * y + m[2] * z + m[3],
        m[4] * x + m[5] * y + m[6] * z + m[7],
        m[8] * x + m[9] * y + m[10] * z + m[11],
    )


@njit(cache=True)
def _least(field, low, high, pitch, points, outer, inner, m, best, floor, bounds):
    """Least of (distance + allowance) over all points of a tree of balls at one pose.

    points (n, 4): x, y, z, allowance. outer, inner (k, 7): middle, radius, least allowance, first
    and one past the last child. Balls are opened in the order of what they may hold at least.
    Not above ``best``; the search ends below ``floor``.
    """
    least = best
    for a in range(len(outer)):
        d = _at(field, low, high, pitch, m, outer[a, 0], outer[a, 1], outer[a, 2])
        bounds[a] = d - outer[a, 3] + outer[a, 4]
    while True:
        lowest, a = least, -1
        for q in range(len(outer)):
            if bounds[q] < lowest:
                lowest, a = bounds[q], q
        if a < 0 or least < floor:
            return least
        bounds[a] = 1e9
        for b in range(int(outer[a, 5]), int(outer[a, 6])):
            d = _at(field, low, high, pitch, m, inner[b, 0], inner[b, 1], inner[b, 2])
            if d - inner[b, 3] + inner[b, 4] >= least:
                continue
            for p in range(int(inner[b, 5]), int(inner[b, 6])):
                d = _at(field, low, high, pitch, m, points[p, 0], points[p, 1], points[p, 2])
                d += points[p, 3]
                least = min(least, d)


@njit(cache=True)
def _least_of_chunk(
    field, low, high, pitch, points, outer, inner, whole, moves, clip, floor, out, first, last
):
    bounds = np.empty(len(outer))
    m = np.empty(12)
    for q in range(first, last):
        for t in range(12):
            m[t] = moves[q, t]
        d = _at(field, low, high, pitch, m, whole[0], whole[1], whole[2])
        if d - whole[3] >= clip:
            out[q] = clip
        else:
            least = _least(field, low, high, pitch, points, outer, inner, m, clip, floor, bounds)
            out[q] = max(least, floor)


@njit(cache=True)
def least_distances(field, low, high, pitch, points, outer, inner, whole, moves, clip, floor, out):
    """Least distance of a set of points to a solid at each pose, between floor and clip.

    moves (n, 12): rows of the map from the points' frame into the field's index space.
    whole (4,): one ball around all points.
    """
    _least_of_chunk(
        field,
        low,
        high,
        pitch,
        points,
        outer,
        inner,
        whole,
        moves,
        clip,
        floor,
        out,
        0,
        len(moves),
    )


@njit(cache=True, parallel=True)
def least_distances_of_many(
    field, low, high, pitch, points, outer, inner, whole, moves, clip, floor, out
):
    """The same side by side: for a few poses threads cost more than they bring."""
    chunks = 64
    for chunk in prange(chunks):
        first = chunk * len(moves) // chunks
        last = (chunk + 1) * len(moves) // chunks
        _least_of_chunk(
            field, low, high, pitch, points, outer, inner, whole, moves, clip, floor, out,
            first, last,
        )  # fmt: skip


@njit(cache=True)
def widest_path(values, goal, start, came_from):
    """Widest path from a node to any goal over the 26 neighbours; the last axis is a circle.

    values (a, b, c) int16: what a path is as wide as at its narrowest node; ``CLOSED``: not
    allowed. goal (a, b, c) uint8. came_from: flat index of the node before, -1 if not reached.
    Returns the width and the flat index of the goal; (CLOSED, -1) if none can be reached.
    """
    na, nb, nc = values.shape
    v, g = values.reshape(-1), goal.reshape(-1)
    came_from[:] = -1
    if v[start] == CLOSED:
        return CLOSED, -1
    highest = v[start]
    lowest = highest
    for i in range(len(v)):
        if v[i] != CLOSED:
            lowest = min(lowest, v[i])
    head = np.full(int(highest) - int(lowest) + 1, -1, np.int32)
    after = np.full(len(v), -1, np.int32)
    came_from[start] = start
    level = int(highest) - int(lowest)
    head[level] = start
    while level >= 0:
        i = head[level]
        if i < 0:
            level -= 1
            continue
        head[level] = after[i]
        if g[i]:
            return level + int(lowest), i
        c, ab = i % nc, i // nc
        b, a = ab % nb, ab // nb
        for x in range(max(0, a - 1), min(na, a + 2)):
            for y in range(max(0, b - 1), min(nb, b + 2)):
                for dz in range(-1, 2):
                    j = (x * nb + y) * nc + (c + dz) % nc
                    if came_from[j] >= 0 or v[j] == CLOSED:
                        continue
                    came_from[j] = i
                    width = min(level, int(v[j]) - int(lowest))
                    after[j] = head[width]
                    head[width] = j
    return CLOSED, -1


@njit(cache=True)
def _extents_of_pose(m, corners, out, q):
    gone, y_low, x_low, x_high = 0.0, 1e9, 1e9, -1e9
    for p in range(len(corners)):
        a, b, c = corners[p, 0], corners[p, 1], corners[p, 2]
        x = m[0, 0] * a + m[0, 1] * b + m[0, 2] * c + m[0, 3]
        y = m[1, 0] * a + m[1, 1] * b + m[1, 2] * c + m[1, 3]
        z = m[2, 0] * a + m[2, 1] * b + m[2, 2] * c + m[2, 3]
        gone = max(gone, (x - a) ** 2 + (y - b) ** 2 + (z - c) ** 2)
        y_low = min(y_low, y)
        x_low = min(x_low, x)
        x_high = max(x_high, x)
    out[0, q], out[1, q], out[2, q], out[3, q] = np.sqrt(gone), y_low, x_low, x_high


@njit(cache=True)
def measure_extents(moves, corners, out):
    """Largest displacement, least y, least x and most x of corners at each pose: out (4, n)."""
    for q in range(len(moves)):
        _extents_of_pose(moves[q], corners, out, q)


@njit(cache=True, parallel=True)
def measure_extents_of_many(moves, corners, out):
    """The same side by side."""
    for q in prange(len(moves)):
        _extents_of_pose(moves[q], corners, out, q)
