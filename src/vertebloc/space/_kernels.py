"""Array loops for distance fields: arrays in, arrays out."""

import numpy as np
from numba import njit, prange


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
def _sweep(vertices, step, nearest, di, dj, dk):
    """Carry nearest vertices once through all nodes, along one triple of directions."""
    ni, nj, nk = nearest.shape
    for a in range(ni):
        i = a if di < 0 else ni - 1 - a
        for b in range(nj):
            j = b if dj < 0 else nj - 1 - b
            for c in range(nk):
                k = c if dk < 0 else nk - 1 - c
                mine = nearest[i, j, k]
                if mine == -2:
                    continue
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


@njit(cache=True, parallel=True)
def spread_nearest(vertices, step, nearest):
    """Carry nearest vertices to all nodes: eight sweeps, one for each triple of directions.

    A vertex reaches a node along the one triple that leads there, so the four sweeps up and the
    four sweeps down the first axis can run side by side; the better of the two is kept. Nodes at
    -2 are left out: the way from a vertex to a node nearer than these does not lead over them.
    """
    other = nearest.copy()
    for half in prange(2):
        for q in range(4):
            mine = nearest if half == 0 else other
            _sweep(vertices, step, mine, 2 * half - 1, 1 if q & 1 else -1, 1 if q & 2 else -1)
    ni, nj, nk = nearest.shape
    for i in prange(ni):
        for j in range(nj):
            for k in range(nk):
                u, v = other[i, j, k], nearest[i, j, k]
                if u != v and u >= 0:
                    d2 = _squared(vertices, u, i, j, k, step)
                    if v < 0 or d2 < _squared(vertices, v, i, j, k, step):
                        nearest[i, j, k] = u


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


@njit(cache=True, inline="always")
def _best_candidate(vertices, nearest, stride, i, j, k, step):
    """Nearest of the vertices that the nodes around a voxel have."""
    i0, j0, k0 = i // stride[0], j // stride[1], k // stride[2]
    best, mine = 1e30, -1
    for a in range(i0, min(nearest.shape[0], i0 + 2)):
        for b in range(j0, min(nearest.shape[1], j0 + 2)):
            for c in range(k0, min(nearest.shape[2], k0 + 2)):
                v = nearest[a, b, c]
                if v >= 0 and v != mine:
                    d2 = _squared(vertices, v, i, j, k, step)
                    if d2 < best:
                        best, mine = d2, v
    return mine


@njit(cache=True)
def _walk_downhill(vertices, first, ring, v, best, i, j, k, step):
    """Step from vertex to neighbouring vertex while that comes nearer to the voxel."""
    while True:
        nearer = v
        for q in range(first[v], first[v + 1]):
            u = ring[q]
            d2 = _squared(vertices, u, i, j, k, step)
            if d2 < best:
                best, nearer = d2, u
        if nearer == v:
            return v, best
        v = nearer


@njit(cache=True, parallel=True)
def leave_out_far(at, ratio, step, limit, nearest, distances):
    """Mark nodes surely farther than ``limit`` by -2; they get straight steps between far nodes.

    A node is at least as far as a far node beside it is (``at``), less the way there. As the
    curvature of a distance d is at most 1/d, steps are too long by h^2 t (1 - t) / 2d on an axis
    at most, which is taken off, and 0.1 mm for nearest vertices missed between nodes so far apart.
    """
    ni, nj, nk = nearest.shape
    for i in prange(ni):
        for j in range(nj):
            for k in range(nk):
                i0, j0, k0 = i // ratio, j // ratio, k // ratio
                a, b, c = i / ratio - i0, j / ratio - j0, k / ratio - k0
                least, straight = 0.0, 0.0
                for q in range(8):
                    x, y, z = q & 1, (q >> 1) & 1, q >> 2
                    if i0 + x >= at.shape[0] or j0 + y >= at.shape[1] or k0 + z >= at.shape[2]:
                        continue  # the node lies on the last far one: nothing counts beyond
                    d = at[i0 + x, j0 + y, k0 + z]
                    da, db, dc = abs(x - a), abs(y - b), abs(z - c)
                    straight += d * (1 - da) * (1 - db) * (1 - dc)
                    way = (da * step[0]) ** 2 + (db * step[1]) ** 2 + (dc * step[2]) ** 2
                    least = max(least, d - ratio * np.sqrt(way))
                if least > limit:
                    nearest[i, j, k] = -2
                    less = 0.0
                    for h, t in ((step[0], a), (step[1], b), (step[2], c)):
                        less += (ratio * h) ** 2 * t * (1.0 - t) / 2.0
                    distances[i, j, k] = straight - less / least - 0.1


@njit(cache=True, parallel=True)
def polish_nearest(vertices, first, ring, step, walked, nearest, polished, distances):
    """Take the best of each node's and its six neighbours' vertices, then walk downhill.

    Writes the distances to the vertices too; nodes at -2 keep what they have. With ``walked`` all
    have walked before, and only what changes walks again.
    """
    ni, nj, nk = nearest.shape
    for i in prange(ni):
        for j in range(nj):
            for k in range(nk):
                v = nearest[i, j, k]
                polished[i, j, k] = v
                if v < 0:
                    continue
                best = _squared(vertices, v, i, j, k, step)
                for q in range(6):
                    x = min(ni - 1, max(0, i + (1 if q == 0 else -1 if q == 1 else 0)))
                    y = min(nj - 1, max(0, j + (1 if q == 2 else -1 if q == 3 else 0)))
                    z = min(nk - 1, max(0, k + (1 if q == 4 else -1 if q == 5 else 0)))
                    u = nearest[x, y, z]
                    if u >= 0 and u != v:
                        d2 = _squared(vertices, u, i, j, k, step)
                        if d2 < best:
                            best, v = d2, u
                if not walked or v != nearest[i, j, k]:
                    v, best = _walk_downhill(vertices, first, ring, v, best, i, j, k, step)
                polished[i, j, k] = v
                distances[i, j, k] = np.sqrt(best)


@njit(cache=True)
def _triangles_distance(corners, first, owned, v, best, i, j, k, step):
    """Distance of a voxel to the triangles around its nearest vertex."""
    for q in range(first[v], first[v + 1]):
        best = min(
            best,
            _triangle_squared(i * step[0], j * step[1], k * step[2], owned[q], corners),
        )
    return np.sqrt(best)


@njit(cache=True)
def _nearer_found(vertices, found, v, i, j, k, step):
    """Vertex v, or a nearer one that the voxels before this one in the slice have found."""
    best = _squared(vertices, v, i, j, k, step)
    for x in range(max(0, k - 1), min(len(found), k + 2)):
        u = found[x]
        if u >= 0 and u != v:
            d2 = _squared(vertices, u, i, j, k, step)
            if d2 < best:
                best, v = d2, u
    return v, best


@njit(cache=True, parallel=True)
def measure_distances(
    vertices, corners, first, owned, ring, nearest, distances, stride, step, exact_within, less,
    inside, out,
):  # fmt: skip
    """Distance of each voxel centre to the surface, signed by ``inside``.

    Within ``exact_within`` to the triangles around the nearest vertex, found from those of the
    nodes around and of the voxels before; farther out straight steps between the nodes'
    distances to vertices. Both are too long by about ``less`` (mm2) over the distance, which is
    taken off outside the solid.
    """
    ni, nj, nk = out.shape
    for i in prange(ni):
        i0 = i // stride[0]
        i1 = min(i0 + 1, distances.shape[0] - 1)
        a = i / stride[0] - i0
        line = np.empty(distances.shape[2] + 1)
        found = np.full(nk, -1, np.int32)
        for j in range(nj):
            j0 = j // stride[1]
            j1 = min(j0 + 1, distances.shape[1] - 1)
            b = j / stride[1] - j0
            for k in range(distances.shape[2]):
                line[k] = (distances[i0, j0, k] * (1 - b) + distances[i0, j1, k] * b) * (1 - a) + (
                    distances[i1, j0, k] * (1 - b) + distances[i1, j1, k] * b
                ) * a
            line[distances.shape[2]] = line[distances.shape[2] - 1]
            for k in range(nk):
                k0 = k // stride[2]
                c = k / stride[2] - k0
                d = line[k0] * (1 - c) + line[k0 + 1] * c
                if d < exact_within:
                    v = _best_candidate(vertices, nearest, stride, i, j, k, step)
                    v, best = _nearer_found(vertices, found, v, i, j, k, step)
                    v, best = _walk_downhill(vertices, first, ring, v, best, i, j, k, step)
                    found[k] = v
                    d = _triangles_distance(corners, first, owned, v, best, i, j, k, step)
                elif not inside[i, j, k]:
                    d -= less / d
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
