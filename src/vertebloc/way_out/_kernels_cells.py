"""Array loops over cells of poses that are halved where it matters: widest paths, neighbours."""

import numpy as np
from numba import njit

from vertebloc.way_out._kernels import CLOSED


@njit(cache=True)
def _cell_at(first_child, shape, level, i, j, k):
    """The cell of a level at a place, or the larger leaf that holds it; -1 off the lattice."""
    na, nb, nc = shape[0] << level, shape[1] << level, shape[2] << level
    if i < 0 or j < 0 or i >= na or j >= nb:
        return -1
    k %= nc
    cell = ((i >> level) * shape[1] + (j >> level)) * shape[2] + (k >> level)
    for down in range(level - 1, -1, -1):
        if first_child[cell] < 0:
            return cell
        bits = (((i >> down) & 1) << 2) | (((j >> down) & 1) << 1) | ((k >> down) & 1)
        cell = first_child[cell] + bits
    return cell


@njit(cache=True)
def _leaves_beside(first_child, shape, level, place, cell, stack, out):
    """Leaves that share a face with a leaf; how many."""
    found = 0
    for axis in range(3):
        for way in range(2):
            i, j, k = place[cell, 0], place[cell, 1], place[cell, 2]
            step = 2 * way - 1
            if axis == 0:
                i += step
            elif axis == 1:
                j += step
            else:
                k += step
            beside = _cell_at(first_child, shape, level[cell], i, j, k)
            if beside < 0:
                continue
            near = 0 if way else 4 >> axis  # the bit of the children that touch the face
            stack[0] = beside
            height = 1
            while height:
                height -= 1
                one = stack[height]
                child = first_child[one]
                if child < 0:
                    out[found] = one
                    found += 1
                    continue
                for bits in range(8):
                    if (bits & (4 >> axis)) == near:
                        stack[height] = child + bits
                        height += 1
    return found


@njit(cache=True)
def flood_cells(first_child, shape, level, place, worth, goal, starts, least, came_from):
    """Widest path over leaves that share faces, from any start to any goal.

    worth (n,) int16, ``CLOSED`` where no path may run; goal (n,) uint8; came_from (n,) int32: the
    leaf before on a path worth ``least``, -1 where none leads. Returns the width at the best goal
    and that goal; ``CLOSED`` and -1 if it is below ``least``. A path through an edge or a corner
    passes through the cells that share faces there.
    """
    came_from[:] = -1
    highest = int(least)
    for s in starts:
        highest = max(highest, int(worth[s]))
    head = np.full(highest - int(least) + 1, -1, np.int32)
    after = np.full(len(worth), -1, np.int32)
    for s in starts:
        if worth[s] != CLOSED and worth[s] >= least and came_from[s] < 0:
            came_from[s] = s
            at = int(worth[s]) - int(least)
            after[s] = head[at]
            head[at] = s
    stack = np.empty(4096, np.int32)
    beside = np.empty(65536, np.int32)
    width, end = CLOSED, -1
    at = len(head) - 1
    while at >= 0:
        cell = head[at]
        if cell < 0:
            at -= 1
            continue
        head[at] = after[cell]
        if goal[cell] and width == CLOSED:
            width, end = at + int(least), cell
        count = _leaves_beside(first_child, shape, level, place, cell, stack, beside)
        for q in range(count):
            other = beside[q]
            if came_from[other] >= 0 or worth[other] == CLOSED or worth[other] < least:
                continue
            came_from[other] = cell
            where = min(at, int(worth[other]) - int(least))
            after[other] = head[where]
            head[where] = other
    return width, end


@njit(cache=True)
def cheapest_ways(first_child, shape, level, place, cost, open_, sources, out, came_from):
    """Least sum of the costs of leaves on a way from any source, the leaf's own included.

    cost (n,) int32, at most 511; open_ (n,) bool: leaves that may be passed; out (n,) int32: the
    sums, 2^29 where no way leads; came_from (n,) int32: the leaf before on that way.
    """
    far = 1 << 29
    out[:] = far
    ring = 512
    head = np.full(ring, -1, np.int64)
    capacity = 4 * len(sources) + 4096
    entry = np.empty(capacity, np.int32)
    after = np.empty(capacity, np.int64)
    free, waiting = 0, 0
    for s in sources:
        if open_[s] and cost[s] < out[s]:
            out[s], came_from[s] = cost[s], s
            entry[free], after[free] = s, head[cost[s]]
            head[cost[s]] = free
            free, waiting = free + 1, waiting + 1
    stack = np.empty(4096, np.int32)
    beside = np.empty(65536, np.int32)
    total = 0
    while waiting:
        e = head[total % ring]
        if e < 0:
            total += 1
            continue
        head[total % ring] = after[e]
        waiting -= 1
        cell = entry[e]
        if out[cell] != total:
            continue
        count = _leaves_beside(first_child, shape, level, place, cell, stack, beside)
        for q in range(count):
            other = beside[q]
            if not open_[other] or total + cost[other] >= out[other]:
                continue
            out[other], came_from[other] = total + cost[other], cell
            if free == capacity:
                entry = np.concatenate((entry, np.empty(capacity, np.int32)))
                after = np.concatenate((after, np.empty(capacity, np.int64)))
                capacity *= 2
            slot = out[other] % ring
            entry[free], after[free] = other, head[slot]
            head[slot] = free
            free, waiting = free + 1, waiting + 1
