"""Array loops for allowances: how far points may move before a field falls to a value."""

import numpy as np
from numba import njit


@njit(cache=True)
def _distance(field, m, low, high, x, y, z):
    ni, nj, nk = field.shape
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
        return (f00 * (1 - b) + f01 * b) * (1 - a) + (f10 * (1 - b) + f11 * b) * a
    s = (max(0.0, low[0] - i, i - high[0]) * low[3]) ** 2
    s += (max(0.0, low[1] - j, j - high[1]) * low[4]) ** 2
    s += (max(0.0, low[2] - k, k - high[2]) * low[5]) ** 2
    return np.sqrt(s)


@njit(cache=True)
def reach_by_shift(field, m, low, high, points, direction, speed, keeps, limit):
    """Largest t <= limit such that no point, moved by t * speed * direction, comes too near.

    Steps by the distance that is left: a signed distance changes by at most the way moved, so
    no step passes the tumour. ``speed`` (n,) is each point's share of the movement.
    """
    best = limit
    for p in range(len(points)):
        v = speed[p]
        x, y, z = points[p, 0], points[p, 1], points[p, 2]
        left = _distance(field, m, low, high, x, y, z) - keeps
        if left <= 0.0:
            return 0.0
        if v <= 1e-9 or left >= best * v:
            continue
        t = 0.0
        for _ in range(400):
            t += max(left, 0.002) / v
            if t >= best:
                break
            left = (
                _distance(
                    field,
                    m,
                    low,
                    high,
                    x + t * v * direction[0],
                    y + t * v * direction[1],
                    z + t * v * direction[2],
                )
                - keeps
            )
            if left < 0.002:
                best = t
                break
    return best


@njit(cache=True)
def reach_by_turn(field, m, low, high, points, origin, axis, sense, keeps, limit):
    """Largest angle <= limit (radians) such that no point turned about an axis comes too near."""
    best = limit
    for p in range(len(points)):
        rx, ry, rz = points[p, 0] - origin[0], points[p, 1] - origin[1], points[p, 2] - origin[2]
        along = rx * axis[0] + ry * axis[1] + rz * axis[2]
        ux, uy, uz = rx - along * axis[0], ry - along * axis[1], rz - along * axis[2]
        radius = np.sqrt(ux * ux + uy * uy + uz * uz)
        left = _distance(field, m, low, high, points[p, 0], points[p, 1], points[p, 2]) - keeps
        if left <= 0.0:
            return 0.0
        if radius <= 1e-6 or left >= best * radius:
            continue
        wx = axis[1] * uz - axis[2] * uy
        wy = axis[2] * ux - axis[0] * uz
        wz = axis[0] * uy - axis[1] * ux
        cx, cy, cz = (
            origin[0] + along * axis[0],
            origin[1] + along * axis[1],
            origin[2] + along * axis[2],
        )
        angle = 0.0
        for _ in range(400):
            angle += max(left, 0.002) / radius
            if angle >= best:
                break
            c, s = np.cos(angle), sense * np.sin(angle)
            left = (
                _distance(
                    field,
                    m,
                    low,
                    high,
                    cx + c * ux + s * wx,
                    cy + c * uy + s * wy,
                    cz + c * uz + s * wz,
                )
                - keeps
            )
            if left < 0.002:
                best = angle
                break
    return best


@njit(cache=True)
def fill_loops(x0, y0, nx, ny, pitch, starts, xs, ys):
    """Grid points inside loops by the even-odd rule, (nx, ny) bool."""
    inside = np.zeros((nx, ny), np.bool_)
    for i in range(nx):
        x = x0 + i * pitch
        for loop in range(len(starts) - 1):
            a, b = starts[loop], starts[loop + 1]
            q = b - 1
            for r in range(a, b):
                if (xs[r] > x) != (xs[q] > x):
                    y = ys[r] + (x - xs[r]) * (ys[q] - ys[r]) / (xs[q] - xs[r])
                    first = int(np.ceil((y - y0) / pitch))
                    for j in range(max(0, first), ny):
                        inside[i, j] = not inside[i, j]
                q = r
    return inside
