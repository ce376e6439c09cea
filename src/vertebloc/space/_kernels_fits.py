"""Array loops that fit quadrics to the crossings of a mask: arrays in, arrays out."""

import numpy as np
from numba import njit, prange


@njit(cache=True)
def _tangents(n0, n1, n2, e1, e2):
    if abs(n0) < 0.6:
        e1[0], e1[1], e1[2] = 0.0, n2, -n1
    else:
        e1[0], e1[1], e1[2] = -n2, 0.0, n0
    length = np.sqrt(e1[0] ** 2 + e1[1] ** 2 + e1[2] ** 2)
    for i in range(3):
        e1[i] /= length
    e2[0] = n1 * e1[2] - n2 * e1[1]
    e2[1] = n2 * e1[0] - n0 * e1[2]
    e2[2] = n0 * e1[1] - n1 * e1[0]


@njit(cache=True)
def _cholesky(a):
    for i in range(6):
        for j in range(i + 1):
            s = a[i, j]
            for k in range(j):
                s -= a[i, k] * a[j, k]
            if i == j:
                if s <= 1e-12:
                    return False
                a[i, i] = np.sqrt(s)
            else:
                a[i, j] = s / a[j, j]
    return True


@njit(cache=True, fastmath=True)
def _add_moments(x, y, h, w, count, m):
    """Add the weighted sums of the first ``count`` neighbours to m: 15 of places, 6 with heights.

    One straight loop without branches, so that the compiler takes several neighbours at once.
    """
    m00 = m10 = m01 = m20 = m11 = m02 = m30 = m21 = m12 = m03 = 0.0
    m40 = m31 = m22 = m13 = m04 = 0.0
    b0 = b1 = b2 = b3 = b4 = b5 = squares = 0.0
    for q in range(count):
        wx, wy, wh = w[q] * x[q], w[q] * y[q], w[q] * h[q]
        xx, xy, yy = x[q] * x[q], x[q] * y[q], y[q] * y[q]
        m00 += w[q]
        m10 += wx
        m01 += wy
        m20 += w[q] * xx
        m11 += w[q] * xy
        m02 += w[q] * yy
        m30 += wx * xx
        m21 += wx * xy
        m12 += wx * yy
        m03 += wy * yy
        m40 += w[q] * xx * xx
        m31 += w[q] * xx * xy
        m22 += w[q] * xx * yy
        m13 += w[q] * xy * yy
        m04 += w[q] * yy * yy
        b0 += wh
        b1 += wh * x[q]
        b2 += wh * y[q]
        b3 += wh * xx
        b4 += wh * xy
        b5 += wh * yy
        squares += wh * h[q]
    m[0] += m00
    m[1] += m10
    m[2] += m01
    m[3] += m20
    m[4] += m11
    m[5] += m02
    m[6] += m30
    m[7] += m21
    m[8] += m12
    m[9] += m03
    m[10] += m40
    m[11] += m31
    m[12] += m22
    m[13] += m13
    m[14] += m04
    m[15] += b0
    m[16] += b1
    m[17] += b2
    m[18] += b3
    m[19] += b4
    m[20] += b5
    m[21] += squares


@njit(cache=True)
def _gather(v, points, normals, weights, radius, start, dims, low, e1, e2, near_by, m, a, b):
    """Normal equations of a quadric over the neighbours of point v; returns two sums."""
    p0, p1, p2 = points[v, 0], points[v, 1], points[v, 2]
    n0, n1, n2 = normals[v, 0], normals[v, 1], normals[v, 2]
    x, y, h, w = near_by[0], near_by[1], near_by[2], near_by[3]
    weight, count = 0.0, 0
    m[:] = 0.0
    side, over = radius / 2.0, 1.0 / radius
    c0, c1, c2 = int((p0 - low[0]) / side), int((p1 - low[1]) / side), int((p2 - low[2]) / side)
    for ci in range(max(0, c0 - 2), min(dims[0], c0 + 3)):
        for cj in range(max(0, c1 - 2), min(dims[1], c1 + 3)):
            line = (ci * dims[1] + cj) * dims[2]
            first = start[line + max(0, c2 - 2)]
            for u in range(first, start[line + min(dims[2], c2 + 3)]):
                dx, dy, dz = points[u, 0] - p0, points[u, 1] - p1, points[u, 2] - p2
                near = 1.0 - (dx * dx + dy * dy + dz * dz) * over * over
                if near <= 0.0:
                    continue
                along = normals[u, 0] * n0 + normals[u, 1] * n1 + normals[u, 2] * n2
                if along < 0.3:  # the other side of a thin wall
                    continue
                near = near * near * along
                weight += near
                x[count] = (dx * e1[0] + dy * e1[1] + dz * e1[2]) * over
                y[count] = (dx * e2[0] + dy * e2[1] + dz * e2[2]) * over
                h[count] = dx * n0 + dy * n1 + dz * n2
                w[count] = near * weights[u]
                count += 1
                if count == len(x):
                    _add_moments(x, y, h, w, count, m)
                    count = 0
    _add_moments(x, y, h, w, count, m)
    for i in range(6):
        b[i] = m[15 + i]
    a[0, 0] = m[0]
    a[1, 0], a[1, 1] = m[1], m[3]
    a[2, 0], a[2, 1], a[2, 2] = m[2], m[4], m[5]
    a[3, 0], a[3, 1], a[3, 2], a[3, 3] = m[3], m[6], m[7], m[10]
    a[4, 0], a[4, 1], a[4, 2], a[4, 3], a[4, 4] = m[4], m[7], m[8], m[11], m[12]
    a[5, 0], a[5, 1], a[5, 2], a[5, 3], a[5, 4], a[5, 5] = m[5], m[8], m[9], m[12], m[13], m[14]
    return m[21], weight


@njit(cache=True)
def _solve(a, b, f):
    """Coefficients in b, by the factor in a; returns what they explain and the variance at 0."""
    explained, inverse = 0.0, 0.0
    for i in range(6):
        s = b[i]
        for k in range(i):
            s -= a[i, k] * b[k]
        b[i] = s / a[i, i]
        explained += b[i] * b[i]
        s = 1.0 if i == 0 else 0.0
        for k in range(i):
            s -= a[i, k] * f[k]
        f[i] = s / a[i, i]
        inverse += f[i] * f[i]
    for i in range(5, -1, -1):
        s = b[i]
        for k in range(i + 1, 6):
            s -= a[k, i] * b[k]
        b[i] = s / a[i, i]
    return explained, inverse


@njit(cache=True, parallel=True)
def fit_quadrics(
    points, normals, weights, radius, start, dims, low, todo, shift, spread, misfit, turned
):
    """Weighted quadric through the neighbours of each point, in its own tangent frame.

    The points come sorted by cell. Writes, for each point with ``todo``: the height of the
    quadric over the point, its standard deviation, the mean squared residual times weight, and
    the quadric's normal there.
    """
    block = 256
    for part in prange((len(points) + block - 1) // block):
        e1, e2 = np.zeros(3), np.zeros(3)
        a, b, f, m = np.zeros((6, 6)), np.zeros(6), np.zeros(6), np.zeros(22)
        near_by = np.empty((4, 512))
        for v in range(part * block, min(len(points), (part + 1) * block)):
            if not todo[v]:
                continue
            _tangents(normals[v, 0], normals[v, 1], normals[v, 2], e1, e2)
            squares, weight = _gather(
                v, points, normals, weights, radius, start, dims, low, e1, e2, near_by, m, a, b
            )
            for i in range(1, 6):  # weak prior: a flat patch; keeps lonely points solvable
                a[i, i] += 0.1 if i < 3 else 1.0
            if weight <= 0.0 or not _cholesky(a):
                continue
            explained, inverse = _solve(a, b, f)
            shift[v] = b[0]
            spread[v] = np.sqrt(inverse)
            misfit[v] = (squares - explained) / weight
            length = 0.0
            for i in range(3):
                turned[v, i] = normals[v, i] - (b[1] * e1[i] + b[2] * e2[i]) / radius
                length += turned[v, i] ** 2
            length = np.sqrt(length)
            for i in range(3):
                turned[v, i] /= length
