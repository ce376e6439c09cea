"""Array loops for surfaces and distance fields: arrays in, arrays out."""

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
def _gather(
    v, points, normals, variance, radius, stride, start, order, dims, low, e1, e2, a, b, f
):
    """Normal equations of a quadric over the neighbours of point v; returns two sums."""
    n0, n1, n2 = normals[v, 0], normals[v, 1], normals[v, 2]
    squares, weight = 0.0, 0.0
    c0 = int((points[v, 0] - low[0]) / radius)
    c1 = int((points[v, 1] - low[1]) / radius)
    c2 = int((points[v, 2] - low[2]) / radius)
    for ci in range(max(0, c0 - 1), min(dims[0], c0 + 2)):
        for cj in range(max(0, c1 - 1), min(dims[1], c1 + 2)):
            for ck in range(max(0, c2 - 1), min(dims[2], c2 + 2)):
                cell = (ci * dims[1] + cj) * dims[2] + ck
                for q in range(start[cell], start[cell + 1], stride):
                    u = order[q]
                    dx = points[u, 0] - points[v, 0]
                    dy = points[u, 1] - points[v, 1]
                    dz = points[u, 2] - points[v, 2]
                    d2 = dx * dx + dy * dy + dz * dz
                    if d2 >= radius * radius:
                        continue
                    along = normals[u, 0] * n0 + normals[u, 1] * n1 + normals[u, 2] * n2
                    if along < 0.3:  # the other side of a thin wall
                        continue
                    x = (dx * e1[0] + dy * e1[1] + dz * e1[2]) / radius
                    y = (dx * e2[0] + dy * e2[1] + dz * e2[2]) / radius
                    h = dx * n0 + dy * n1 + dz * n2
                    near = 1.0 - d2 / (radius * radius)
                    near = near * near * along * stride
                    w = near / variance[u]
                    f[0], f[1], f[2], f[3], f[4], f[5] = 1.0, x, y, x * x, x * y, y * y
                    squares += w * h * h
                    weight += near
                    for i in range(6):
                        b[i] += w * f[i] * h
                        for j in range(i + 1):
                            a[i, j] += w * f[i] * f[j]
    return squares, weight


@njit(cache=True, parallel=True)
def fit_quadrics(
    points, normals, variance, radius, stride, start, order, dims, low, todo,
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
            v, points, normals, variance, radius, stride, start, order, dims, low, e1, e2, a, b, f
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


@njit(cache=True)
def seed_nearest(vertices, step, nearest):
    """Give the voxels around each vertex the nearest vertex; positions in mm from voxel 0."""
    ni, nj, nk = nearest.shape
    for v in range(len(vertices)):
        i0 = int(np.floor(vertices[v, 0] / step[0]))
        j0 = int(np.floor(vertices[v, 1] / step[1]))
        k0 = int(np.floor(vertices[v, 2] / step[2]))
        for i in range(max(0, i0), min(ni, i0 + 2)):
            for j in range(max(0, j0), min(nj, j0 + 2)):
                for k in range(max(0, k0), min(nk, k0 + 2)):
                    u = nearest[i, j, k]
                    if u < 0 or _squared(vertices, v, i, j, k, step) < _squared(
                        vertices, u, i, j, k, step
                    ):
                        nearest[i, j, k] = v


@njit(cache=True, inline="always")
def _squared(vertices, v, i, j, k, step):
    dx = vertices[v, 0] - i * step[0]
    dy = vertices[v, 1] - j * step[1]
    dz = vertices[v, 2] - k * step[2]
    return dx * dx + dy * dy + dz * dz


@njit(cache=True)
def spread_nearest(vertices, step, nearest):
    """Carry nearest vertices to all voxels: eight sweeps, one for each triple of directions."""
    ni, nj, nk = nearest.shape
    for sweep in range(8):
        di = 1 if sweep & 1 else -1
        dj = 1 if sweep & 2 else -1
        dk = 1 if sweep & 4 else -1
        for a in range(ni):
            i = a if di < 0 else ni - 1 - a
            for b in range(nj):
                j = b if dj < 0 else nj - 1 - b
                for c in range(nk):
                    k = c if dk < 0 else nk - 1 - c
                    mine = nearest[i, j, k]
                    best = 1e30 if mine < 0 else _squared(vertices, mine, i, j, k, step)
                    for q in range(3):  # the neighbours already met in this sweep
                        x = i + (di if q == 0 else 0)
                        y = j + (dj if q == 1 else 0)
                        z = k + (dk if q == 2 else 0)
                        if x < 0 or y < 0 or z < 0 or x >= ni or y >= nj or z >= nk:
                            continue
                        other = nearest[x, y, z]
                        if other < 0 or other == mine:
                            continue
                        d2 = _squared(vertices, other, i, j, k, step)
                        if d2 < best:
                            best, mine = d2, other
                    nearest[i, j, k] = mine


@njit(cache=True)
def _triangle_squared(p0, p1, p2, t, corners):
    """Squared distance of a point to triangle t (Ericson's region test, written anew)."""
    ab0 = corners[t, 1, 0] - corners[t, 0, 0]
    ab1 = corners[t, 1, 1] - corners[t, 0, 1]
    ab2 = corners[t, 1, 2] - corners[t, 0, 2]
    ac0 = corners[t, 2, 0] - corners[t, 0, 0]
    ac1 = corners[t, 2, 1] - corners[t, 0, 1]
    ac2 = corners[t, 2, 2] - corners[t, 0, 2]
    ap0, ap1, ap2 = p0 - corners[t, 0, 0], p1 - corners[t, 0, 1], p2 - corners[t, 0, 2]
    d1 = ab0 * ap0 + ab1 * ap1 + ab2 * ap2
    d2 = ac0 * ap0 + ac1 * ap1 + ac2 * ap2
    aa = ab0 * ab0 + ab1 * ab1 + ab2 * ab2
    cc = ac0 * ac0 + ac1 * ac1 + ac2 * ac2
    ac_ab = ab0 * ac0 + ab1 * ac1 + ab2 * ac2
    det = aa * cc - ac_ab * ac_ab
    u, w = 0.0, 0.0
    inside = False
    if det > 1e-18:
        u = (cc * d1 - ac_ab * d2) / det
        w = (aa * d2 - ac_ab * d1) / det
        inside = u >= 0.0 and w >= 0.0 and u + w <= 1.0
    if inside:
        r0, r1, r2 = ap0 - u * ab0 - w * ac0, ap1 - u * ab1 - w * ac1, ap2 - u * ab2 - w * ac2
        return r0 * r0 + r1 * r1 + r2 * r2
    best = 1e30
    for e in range(3):
        s = (e + 1) % 3
        g0 = corners[t, s, 0] - corners[t, e, 0]
        g1 = corners[t, s, 1] - corners[t, e, 1]
        g2 = corners[t, s, 2] - corners[t, e, 2]
        q0, q1, q2 = p0 - corners[t, e, 0], p1 - corners[t, e, 1], p2 - corners[t, e, 2]
        gg = g0 * g0 + g1 * g1 + g2 * g2
        x = (g0 * q0 + g1 * q1 + g2 * q2) / gg if gg > 0.0 else 0.0
        x = min(1.0, max(0.0, x))
        r0, r1, r2 = q0 - x * g0, q1 - x * g1, q2 - x * g2
        best = min(best, r0 * r0 + r1 * r1 + r2 * r2)
    return best


@njit(cache=True, parallel=True)
def measure_distances(vertices, corners, first, owned, nearest, step, exact_within, inside, out):
    """Distance of each voxel centre to the surface near its nearest vertex, signed by ``inside``.

    Beyond ``exact_within`` the nearest vertex itself is taken, less 0.02 mm.
    """
    ni, nj, nk = nearest.shape
    for i in prange(ni):
        for j in range(nj):
            for k in range(nk):
                v = nearest[i, j, k]
                d2 = _squared(vertices, v, i, j, k, step)
                if d2 < exact_within * exact_within:
                    for q in range(first[v], first[v + 1]):
                        t = owned[q]
                        d2 = min(
                            d2,
                            _triangle_squared(i * step[0], j * step[1], k * step[2], t, corners),
                        )
                d = np.sqrt(d2)
                if d >= exact_within and not inside[i, j, k]:
                    d -= 0.02  # a triangle may come nearer than its corners, by so much at most
                out[i, j, k] = -d if inside[i, j, k] else d


@njit(cache=True)
def look_up(field, ijk_from_lps, inner_low, inner_high, points, out):
    """Trilinear look-up; outside the grid the distance to the solid's own box (an under-estimate).

    ``inner_low`` and ``inner_high`` bound the solid in index space; ``step`` lengths are in the
    matrix, so the box distance is taken in mm by the caller's ``lps`` scale: see space.fields.
    """
    ni, nj, nk = field.shape
    m = ijk_from_lps
    for p in range(len(points)):
        x, y, z = points[p, 0], points[p, 1], points[p, 2]
        i = m[0, 0] * x + m[0, 1] * y + m[0, 2] * z + m[0, 3]
        j = m[1, 0] * x + m[1, 1] * y + m[1, 2] * z + m[1, 3]
        k = m[2, 0] * x + m[2, 1] * y + m[2, 2] * z + m[2, 3]
        if 0.0 <= i <= ni - 1 and 0.0 <= j <= nj - 1 and 0.0 <= k <= nk - 1:
            i0, j0, k0 = min(int(i), ni - 2), min(int(j), nj - 2), min(int(k), nk - 2)
            a, b, c = i - i0, j - j0, k - k0
            f00 = field[i0, j0, k0] * (1 - c) + field[i0, j0, k0 + 1] * c
            f01 = field[i0, j0 + 1, k0] * (1 - c) + field[i0, j0 + 1, k0 + 1] * c
            f10 = field[i0 + 1, j0, k0] * (1 - c) + field[i0 + 1, j0, k0 + 1] * c
            f11 = field[i0 + 1, j0 + 1, k0] * (1 - c) + field[i0 + 1, j0 + 1, k0 + 1] * c
            out[p] = (f00 * (1 - b) + f01 * b) * (1 - a) + (f10 * (1 - b) + f11 * b) * a
        else:
            s = 0.0
            s += (max(0.0, inner_low[0] - i, i - inner_high[0]) * inner_low[3]) ** 2
            s += (max(0.0, inner_low[1] - j, j - inner_high[1]) * inner_low[4]) ** 2
            s += (max(0.0, inner_low[2] - k, k - inner_high[2]) * inner_low[5]) ** 2
            out[p] = np.sqrt(s)


@njit(cache=True, parallel=True)
def fill_columns(corners, mask):
    """Mark voxel centres inside a closed surface by parity along k; corners in index space."""
    ni, nj, nk = mask.shape
    crossings = np.zeros((ni, nj, nk + 1), np.int32)
    for t in range(len(corners)):
        low_i = max(0, int(np.ceil(min(corners[t, 0, 0], corners[t, 1, 0], corners[t, 2, 0]))))
        high_i = min(
            ni - 1, int(np.floor(max(corners[t, 0, 0], corners[t, 1, 0], corners[t, 2, 0])))
        )
        low_j = max(0, int(np.ceil(min(corners[t, 0, 1], corners[t, 1, 1], corners[t, 2, 1]))))
        high_j = min(
            nj - 1, int(np.floor(max(corners[t, 0, 1], corners[t, 1, 1], corners[t, 2, 1])))
        )
        ax, ay, az = corners[t, 0, 0], corners[t, 0, 1], corners[t, 0, 2]
        bx, by, bz = corners[t, 1, 0] - ax, corners[t, 1, 1] - ay, corners[t, 1, 2] - az
        cx, cy, cz = corners[t, 2, 0] - ax, corners[t, 2, 1] - ay, corners[t, 2, 2] - az
        det = bx * cy - by * cx
        if abs(det) < 1e-15:
            continue
        for i in range(low_i, high_i + 1):
            for j in range(low_j, high_j + 1):
                u = ((i - ax) * cy - (j - ay) * cx) / det
                w = ((j - ay) * bx - (i - ax) * by) / det
                if u < 0.0 or w < 0.0 or u + w >= 1.0:
                    continue
                k = int(np.ceil(az + u * bz + w * cz))
                crossings[i, j, min(max(k, 0), nk)] += 1 if det > 0 else -1
    for i in prange(ni):
        for j in range(nj):
            depth = 0
            for k in range(nk):
                depth += crossings[i, j, k]
                mask[i, j, k] = depth != 0
