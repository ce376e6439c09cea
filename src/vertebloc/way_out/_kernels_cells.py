"""Array loops over cells of poses that are measured and halved only where a flood comes by.

A cell holds all poses around a middle one. ``Stock``: what is measured; ``Cells``: what is known.
"""

from collections import namedtuple

import numpy as np
from numba import njit

from vertebloc.way_out._kernels import CLOSED

#: What a cell is measured against. fields (n,) float32: nodes of all distance fields in a row.
#: lattices (g, 19): by gauge, rows of the map into index space (12), pitch, the solid's box in
#: index space (3, 3). shapes (g, 4): first node, nodes along i, j, k. moves (g,): the piece's
#: points move; else points of a line are looked up in the piece's field. roots (g, 2): first ball
#: of few points, and of more. balls (k, 6): middle, radius, least and most distance of the
#: points from the axis. kids (k, 3): first and one past the last, 1 if they are points.
#: points (n, 4): place, distance from the axis. rules (g, 5): radius, demand at rest, demand once
#: clear of the seat, taken off a clearance, lowest that is told apart.
#: corners (m, 2): of the piece's outline in the plane.
#: room (12,): least and most x, delivered y, x and y of the sac's middle, clear after, slack,
#: field error, clip, first x and y of the cells, reach from the axis; steps (3,): sides of the
#: largest cells; soft: so many gauges from the first are of the sac and its patches.
Stock = namedtuple(
    "Stock",
    "fields lattices shapes moves roots balls kids points rules corners room steps soft",
)

#: What is known of cells. level, place (n, 3), first_child (-1: a leaf). high and low: what no
#: pose of it betters, and what all reach, in hundredths of a mm; flags: 1 measured, 2 may hold a
#: delivered pose, 4 all of it between the walls, 8 low is measured. most (n, soft): clearances
#: that no pose of it betters. shut, clear, seen (n, w): one bit an obstacle.
#: mark: of the last flood; came_from: the cell before; after: next in its bucket. todo: stack.
#: heads: buckets. now: cells, flood, top of the stack, highest bucket, cells measured.
Cells = namedtuple(
    "Cells",
    "shape level place first_child high low most flags shut clear seen mark came_from after todo"
    " heads now balls bounds",
)


#: A cell that is worth less is shut whatever is wanted, in hundredths of a mm.
CLOSED_BELOW = -300
#: In larger cells fewer points are looked at, mm.
COARSE_MM = 0.6


@njit(cache=True, nogil=True, inline="always")
def _look(fields, shape, box, i, j, k):
    """Trilinear look-up in index space; off the grid the distance to the solid's own box."""
    ni, nj, nk = shape[1], shape[2], shape[3]
    if 0.0 <= i <= ni - 1 and 0.0 <= j <= nj - 1 and 0.0 <= k <= nk - 1:
        i0, j0, k0 = min(int(i), ni - 2), min(int(j), nj - 2), min(int(k), nk - 2)
        a, b, c = np.float32(i - i0), np.float32(j - j0), np.float32(k - k0)
        q = shape[0] + (i0 * nj + j0) * nk + k0
        p = q + nj * nk
        f00 = fields[q] + (fields[q + 1] - fields[q]) * c
        f01 = fields[q + nk] + (fields[q + nk + 1] - fields[q + nk]) * c
        f10 = fields[p] + (fields[p + 1] - fields[p]) * c
        f11 = fields[p + nk] + (fields[p + nk + 1] - fields[p + nk]) * c
        g0 = f00 + (f01 - f00) * b
        g1 = f10 + (f11 - f10) * b
        return np.float64(g0 + (g1 - g0) * a)
    x = max(0.0, box[13] - i, i - box[16])
    y = max(0.0, box[14] - j, j - box[17])
    z = max(0.0, box[15] - k, k - box[18])
    return box[12] * np.sqrt(x * x + y * y + z * z)


@njit(cache=True, nogil=True)
def _map_of(stock, g, x, y, turn, m):
    """Rows of the map from the points of a gauge into its field's index space at a pose."""
    r = stock.lattices[g]
    c, s = np.cos(turn), np.sin(turn)
    for a in range(3):
        u, v, w, t = r[4 * a], r[4 * a + 1], r[4 * a + 2], r[4 * a + 3]
        m[4 * a + 2] = w
        if stock.moves[g]:
            m[4 * a] = u * c + v * s
            m[4 * a + 1] = -u * s + v * c
            m[4 * a + 3] = u * x + v * y + t
        else:
            m[4 * a] = u * c - v * s
            m[4 * a + 1] = u * s + v * c
            m[4 * a + 3] = t - m[4 * a] * x - m[4 * a + 1] * y


@njit(cache=True, nogil=True, inline="always")
def _far(r, i, j):
    """Distance from the axis of a place in the piece's own field; its axes are the piece's."""
    x, y = (i - r[3]) * r[12], (j - r[7]) * r[12]
    return np.sqrt(x * x + y * y)


@njit(cache=True, nogil=True, inline="always")
def _ball_at(fields, shape, r, moves, m, balls, b, turn):
    """Least that a ball's points may add up to, with what a turn adds, and less it."""
    x, y, z, radius = balls[b, 0], balls[b, 1], balls[b, 2], balls[b, 3]
    i = m[0] * x + m[1] * y + m[2] * z + m[3]
    j = m[4] * x + m[5] * y + m[6] * z + m[7]
    k = m[8] * x + m[9] * y + m[10] * z + m[11]
    d = _look(fields, shape, r, i, j, k) - radius
    near, away = balls[b, 4], balls[b, 5]
    if not moves:
        far = _far(r, i, j)
        near, away = max(0.0, far - radius), far + radius
    return d + turn * near, d - turn * away


@njit(cache=True, nogil=True, inline="always")
def _point_at(fields, shape, r, moves, m, points, p, turn):
    x, y, z, far = points[p, 0], points[p, 1], points[p, 2], points[p, 3]
    i = m[0] * x + m[1] * y + m[2] * z + m[3]
    j = m[4] * x + m[5] * y + m[6] * z + m[7]
    k = m[8] * x + m[9] * y + m[10] * z + m[11]
    d = _look(fields, shape, r, i, j, k)
    if not moves:
        far = _far(r, i, j)
    return d + turn * far, d - turn * far


@njit(cache=True, nogil=True)
def _least_of(fields, shape, r, moves, balls, kids, points, root, m, turn, which, best, floor,
              stack, bounds):  # fmt: skip
    high, low = _ball_at(fields, shape, r, moves, m, balls, root, turn)
    stack[0], bounds[0] = root, low if which else high
    height = 1
    while height and best >= floor:
        height -= 1
        if bounds[height] >= best:
            continue
        node = stack[height]
        first, last = kids[node, 0], kids[node, 1]
        if kids[node, 2]:
            for p in range(first, last):
                high, low = _point_at(fields, shape, r, moves, m, points, p, turn)
                best = min(best, low if which else high)
            continue
        lowest, at = 1e9, -1
        for b in range(first, last):
            high, low = _ball_at(fields, shape, r, moves, m, balls, b, turn)
            one = low if which else high
            if one >= best:
                continue
            if one < lowest:
                lowest, at = one, height
            stack[height], bounds[height] = b, one
            height += 1
        if at >= 0:  # the most promising one next
            top = height - 1
            stack[at], stack[top] = stack[top], stack[at]
            bounds[at], bounds[top] = bounds[top], bounds[at]
    return best


@njit(cache=True, nogil=True)
def _least(stock, g, root, m, turn, which, best, floor, stack, bounds):
    """Least over all points, with what a turn adds (which 0) or less it (1); not above best."""
    return _least_of(
        stock.fields, stock.shapes[g], stock.lattices[g], stock.moves[g], stock.balls,
        stock.kids, stock.points, root, m, turn, which, best, floor, stack, bounds,
    )  # fmt: skip


@njit(cache=True, nogil=True)
def _judge_of(fields, shape, r, moves, balls, kids, points, root, m, turn, shut_below, clear_from,
              stack):  # fmt: skip
    high, low = _ball_at(fields, shape, r, moves, m, balls, root, turn)
    if low >= clear_from:
        return 2
    stack[0] = root
    height, found = 1, 2
    while height:
        height -= 1
        node = stack[height]
        first, last = kids[node, 0], kids[node, 1]
        if kids[node, 2]:
            for p in range(first, last):
                high, low = _point_at(fields, shape, r, moves, m, points, p, turn)
                if high < shut_below:
                    return 0
                if low < clear_from:
                    found = 1
            continue
        lowest, at = 1e9, -1
        for b in range(first, last):
            high, low = _ball_at(fields, shape, r, moves, m, balls, b, turn)
            if low >= clear_from or (found == 1 and high >= shut_below):
                continue
            if high < lowest:
                lowest, at = high, height
            stack[height] = b
            height += 1
        if at >= 0:
            top = height - 1
            stack[at], stack[top] = stack[top], stack[at]
    return found


@njit(cache=True, nogil=True)
def _judge(stock, g, root, m, turn, shut_below, clear_from, stack):
    """2: no pose of a cell comes nearer than clear_from; 0: all do than shut_below; else 1."""
    return _judge_of(
        stock.fields, stock.shapes[g], stock.lattices[g], stock.moves[g], stock.balls,
        stock.kids, stock.points, root, m, turn, shut_below, clear_from, stack,
    )  # fmt: skip


@njit(cache=True, nogil=True)
def pose_of(stock, cells, c, pose):
    part = 0.5 ** cells.level[c]
    for a in range(3):
        first = 0.0 if a == 2 else stock.room[9 + a]
        pose[a] = first + stock.steps[a] * ((cells.place[c, a] + 0.5) * part - 0.5)


@njit(cache=True, nogil=True)
def reaches(stock, x, y, turn, out):
    """Largest displacement, least y, least and most x of the piece's corners."""
    c, s = np.cos(turn), np.sin(turn)
    gone, low_y, low_x, high_x = 0.0, 1e9, 1e9, -1e9
    for p in range(len(stock.corners)):
        a, b = stock.corners[p, 0], stock.corners[p, 1]
        u, v = c * a - s * b + x, s * a + c * b + y
        gone = max(gone, (u - a) ** 2 + (v - b) ** 2)
        low_y, low_x, high_x = min(low_y, v), min(low_x, u), max(high_x, u)
    out[0], out[1], out[2], out[3] = np.sqrt(gone), low_y, low_x, high_x


@njit(cache=True, nogil=True)
def _share(stock, gone):
    return min(1.0, max(0.0, gone / stock.room[5]))


@njit(cache=True, nogil=True)
def _worth(stock, g, clearance, gone):
    """The largest target that a clearance to the sac fulfils after a displacement."""
    first = stock.rules[g, 1]
    over = clearance - stock.rules[g, 3] - first
    if over < 0.0:
        return over + first
    return first + over / max(1e-9, _share(stock, gone))


@njit(cache=True, nogil=True)
def _measure_cell(stock, cells, c, pose, far):
    """Measure a cell against walls, delivery, sac and its patches that had room: once."""
    part = 0.5 ** cells.level[c]
    shift, turn = stock.steps[0] * part / np.sqrt(2.0), stock.steps[2] * part / 2.0
    covers, error = shift + turn * stock.room[11], stock.room[7]
    cells.flags[c] = 1
    cells.now[4] += 1
    if far[1] >= stock.room[2] - covers:
        cells.flags[c] |= 2
    if far[2] < stock.room[0] - covers or far[3] > stock.room[1] + covers:
        cells.high[c] = CLOSED
        return
    if far[2] >= stock.room[0] + covers and far[3] <= stock.room[1] - covers:
        cells.flags[c] |= 4
    m = np.empty(12)
    few = 0 if covers > COARSE_MM else 1
    clip, more = stock.room[8], shift + error
    high, near = 1e3, max(0.0, far[0] - covers - stock.room[6])
    for g in range(stock.soft if _share(stock, near) < 1.0 else 1):  # then the sac's own counts
        radius = stock.rules[g, 0]
        _map_of(stock, g, pose[0], pose[1], pose[2], m)
        most = _least(stock, g, stock.roots[g, few], m, turn, 0, clip + radius - more,
                      stock.rules[g, 4] + radius - more, cells.balls, cells.bounds)  # fmt: skip
        cells.most[c, g] = most - radius + more
        high = min(high, _worth(stock, g, cells.most[c, g], near))
        if high < 0.01 * CLOSED_BELOW:
            break
    cells.high[c] = min(int(cells.high[c]), int(np.ceil(min(300.0, max(high, -300.0)) * 100.0)))


@njit(cache=True, nogil=True)
def _is_low(stock, cells, c, pose, away, target):
    """Whether all of a cell is worth the target, as the points say: measured when first asked."""
    if cells.low[c] >= target:
        return True
    if cells.flags[c] & 8:
        return False
    part = 0.5 ** cells.level[c]
    shift, turn = stock.steps[0] * part / np.sqrt(2.0), stock.steps[2] * part / 2.0
    covers = shift + turn * stock.room[11]
    few = 0 if covers > COARSE_MM else 1
    more, clip, low = shift + stock.room[7], stock.room[8], 1e3
    soft = stock.soft if _share(stock, away - 2.0 * covers - stock.room[6]) < 1.0 else 1
    for g in range(soft):  # no more than this
        low = min(low, _worth(stock, g, cells.most[c, g] - 2.0 * more, away))
    if 100.0 * low < target:
        return False
    m = np.empty(12)
    for g in range(soft):
        radius = stock.rules[g, 0]
        _map_of(stock, g, pose[0], pose[1], pose[2], m)
        least = _least(stock, g, stock.roots[g, few], m, turn, 1, clip + radius + more,
                       stock.rules[g, 4] + radius + more, cells.balls, cells.bounds)  # fmt: skip
        low = min(low, _worth(stock, g, least - radius - more, away))
    cells.flags[c] |= 8
    cells.low[c] = max(int(cells.low[c]), int(np.floor(min(300.0, max(low, -300.0)) * 100.0)))
    return cells.low[c] >= target


@njit(cache=True, nogil=True)
def state_of(stock, cells, c, stay, target, side):
    """0: no way of the target's worth leads through a cell; 2: it may be passed anywhere; or 1."""
    if cells.flags[c] and cells.high[c] < target:
        return 0
    found = 2
    pose, far = np.empty(3), np.empty(4)
    pose_of(stock, cells, c, pose)
    part = 0.5 ** cells.level[c]
    if side != 0.0:
        half = stock.steps[0] * part / 2.0
        beside, behind = side * (pose[0] - stock.room[3]), pose[1] - stock.room[4]
        if beside < -half and behind > half:
            return 0
        if beside < half and behind > -half:
            found = 1
    reaches(stock, pose[0], pose[1], pose[2], far)
    shift, turn = stock.steps[0] * part / np.sqrt(2.0), stock.steps[2] * part / 2.0
    covers = shift + turn * stock.room[11]
    if far[2] < stock.room[0] - covers or far[3] > stock.room[1] + covers:
        return 0
    few = 0 if covers > COARSE_MM else 1
    more = shift + stock.room[7]
    near = _share(stock, far[0] - covers - stock.room[6])
    away = _share(stock, far[0] + covers)
    m = np.empty(12)
    for g in stay:
        w, bit = g >> 6, np.uint64(1) << np.uint64(g & 63)
        if cells.shut[c, w] & bit:
            return 0
        if cells.clear[c, w] & bit:
            continue
        if not cells.seen[c, w] & bit:
            radius, first = stock.rules[g, 0], stock.rules[g, 1]
            rise, off = stock.rules[g, 2] - first, stock.rules[g, 3] + radius
            _map_of(stock, g, pose[0], pose[1], pose[2], m)
            judged = _judge(stock, g, stock.roots[g, few], m, turn,
                            first + rise * near + off - more, first + rise * away + off + more,
                            cells.balls)  # fmt: skip
            if judged == 0:
                cells.shut[c, w] |= bit
                return 0
            if judged == 2:
                cells.clear[c, w] |= bit
                continue
            cells.seen[c, w] |= bit
        found = 1
    if not cells.flags[c]:
        _measure_cell(stock, cells, c, pose, far)
        if cells.high[c] < target:
            return 0
    if not cells.flags[c] & 4 or not _is_low(stock, cells, c, pose, far[0] + covers, target):
        found = 1
    return found
