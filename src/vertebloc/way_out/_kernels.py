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
def _least(field, low, high, pitch, points, balls, m, best, floor, seed, stack, bounds):
    """Least of (distance + allowance) over all points of a tree of balls at one pose.

    points (n, 4): x, y, z, allowance. balls (k, 8): middle, radius, least allowance, first and one
    past the last child, 1 if these are points. Not above ``best``; the search ends below
    ``floor``. ``seed``: a point that is likely to be near. Returns the least and its point.
    """
    at = seed
    if seed >= 0:
        p = points[seed]
        best = min(best, _at(field, low, high, pitch, m, p[0], p[1], p[2]) + p[3])
    stack[0], bounds[0] = 0, -1e9
    height = 1
    while height and best >= floor:
        height -= 1
        if bounds[height] >= best:
            continue
        a = stack[height]
        first, last = int(balls[a, 5]), int(balls[a, 6])
        if balls[a, 7]:
            for q in range(first, last):
                d = _at(field, low, high, pitch, m, points[q, 0], points[q, 1], points[q, 2])
                d += points[q, 3]
                if d < best:
                    best, at = d, q
            continue
        lowest, where = 1e9, -1
        for b in range(first, last):
            d = _at(field, low, high, pitch, m, balls[b, 0], balls[b, 1], balls[b, 2])
            d += balls[b, 4] - balls[b, 3]
            if d >= best:
                continue
            if d < lowest:
                lowest, where = d, height
            stack[height], bounds[height] = b, d
            height += 1
        if where >= 0:  # the most promising one next
            top = height - 1
            stack[where], stack[top] = stack[top], stack[where]
            bounds[where], bounds[top] = bounds[top], bounds[where]
    return best, at


@njit(cache=True)
def _least_of_chunk(field, low, high, pitch, points, balls, moves, clip, floor, out, first, last):
    stack, bounds = np.empty(4096, np.int64), np.empty(4096)
    m = np.empty(12)
    seed = -1
    for q in range(first, last):
        for t in range(12):
            m[t] = moves[q, t]
        d = _at(field, low, high, pitch, m, balls[0, 0], balls[0, 1], balls[0, 2])
        if d - balls[0, 3] >= clip:
            out[q] = clip
            continue
        least, at = _least(
            field, low, high, pitch, points, balls, m, clip, floor, seed, stack, bounds
        )
        seed = at if least < clip else -1
        out[q] = max(least, floor)


@njit(cache=True)
def least_distances(field, low, high, pitch, points, balls, moves, clip, floor, out):
    """Least distance of a set of points to a solid at each pose, between floor and clip.

    moves (n, 12): rows of the map from the points' frame into the field's index space; poses
    beside each other are best alike.
    """
    _least_of_chunk(field, low, high, pitch, points, balls, moves, clip, floor, out, 0, len(moves))


@njit(cache=True, parallel=True)
def least_distances_of_many(field, low, high, pitch, points, balls, moves, clip, floor, out):
    """The same side by side: for a few poses threads cost more than they bring.

    Each thread gets a run of turns: poses beside each other, which cost alike, go to all of them.
    """
    chunks = 64
    for turn in prange(chunks):
        chunk = (turn % 8) * 8 + turn // 8
        first = chunk * len(moves) // chunks
        last = (chunk + 1) * len(moves) // chunks
        _least_of_chunk(
            field, low, high, pitch, points, balls, moves, clip, floor, out, first, last
        )


@njit(cache=True)
def widest_path(values, shut, stay, wrong, behind, goal, lowest, start, came_from):
    """Widest path from a node to any goal over the 26 neighbours; the last axis is a circle.

    values (a, b, c) int16: what a path is as wide as at its narrowest node, at least ``lowest``;
    ``CLOSED``: not allowed. shut (n, w) uint64: obstacles that shut a node, one bit each; stay
    (w,): those that stay. wrong (a,), behind (b,) bool: not allowed where both. goal (n,) uint8.
    came_from: flat index of the node before, -1 if not reached. Returns the width and the flat
    index of the goal; (CLOSED, -1) if none can be reached.
    """
    na, nb, nc = values.shape
    v = values.reshape(-1)
    came_from[:] = -1
    if v[start] == CLOSED:
        return CLOSED, -1
    head = np.full(int(v[start]) - lowest + 1, -1, np.int32)
    after = np.empty(len(v), np.int32)
    came_from[start] = start
    level = int(v[start]) - lowest
    head[level] = start
    after[start] = -1
    while level >= 0:
        i = head[level]
        if i < 0:
            level -= 1
            continue
        head[level] = after[i]
        if goal[i]:
            return level + lowest, i
        c, ab = i % nc, i // nc
        b, a = ab % nb, ab // nb
        for x in range(max(0, a - 1), min(na, a + 2)):
            for y in range(max(0, b - 1), min(nb, b + 2)):
                if wrong[x] and behind[y]:
                    continue
                for dz in range(-1, 2):
                    j = (x * nb + y) * nc + (c + dz) % nc
                    if came_from[j] != -1 or v[j] == CLOSED:
                        continue
                    is_shut = False
                    for w in range(len(stay)):
                        if shut[j, w] & stay[w]:
                            is_shut = True
                    if is_shut:
                        came_from[j] = -2
                        continue
                    came_from[j] = i
                    width = min(level, int(v[j]) - lowest)
                    after[j] = head[width]
                    head[width] = j
    return CLOSED, -1


@njit(cache=True)
def shortest_path(values, shut, stay, wrong, behind, goal, least, start, came_from):
    """Path of the fewest nodes, none of them worth less than ``least``: as ``widest_path``.

    Returns the flat index of the goal, -1 if none can be reached.
    """
    na, nb, nc = values.shape
    v = values.reshape(-1)
    came_from[:] = -1
    todo = np.empty(len(v), np.int32)
    came_from[start] = start
    todo[0] = start
    first, last = 0, 1
    while first < last:
        i = todo[first]
        first += 1
        if goal[i]:
            return i
        c, ab = i % nc, i // nc
        b, a = ab % nb, ab // nb
        for x in range(max(0, a - 1), min(na, a + 2)):
            for y in range(max(0, b - 1), min(nb, b + 2)):
                if wrong[x] and behind[y]:
                    continue
                for dz in range(-1, 2):
                    j = (x * nb + y) * nc + (c + dz) % nc
                    if came_from[j] != -1 or v[j] < least:
                        continue
                    came_from[j] = i
                    for w in range(len(stay)):
                        if shut[j, w] & stay[w]:
                            came_from[j] = -2
                    if came_from[j] == i:
                        todo[last] = j
                        last += 1
    return -1


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
