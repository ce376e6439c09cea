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


@njit(cache=True)
def _gather(v, points, normals, weights, radius, start, order, dims, low, e1, e2, a, b):
    """Normal equations of a quadric over the neighbours of point v; returns two sums.

    The 21 entries of the matrix are 15 moments of the places in the tangent plane.
    """
    p0, p1, p2 = points[v, 0], points[v, 1], points[v, 2]
    n0, n1, n2 = normals[v, 0], normals[v, 1], normals[v, 2]
    squares, weight = 0.0, 0.0
    m00 = m10 = m01 = m20 = m11 = m02 = m30 = m21 = m12 = m03 = 0.0
    m40 = m31 = m22 = m13 = m04 = 0.0
    b0 = b1 = b2 = b3 = b4 = b5 = 0.0
    side = radius / 2.0
    c0, c1, c2 = int((p0 - low[0]) / side), int((p1 - low[1]) / side), int((p2 - low[2]) / side)
    for ci in range(max(0, c0 - 2), min(dims[0], c0 + 3)):
        for cj in range(max(0, c1 - 2), min(dims[1], c1 + 3)):
            line = (ci * dims[1] + cj) * dims[2]
            first = start[line + max(0, c2 - 2)]
            for q in range(first, start[line + min(dims[2], c2 + 3)]):
                u = order[q]
                dx, dy, dz = points[u, 0] - p0, points[u, 1] - p1, points[u, 2] - p2
                near = 1.0 - (dx * dx + dy * dy + dz * dz) / (radius * radius)
                if near <= 0.0:
                    continue
                along = normals[u, 0] * n0 + normals[u, 1] * n1 + normals[u, 2] * n2
                if along < 0.3:  # the other side of a thin wall
                    continue
                x = (dx * e1[0] + dy * e1[1] + dz * e1[2]) / radius
                y = (dx * e2[0] + dy * e2[1] + dz * e2[2]) / radius
                h = dx * n0 + dy * n1 + dz * n2
                near = near * near * along
                w = near * weights[u]
                weight += near
                squares += w * h * h
                wx, wy = w * x, w * y
                wxx, wxy, wyy = wx * x, wx * y, wy * y
                m00 += w
                m10 += wx
                m01 += wy
                m20 += wxx
                m11 += wxy
                m02 += wyy
                m30 += wxx * x
                m21 += wxx * y
                m12 += wxy * y
                m03 += wyy * y
                m40 += wxx * x * x
                m31 += wxx * x * y
                m22 += wxx * y * y
                m13 += wxy * y * y
                m04 += wyy * y * y
                b0 += w * h
                b1 += wx * h
                b2 += wy * h
                b3 += wxx * h
                b4 += wxy * h
                b5 += wyy * h
    b[0], b[1], b[2], b[3], b[4], b[5] = b0, b1, b2, b3, b4, b5
    a[0, 0] = m00
    a[1, 0], a[1, 1] = m10, m20
    a[2, 0], a[2, 1], a[2, 2] = m01, m11, m02
    a[3, 0], a[3, 1], a[3, 2], a[3, 3] = m20, m30, m21, m40
    a[4, 0], a[4, 1], a[4, 2], a[4, 3], a[4, 4] = m11, m21, m12, m31, m22
    a[5, 0], a[5, 1], a[5, 2], a[5, 3], a[5, 4], a[5, 5] = m02, m12, m03, m22, m13, m04
    return squares, weight


@njit(cache=True, parallel=True)
def fit_quadrics(
    points, normals, weights, radius, start, order, dims, low, todo,
    shift, spread, misfit, turned,
):  # fmt: skip
    """Weighted quadric through the neighbours of each point, in its own tangent frame.

    Writes, for each point with ``todo``: the height of the quadric over the point, its standard
    deviation, the mean squared residual times weight, and the quadric's normal there.
    """
    for v in prange(len(points)):
        if not todo[v]:
            continue
        e1 = np.zeros(3)
        e2 = np.zeros(3)
        a = np.zeros((6, 6))
        b = np.zeros(6)
        f = np.zeros(6)
        _tangents(normals[v, 0], normals[v, 1], normals[v, 2], e1, e2)
        squares, weight = _gather(
            v, points, normals, weights, radius, start, order, dims, low, e1, e2, a, b
        )
        for i in range(1, 6):  # weak prior: a flat patch; keeps lonely points solvable
            a[i, i] += 0.1 if i < 3 else 1.0
        if weight <= 0.0 or not _cholesky(a):
            continue
        residual, inverse = squares, 0.0
        for i in range(6):
            s = b[i]
            for k in range(i):
                s -= a[i, k] * b[k]
            b[i] = s / a[i, i]
            residual -= b[i] * b[i]
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
        shift[v] = b[0]
        spread[v] = np.sqrt(inverse)
        misfit[v] = residual / weight
        length = 0.0
        for i in range(3):
            turned[v, i] = normals[v, i] - (b[1] * e1[i] + b[2] * e2[i]) / radius
            length += turned[v, i] ** 2
        length = np.sqrt(length)
        for i in range(3):
            turned[v, i] /= length
