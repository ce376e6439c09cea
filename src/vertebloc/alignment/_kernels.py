"""Array loops of shared information between two images: arrays in, arrays out."""

import numpy as np
from numba import njit


@njit(cache=True, fastmath=True)
def _spline(t, w):
    """Cubic B-spline weights of the bins floor - 1 .. floor + 2 for the rest t in [0, 1)."""
    u = 1.0 - t
    w[0] = u * u * u / 6.0
    w[1] = (3.0 * t * t * t - 6.0 * t * t + 4.0) / 6.0
    w[2] = (3.0 * u * u * u - 6.0 * u * u + 4.0) / 6.0
    w[3] = t * t * t / 6.0


@njit(cache=True, fastmath=True)
def _slope(t, d):
    """Derivative of these weights by t."""
    u = 1.0 - t
    d[0] = -0.5 * u * u
    d[1] = (3.0 * t * t - 4.0 * t) / 2.0
    d[2] = -(3.0 * u * u - 4.0 * u) / 2.0
    d[3] = 0.5 * t * t


@njit(cache=True, fastmath=True)
def look_up(volume, places, values, slopes):
    """Trilinear values (bin units) and slopes (bins per voxel) at index places; -1 = outside."""
    n0, n1, n2 = volume.shape
    for p in range(places.shape[0]):
        x, y, z = places[p, 0], places[p, 1], places[p, 2]
        if not (x >= 0.0 and y >= 0.0 and z >= 0.0 and x < n0 - 1 and y < n1 - 1 and z < n2 - 1):
            values[p] = -1.0
            continue
        i, j, k = int(x), int(y), int(z)
        a, b, c = x - i, y - j, z - k
        v000, v001 = volume[i, j, k], volume[i, j, k + 1]
        v010, v011 = volume[i, j + 1, k], volume[i, j + 1, k + 1]
        v100, v101 = volume[i + 1, j, k], volume[i + 1, j, k + 1]
        v110, v111 = volume[i + 1, j + 1, k], volume[i + 1, j + 1, k + 1]
        v00, v01 = v000 + c * (v001 - v000), v010 + c * (v011 - v010)
        v10, v11 = v100 + c * (v101 - v100), v110 + c * (v111 - v110)
        v0, v1 = v00 + b * (v01 - v00), v10 + b * (v11 - v10)
        values[p] = v0 + a * (v1 - v0)
        slopes[p, 0] = v1 - v0
        slopes[p, 1] = (1.0 - a) * (v01 - v00) + a * (v11 - v10)
        s0 = (1.0 - b) * (v001 - v000) + b * (v011 - v010)
        s1 = (1.0 - b) * (v101 - v100) + b * (v111 - v110)
        slopes[p, 2] = (1.0 - a) * s0 + a * s1


@njit(cache=True, fastmath=True)
def count_pairs(fixed_bin, values, bins):
    """Joint histogram (bins, bins): own bin of the fixed image, spline over the moving one."""
    table = np.zeros((bins, bins))
    w = np.empty(4)
    for p in range(fixed_bin.shape[0]):
        v = values[p]
        if v < 0.0:
            continue
        m = int(v)
        _spline(v - m, w)
        for q in range(4):
            table[fixed_bin[p], m - 1 + q] += w[q]
    return table


@njit(cache=True, fastmath=True)
def pull_of_points(fixed_bin, values, slopes, gain, per_mm, arms):
    """Sums of each point's pull (3,) and of arm x pull (3,), both in mm.

    ``gain`` (bins, bins) is what a count in each cell adds; ``per_mm`` (3, 3) turns slopes per
    voxel into slopes per mm; ``arms`` (n, 3) lead from the centre of turning to each point.
    """
    pull, turn = np.zeros(3), np.zeros(3)
    d, g = np.empty(4), np.empty(3)
    for p in range(fixed_bin.shape[0]):
        v = values[p]
        if v < 0.0:
            continue
        m = int(v)
        _slope(v - m, d)
        s = 0.0
        for q in range(4):
            s += d[q] * gain[fixed_bin[p], m - 1 + q]
        for r in range(3):
            g[r] = s * (
                slopes[p, 0] * per_mm[0, r]
                + slopes[p, 1] * per_mm[1, r]
                + slopes[p, 2] * per_mm[2, r]
            )
            pull[r] += g[r]
        turn[0] += arms[p, 1] * g[2] - arms[p, 2] * g[1]
        turn[1] += arms[p, 2] * g[0] - arms[p, 0] * g[2]
        turn[2] += arms[p, 0] * g[1] - arms[p, 1] * g[0]
    return pull, turn


@njit(cache=True, fastmath=True)
def gain_of_points(fixed_bin, values, gain):
    """What each point says for the match, (n,): the spline mean of its cells' log ratios."""
    found = np.zeros(fixed_bin.shape[0])
    w = np.empty(4)
    for p in range(fixed_bin.shape[0]):
        v = values[p]
        if v < 0.0:
            continue
        m = int(v)
        _spline(v - m, w)
        for q in range(4):
            found[p] += w[q] * gain[fixed_bin[p], m - 1 + q]
    return found
