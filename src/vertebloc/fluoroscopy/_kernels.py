"""Array loops for predicted X-ray pictures: arrays in, arrays out, all in voxel indices.

Straight lines stay straight and planes stay planes under any affine map, so every loop works in
the index space of the volume; the caller supplies how long one index step is in mm. Loops from
``first`` to ``last`` may run side by side in threads: each writes only to what is its own.
"""

import numpy as np
from numba import njit

_TINY = 1e-12


@njit(cache=True, nogil=True)
def lay_planes(values, order, offset, planes, first, last):
    """Copy a volume as planes along one axis: values + offset, nothing below 0, a rim of 0.

    ``order``: which axis of ``values`` becomes plane, row and column.
    """
    plane_axis, row_axis, col_axis = order[0], order[1], order[2]
    count, cols = planes.shape[0], planes.shape[2] - 2
    at = np.zeros(3, np.int64)
    block = 32  # both sides of a block stay in the nearest cache, whichever runs fastest
    for r in range(first, last):
        at[row_axis] = r
        for p0 in range(0, count, block):
            for c0 in range(0, cols, block):
                for p in range(p0, min(count, p0 + block)):
                    at[plane_axis] = p
                    for c in range(c0, min(cols, c0 + block)):
                        at[col_axis] = c
                        value = values[at[0], at[1], at[2]] + offset
                        planes[p, r + 1, c + 1] = min(max(value, 0), 32767)


# The three inner loops run from 0 over slices: only then does the compiler know that no index
# counts from the end, and makes them wide (SIMD). That is half of the time.


@njit(cache=True, nogil=True, fastmath=True)
def _as_float(row, plain):
    for c in range(len(row)):
        plain[c] = np.float32(row[c])


@njit(cache=True, nogil=True, fastmath=True)
def _read_columns(plain, place, weight, out):
    for c in range(len(place)):
        i = place[c]  # unsigned, for the same reason
        u = plain[i]
        out[c] = u + (plain[i + np.uint32(1)] - u) * weight[c]


@njit(cache=True, nogil=True, fastmath=True)
def _add_blended(line, upper, lower, w):
    for c in range(len(line)):
        u = upper[c]
        line[c] += u + (lower[c] - u) * w


@njit(cache=True, nogil=True, fastmath=True)
def add_slabs(planes, share, row_at, col_at, total, first, last):
    """Add all planes, each magnified onto one shared plane parallel to them.

    ``share[p]``: distance of plane p from the source over that of the shared plane. A sample
    (r, c) of the shared plane lies in plane p at row ``row_at[0] (1 - s) + (row_at[1] +
    r row_at[2]) s``; columns alike. Each row of voxels is read at the columns once; two that
    follow each other are then blended for the samples' rows between them.
    """
    count, rows, cols = planes.shape
    n_cols = total.shape[1]
    plain = np.zeros(cols + 1, np.float32)
    place = np.zeros(n_cols, np.uint32)
    weight = np.zeros(n_cols, np.float32)
    upper, lower = np.zeros(n_cols, np.float32), np.zeros(n_cols, np.float32)
    for p in range(count):
        s = share[p]
        at = col_at[0] * (1.0 - s) + col_at[1] * s
        step = col_at[2] * s
        low = max(0, int(np.ceil(-at / step)))
        high = min(n_cols, int(np.floor((cols - 1.001 - at) / step)) + 1)
        if high <= low:
            continue
        wide = high - low
        left = int(at + low * step)
        for c in range(wide):
            x = at + (low + c) * step - left
            i = np.uint32(x)
            place[c] = i
            weight[c] = np.float32(x - i)
        right = left + int(place[wide - 1]) + 2
        row0 = row_at[0] * (1.0 - s) + row_at[1] * s
        row_step = row_at[2] * s
        known = -2  # the row of voxels that ``lower`` holds
        for r in range(first, last):
            y = row0 + r * row_step
            if y < 0.0 or y >= rows - 1:
                continue
            j = int(y)
            if j + 1 != known:
                if j == known:
                    upper, lower = lower, upper
                else:
                    _as_float(planes[p, j, left:right], plain)
                    _read_columns(plain, place[:wide], weight, upper)
                _as_float(planes[p, j + 1, left:right], plain)
                _read_columns(plain, place[:wide], weight, lower)
                known = j + 1
            _add_blended(total[r, low:high], upper, lower, np.float32(y - j))


@njit(cache=True, inline="always")
def _cubic(f):
    """Weights of four neighbours for a cubic through the middle two (Catmull-Rom)."""
    a = f * (-0.5 + f * (1.0 - 0.5 * f))
    b = 1.0 + f * f * (-2.5 + 1.5 * f)
    c = f * (0.5 + f * (2.0 - 1.5 * f))
    d = f * f * (-0.5 + 0.5 * f)
    return a, b, c, d


@njit(cache=True, nogil=True)
def onto_detector(total, geometry, axes, grid, step_mm, picture, first, last):
    """Read the shared plane where the ray of each detector pixel meets it.

    ``geometry``: (4, 3) source, first pixel, step of a row, step of a column, all in indices.
    ``axes``: plane, row and column axis. ``grid``: place of the shared plane, then first row,
    row pitch, first column, column pitch. ``step_mm``: (3, 3) index axes in mm.
    """
    n_rows, n_cols = total.shape
    m, a, b = axes[0], axes[1], axes[2]
    ray = np.empty(3)
    for v in range(first, last):
        for u in range(picture.shape[1]):
            for q in range(3):
                ray[q] = geometry[1, q] + v * geometry[2, q] + u * geometry[3, q] - geometry[0, q]
            if abs(ray[m]) < _TINY:
                continue
            t = (grid[0] - geometry[0, m]) / ray[m]
            y = (geometry[0, a] + t * ray[a] - grid[1]) / grid[2]
            x = (geometry[0, b] + t * ray[b] - grid[3]) / grid[4]
            if not (1.0 <= y < n_rows - 2 and 1.0 <= x < n_cols - 2):
                continue
            j, i = int(y), int(x)
            w0, w1, w2, w3 = _cubic(y - j)
            c0, c1, c2, c3 = _cubic(x - i)
            value = 0.0
            for weight, row in ((w0, j - 1), (w1, j), (w2, j + 1), (w3, j + 2)):
                value += weight * (
                    c0 * total[row, i - 1]
                    + c1 * total[row, i]
                    + c2 * total[row, i + 1]
                    + c3 * total[row, i + 2]
                )
            length = 0.0
            for q in range(3):
                part = step_mm[q, 0] * ray[0] + step_mm[q, 1] * ray[1] + step_mm[q, 2] * ray[2]
                length += part * part
            picture[v, u] = value * np.sqrt(length) / abs(ray[m])


@njit(cache=True, inline="always")
def _clip(start, ray, size, low, high):
    """Where a ray, from 0 to 1, lies inside a box; nowhere: first > last."""
    first, last = 0.0, 1.0
    for q in range(3):
        if abs(ray[q]) < _TINY:
            if start[q] < low or start[q] > size[q] + high:
                return 1.0, 0.0
        else:
            a = (low - start[q]) / ray[q]
            b = (size[q] + high - start[q]) / ray[q]
            first, last = max(first, min(a, b)), min(last, max(a, b))
    return first, last


@njit(cache=True, inline="always")
def _value(values, offset, i, j, k):
    """A voxel's value + offset, nothing below 0; 0 outside."""
    n = values.shape
    if i < 0 or j < 0 or k < 0 or i >= n[0] or j >= n[1] or k >= n[2]:
        return 0.0
    return max(float(values[i, j, k]) + offset, 0.0)


@njit(cache=True, inline="always")
def _between(values, offset, x, y, z, i, j, k):
    """Value between the eight voxel centres of one cell."""
    a, b, c = x - i, y - j, z - k
    found = 0.0
    for di in range(2):
        for dj in range(2):
            for dk in range(2):
                w = (a if di else 1.0 - a) * (b if dj else 1.0 - b) * (c if dk else 1.0 - c)
                if w != 0.0:
                    found += w * _value(values, offset, i + di, j + dj, k + dk)
    return found


@njit(cache=True, nogil=True)
def trace(values, offset, starts, ends, lengths_mm, interpolated, found, begin, end):
    """Integrate a volume along straight lines, exactly; starts and ends in indices.

    Either each voxel is a box of one value, or values change linearly between voxel centres in
    each direction: along a line that is a cubic inside a cell, which Simpson's rule integrates
    without error.
    """
    shift = 0.0 if interpolated else 0.5
    low = -1.0 if interpolated else -0.5
    high = 0.0 if interpolated else -0.5
    cell = np.empty(3, np.int64)
    for n in range(begin, end):
        start, ray = starts[n], ends[n] - starts[n]
        first, last = _clip(start, ray, values.shape, low, high)
        total, t = 0.0, first
        while t < last - 1e-13:
            # the cell just behind t, and where the line leaves it
            leave = last
            probe = t + 1e-12
            for q in range(3):
                x = start[q] + probe * ray[q] + shift
                cell[q] = int(np.floor(x))
                if abs(ray[q]) >= _TINY:
                    wall = cell[q] + (1.0 if ray[q] > 0.0 else 0.0) - shift
                    leave_q = (wall - start[q]) / ray[q]
                    if leave_q > probe:
                        leave = min(leave, leave_q)
            i, j, k = cell[0], cell[1], cell[2]
            if interpolated:
                sum3 = 0.0
                for w, at in ((1.0, t), (4.0, 0.5 * (t + leave)), (1.0, leave)):
                    sum3 += w * _between(
                        values, offset, start[0] + at * ray[0], start[1] + at * ray[1],
                        start[2] + at * ray[2], i, j, k,
                    )  # fmt: skip
                total += sum3 / 6.0 * (leave - t)
            else:
                total += _value(values, offset, i, j, k) * (leave - t)
            t = leave
        found[n] = total * lengths_mm[n]


@njit(cache=True, inline="always")
def _edge(ax, ay, bx, by, px, py, forward):
    """On which side of an edge a point lies; both triangles at the edge get the same number."""
    if forward:
        return (bx - ax) * (py - ay) - (by - ay) * (px - ax)
    return -((ax - bx) * (py - by) - (ay - by) * (px - bx))


@njit(cache=True, inline="always")
def _inside(x, y, tri, px, py, sign):
    """Whether a point lies in a projected triangle; a point on an edge lies in one of the two."""
    for e in range(3):
        a, b = tri[e], tri[(e + 1) % 3]
        forward = a < b
        value = _edge(x[a], y[a], x[b], y[b], px, py, forward)
        if value == 0.0:
            value = 1.0 if forward else -1.0
        if value * sign <= 0.0:
            return False
    return True


@njit(cache=True, inline="always")
def _depth(vertices, tri, ray):
    """How far along a ray from the origin the triangle's plane lies, in lengths of the ray."""
    a, b, c = vertices[tri[0]], vertices[tri[1]], vertices[tri[2]]
    e, f = b - a, c - a
    nx = e[1] * f[2] - e[2] * f[1]
    ny = e[2] * f[0] - e[0] * f[2]
    nz = e[0] * f[1] - e[1] * f[0]
    along = nx * ray[0] + ny * ray[1] + nz * ray[2]
    if along == 0.0:
        return 0.0
    return (nx * a[0] + ny * a[1] + nz * a[2]) / along


@njit(cache=True)
def add_mesh_paths(vertices, triangles, pitch, first, picture):
    """Add the path length of each pixel's ray through a closed mesh, in lengths of the ray.

    ``vertices`` in the detector's frame: right, up and depth from the source, the depth in
    source-detector distances. ``pitch`` is the pixels' step on the detector, ``first`` the place
    of pixel (0, 0): right and up, with rows going down.
    """
    n_rows, n_cols = picture.shape
    x = vertices[:, 0] / vertices[:, 2]
    y = vertices[:, 1] / vertices[:, 2]
    ray = np.ones(3)
    for n in range(len(triangles)):
        tri = triangles[n]
        a, b, c = tri[0], tri[1], tri[2]
        area = (x[b] - x[a]) * (y[c] - y[a]) - (y[b] - y[a]) * (x[c] - x[a])
        if area == 0.0:
            continue
        sign = 1.0 if area > 0.0 else -1.0
        c0 = max(0, int(np.ceil((min(x[a], x[b], x[c]) - first[0]) / pitch)))
        c1 = min(n_cols - 1, int(np.floor((max(x[a], x[b], x[c]) - first[0]) / pitch)))
        r0 = max(0, int(np.ceil((first[1] - max(y[a], y[b], y[c])) / pitch)))
        r1 = min(n_rows - 1, int(np.floor((first[1] - min(y[a], y[b], y[c])) / pitch)))
        for r in range(r0, r1 + 1):
            py = first[1] - r * pitch
            for col in range(c0, c1 + 1):
                px = first[0] + col * pitch
                if _inside(x, y, tri, px, py, sign):
                    ray[0], ray[1] = px, py
                    picture[r, col] += sign * _depth(vertices, tri, ray)


@njit(cache=True)
def mesh_paths(vertices, triangles, at, found):
    """The same along single rays through ``at`` (n, 2), right and up on the detector."""
    x = vertices[:, 0] / vertices[:, 2]
    y = vertices[:, 1] / vertices[:, 2]
    left, right = at[:, 0].min(), at[:, 0].max()
    low, high = at[:, 1].min(), at[:, 1].max()
    ray = np.ones(3)
    for n in range(len(triangles)):
        tri = triangles[n]
        a, b, c = tri[0], tri[1], tri[2]
        if max(x[a], x[b], x[c]) < left or min(x[a], x[b], x[c]) > right:
            continue
        if max(y[a], y[b], y[c]) < low or min(y[a], y[b], y[c]) > high:
            continue
        area = (x[b] - x[a]) * (y[c] - y[a]) - (y[b] - y[a]) * (x[c] - x[a])
        if area == 0.0:
            continue
        sign = 1.0 if area > 0.0 else -1.0
        for m in range(len(at)):
            if _inside(x, y, tri, at[m, 0], at[m, 1], sign):
                ray[0], ray[1] = at[m, 0], at[m, 1]
                found[m] += sign * _depth(vertices, tri, ray)
