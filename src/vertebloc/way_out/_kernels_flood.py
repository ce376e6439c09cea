"""Array loops of a flood over cells of poses: it halves what it meets, and goes round the rest."""

import numpy as np
from numba import njit

from vertebloc.way_out._kernels_cells import pose_of, reaches, state_of

_REACHED, _WAITING, _DEAD = 1, 2, 3
RULED_OUT, FOUND, PAUSED, FULL = 0, 1, 2, 3
BUCKETS = 4096


@njit(cache=True, nogil=True)
def _halve(cells, c):
    """Add the eight parts of a cell; the first."""
    first = cells.now[0]
    cells.now[0] += 8
    cells.first_child[c] = first
    for q in range(8):
        k = first + q
        cells.level[k] = cells.level[c] + 1
        cells.place[k, 0] = 2 * cells.place[c, 0] + (q >> 2)
        cells.place[k, 1] = 2 * cells.place[c, 1] + ((q >> 1) & 1)
        cells.place[k, 2] = 2 * cells.place[c, 2] + (q & 1)
        cells.first_child[k] = -1
        cells.high[k], cells.low[k], cells.flags[k] = cells.high[c], cells.low[c], 0
        cells.mark[k] = 0
        for w in range(cells.shut.shape[1]):
            cells.shut[k, w], cells.clear[k, w] = cells.shut[c, w], cells.clear[c, w]
            cells.seen[k, w] = 0
    return first


@njit(cache=True, nogil=True)
def _cell_at(cells, level, i, j, k):
    """The cell of a level at a place, or the larger leaf that holds it; -1 off the lattice."""
    na, nb, nc = cells.shape[0] << level, cells.shape[1] << level, cells.shape[2] << level
    if i < 0 or j < 0 or i >= na or j >= nb:
        return -1
    k %= nc
    cell = ((i >> level) * cells.shape[1] + (j >> level)) * cells.shape[2] + (k >> level)
    for down in range(level - 1, -1, -1):
        if cells.first_child[cell] < 0:
            return cell
        bits = (((i >> down) & 1) << 2) | (((j >> down) & 1) << 1) | ((k >> down) & 1)
        cell = cells.first_child[cell] + bits
    return cell


@njit(cache=True, nogil=True)
def leaves_beside(cells, cell, stack, out):
    """Leaves that share a face with a leaf; how many."""
    found = 0
    for axis in range(3):
        for way in range(2):
            i, j, k = cells.place[cell, 0], cells.place[cell, 1], cells.place[cell, 2]
            step = 2 * way - 1
            if axis == 0:
                i += step
            elif axis == 1:
                j += step
            else:
                k += step
            beside = _cell_at(cells, cells.level[cell], i, j, k)
            if beside < 0:
                continue
            near = 0 if way else 4 >> axis  # the bit of the children that touch the face
            stack[0] = beside
            height = 1
            while height:
                height -= 1
                one = stack[height]
                child = cells.first_child[one]
                if child < 0:
                    out[found] = one
                    found += 1
                    continue
                for bits in range(8):
                    if (bits & (4 >> axis)) == near:
                        stack[height] = child + bits
                        height += 1
    return found


@njit(cache=True, nogil=True)
def _reach(cells, c, before):
    cells.mark[c] = 4 * cells.now[1] + _REACHED
    cells.came_from[c] = before
    cells.todo[cells.now[2]] = c
    cells.now[2] += 1


@njit(cache=True, nogil=True)
def _wait(stock, cells, c, before, pose, far):
    """Put an unsettled cell aside: those nearest to delivery are looked at first."""
    pose_of(stock, cells, c, pose)
    reaches(stock, pose[0], pose[1], pose[2], far)
    at = min(BUCKETS - 1, max(0, BUCKETS // 2 + int((far[1] - stock.room[2]) * 16.0)))
    cells.mark[c] = 4 * cells.now[1] + _WAITING
    cells.came_from[c] = before
    cells.after[c] = cells.heads[at]
    cells.heads[at] = c
    cells.now[3] = max(cells.now[3], at)


@njit(cache=True, nogil=True)
def _meet(stock, cells, c, before, stay, target, side, pose, far):
    """A flood comes to a leaf."""
    if cells.mark[c] >= 4 * cells.now[1] + _REACHED:
        return
    state = state_of(stock, cells, c, stay, target, side)
    if state == 0:
        cells.mark[c] = 4 * cells.now[1] + _DEAD
    elif state == 2:
        _reach(cells, c, before)
    else:
        _wait(stock, cells, c, before, pose, far)


@njit(cache=True, nogil=True)
def begin(stock, cells, stay, target, side):
    """Begin a flood at the leaves that hold the seat."""
    cells.now[1] += 1
    cells.now[2] = 0
    cells.now[3] = -1
    cells.heads[:] = -1
    pose, far = np.empty(3), np.empty(4)
    stack = np.empty(4096, np.int64)
    a = int(np.round(-stock.room[9] / stock.steps[0]))
    b = int(np.round(-stock.room[10] / stock.steps[1]))
    stack[0] = (a * cells.shape[1] + b) * cells.shape[2]
    height = 1
    while height:
        height -= 1
        c = stack[height]
        pose_of(stock, cells, c, pose)
        turn = (pose[2] + np.pi) % (2.0 * np.pi) - np.pi
        half = 0.5 ** cells.level[c] * 0.5000001
        if (abs(pose[0]) > half * stock.steps[0] or abs(pose[1]) > half * stock.steps[1]
                or abs(turn) > half * stock.steps[2]):  # fmt: skip
            continue
        first = cells.first_child[c]
        if first < 0:
            _meet(stock, cells, c, c, stay, target, side, pose, far)
            continue
        for q in range(8):
            stack[height] = first + q
            height += 1


@njit(cache=True, nogil=True)
def _next_waiting(cells):
    while cells.now[3] >= 0:
        c = cells.heads[cells.now[3]]
        if c >= 0:
            cells.heads[cells.now[3]] = cells.after[c]
            return c
        cells.now[3] -= 1
    return -1


@njit(cache=True, nogil=True)
def flood(stock, cells, stay, target, side, deepest, budget):
    """Go on with a flood until delivery is reached, or nothing is left, or the budget is used.

    Unsettled cells are halved down to ``deepest``; there they may be passed. Returns what
    happened, and the last cell of the way.
    """
    pose, far = np.empty(3), np.empty(4)
    stack, beside = np.empty(4096, np.int64), np.empty(65536, np.int64)
    until = cells.now[4] + budget
    reached = 4 * cells.now[1] + _REACHED
    while True:
        if cells.now[4] >= until:
            return PAUSED, -1
        if cells.now[0] + 8 >= len(cells.level):
            return FULL, -1
        if cells.now[2]:
            cells.now[2] -= 1
            c = cells.todo[cells.now[2]]
            if cells.flags[c] & 2:
                return FOUND, c
            for q in range(leaves_beside(cells, c, stack, beside)):
                _meet(stock, cells, beside[q], c, stay, target, side, pose, far)
            continue
        c = _next_waiting(cells)
        if c < 0:
            return RULED_OUT, -1
        if cells.level[c] >= deepest:
            pose_of(stock, cells, c, pose)
            reaches(stock, pose[0], pose[1], pose[2], far)
            # close to the seat a small error counts for much
            if cells.level[c] > deepest or far[0] > 0.5 * stock.room[5]:
                _reach(cells, c, cells.came_from[c])
                continue
        was_start = cells.came_from[c] == c
        first = _halve(cells, c)
        if was_start:
            _begin_parts(stock, cells, first, stay, target, side, pose, far)
        for k in range(first, first + 8):
            for q in range(leaves_beside(cells, k, stack, beside)):
                if cells.mark[beside[q]] == reached:
                    _meet(stock, cells, k, beside[q], stay, target, side, pose, far)
                    break


@njit(cache=True, nogil=True)
def _begin_parts(stock, cells, first, stay, target, side, pose, far):
    """Of the parts of a cell that holds the seat, those that hold it are begun with."""
    for k in range(first, first + 8):
        pose_of(stock, cells, k, pose)
        turn = (pose[2] + np.pi) % (2.0 * np.pi) - np.pi
        half = 0.5 ** cells.level[k] * 0.5000001
        if (abs(pose[0]) <= half * stock.steps[0] and abs(pose[1]) <= half * stock.steps[1]
                and abs(turn) <= half * stock.steps[2]):  # fmt: skip
            _meet(stock, cells, k, k, stay, target, side, pose, far)
