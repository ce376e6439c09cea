"""Growing numbered seeds through voxels, the nearest by cost first."""

import numpy as np
from numba import njit


@njit(cache=True)
def _push(keys, places, count, key, place):
    at = count
    while at > 0:
        up = (at - 1) >> 1
        if keys[up] <= key:
            break
        keys[at] = keys[up]
        places[at] = places[up]
        at = up
    keys[at] = key
    places[at] = place


@njit(cache=True)
def _pop(keys, places, count):
    last = count - 1
    key, place = keys[last], places[last]
    at = 0
    while True:
        down = 2 * at + 1
        if down >= last:
            break
        if down + 1 < last and keys[down + 1] < keys[down]:
            down += 1
        if keys[down] >= key:
            break
        keys[at] = keys[down]
        places[at] = places[down]
        at = down
    keys[at] = key
    places[at] = place


@njit(cache=True)
def grow(cost, seeds, start):
    """Least cost from any seed, and which seed, through voxels whose cost is above 0.

    ``start`` holds the cost at which each seed's number begins. Steps to 18 neighbours cost
    their length in voxels times the mean cost of both. Also the voxel each one was reached from.
    """
    ni, nj, nk = cost.shape
    total = cost.size
    flat_cost = cost.ravel()
    owner = seeds.ravel().copy()
    arrival = np.full(total, np.inf, np.float32)
    came = np.full(total, -1, np.int64)
    size = 1024
    keys = np.empty(size, np.float32)
    places = np.empty(size, np.int64)
    count = 0
    for p in range(total):
        if owner[p] > 0 and flat_cost[p] > 0.0:
            arrival[p] = start[owner[p]]
            if count + 1 > size:
                keys = np.concatenate((keys, np.empty(size, np.float32)))
                places = np.concatenate((places, np.empty(size, np.int64)))
                size *= 2
            _push(keys, places, count, arrival[p], p)
            count += 1
        else:
            owner[p] = 0
    while count > 0:
        key, p = keys[0], places[0]
        _pop(keys, places, count)
        count -= 1
        if key > arrival[p]:
            continue
        k = p % nk
        j = (p // nk) % nj
        i = p // (nk * nj)
        for di in range(-1, 2):
            for dj in range(-1, 2):
                for dk in range(-1, 2):
                    far = abs(di) + abs(dj) + abs(dk)
                    if far == 0 or far == 3:
                        continue
                    a, b, c = i + di, j + dj, k + dk
                    if a < 0 or b < 0 or c < 0 or a >= ni or b >= nj or c >= nk:
                        continue
                    q = (a * nj + b) * nk + c
                    if flat_cost[q] <= 0.0:
                        continue
                    length = 1.0 if far == 1 else 1.4142135
                    new = np.float32(key + length * 0.5 * (flat_cost[p] + flat_cost[q]))
                    if new < arrival[q]:
                        arrival[q] = new
                        owner[q] = owner[p]
                        came[q] = p
                        if count + 1 > size:
                            keys = np.concatenate((keys, np.empty(size, np.float32)))
                            places = np.concatenate((places, np.empty(size, np.int64)))
                            size *= 2
                        _push(keys, places, count, new, q)
                        count += 1
    return arrival.reshape(cost.shape), owner.reshape(cost.shape), came
