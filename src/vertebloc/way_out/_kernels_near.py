"""Array loops over poses near a known way: the widest path among them, then a short one."""

import heapq

import numpy as np
from numba import njit

from vertebloc.way_out._kernels import CLOSED


@njit(cache=True, nogil=True)
def _find(keys, key):
    """Index of a key among sorted ones, -1 if it is not there."""
    low, high = 0, len(keys)
    while low < high:
        middle = (low + high) // 2
        if keys[middle] < key:
            low = middle + 1
        else:
            high = middle
    return low if low < len(keys) and keys[low] == key else -1


@njit(cache=True, nogil=True)
def neighbours(keys, strides):
    """Index of each of the 26 neighbours of each node, -1 if it is not there: (n, 26).

    keys (n,) int64: sorted; a step along an axis adds its stride.
    """
    out = np.empty((len(keys), 26), np.int64)
    for q in range(len(keys)):
        at = 0
        for a in range(-1, 2):
            for b in range(-1, 2):
                for c in range(-1, 2):
                    if a == 0 and b == 0 and c == 0:
                        continue
                    key = keys[q] + a * strides[0] + b * strides[1] + c * strides[2]
                    out[q, at] = _find(keys, key)
                    at += 1
    return out


@njit(cache=True, nogil=True)
def widest_among(beside, values, start, is_end):
    """Width of the widest path from a node to any end, the seat's own value apart.

    beside (n, 26): neighbours. values (n,) int32: hundredths of a mm, ``CLOSED``: not allowed.
    Returns the width; ``CLOSED`` if no end can be reached.
    """
    seen = np.zeros(len(values), np.bool_)
    todo = [(-values[start], start)]
    seen[start] = True
    while todo:
        width, i = heapq.heappop(todo)
        if is_end[i]:
            return -width
        for q in range(26):
            j = beside[i, q]
            if j < 0 or seen[j] or values[j] == CLOSED:
                continue
            seen[j] = True
            heapq.heappush(todo, (max(width, -values[j]), j))
    return CLOSED


@njit(cache=True, nogil=True)
def shortest_among(beside, costs, lengths, start, is_end):
    """Nodes of the cheapest path from a node to any end.

    costs (n,): of each node for a mm, infinite where it may not run. lengths (26,): mm.
    """
    sums = np.full(len(costs), np.inf)
    before = np.full(len(costs), -1, np.int64)
    sums[start] = 0.0
    todo = [(0.0, start)]
    while todo:
        total, i = heapq.heappop(todo)
        if total > sums[i]:
            continue
        if is_end[i]:
            found = [i]
            while found[-1] != start:
                found.append(before[found[-1]])
            return np.array(found[::-1])
        for q in range(26):
            j = beside[i, q]
            if j < 0 or costs[j] == np.inf:
                continue
            more = total + lengths[q] * (costs[i] + costs[j]) / 2.0
            if more < sums[j]:
                sums[j], before[j] = more, i
                heapq.heappush(todo, (more, j))
    return np.empty(0, np.int64)
