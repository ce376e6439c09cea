"""Point-by-point distances in compiled loops; they know arrays only."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

_NEWTON_STEPS = 40  #: at most; three to eight are usual
_OFF_AXIS = 1e-9  #: share of the shortest half axis by which a point on that axis' plane is moved
_CLOSE = 1e-13  #: relative step at which Newton stops


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def ellipse_distances(
    points: NDArray[np.float64], half_axes: NDArray[np.float64], out: NDArray[np.float64]
) -> None:
    """Signed distance of (n, d) points to an ellipse, half axes (1, d) or each point's own."""
    n, d = points.shape
    each = half_axes.shape[0] > 1
    y, r, rz = np.empty(d), np.empty(d), np.empty(d)
    for p in range(n):
        half = half_axes[p if each else 0]
        shortest = half.min()
        t, square = -np.inf, 0.0
        for a in range(d):
            y[a] = abs(points[p, a])
            if half[a] == shortest:
                y[a] = max(y[a], _OFF_AXIS * shortest)
            r[a] = (half[a] / shortest) ** 2
            z = y[a] / half[a]
            rz[a] = r[a] * z
            square += z * z
            t = max(t, rz[a] - (r[a] - 1.0))
        for _ in range(_NEWTON_STEPS):
            g, slope = -1.0, 0.0
            for a in range(d):
                below = t + (r[a] - 1.0)
                term = (rz[a] / below) ** 2
                g += term
                slope += term / below
            step = g / (2.0 * slope)
            t += step
            if step <= _CLOSE * t:
                break
        apart = 0.0
        for a in range(d):
            apart += (y[a] - r[a] * y[a] / (t + (r[a] - 1.0))) ** 2
        out[p] = -np.sqrt(apart) if square < 1.0 else np.sqrt(apart)


@njit(cache=True, nogil=True)  # type: ignore[untyped-decorator]
def rod_distances(
    points: NDArray[np.float64],
    knots: NDArray[np.float64],
    radii: NDArray[np.float64],
    out: NDArray[np.float64],
) -> None:
    """Least signed distance of (n, 3) points to the round cones between (m, 3) knots.

    In the half plane (along, away) through a cone's axis its side is a straight line with normal
    (s, c); the foot of the perpendicular lies on an end ball if it falls beyond that line's ends.
    """
    pieces = knots.shape[0] - 1
    axis = np.empty((pieces, 3))
    length, sine, cosine = np.empty(pieces), np.empty(pieces), np.empty(pieces)
    for m in range(pieces):
        step = knots[m + 1] - knots[m]
        length[m] = np.sqrt((step * step).sum())
        axis[m] = step / length[m]
        sine[m] = (radii[m] - radii[m + 1]) / length[m]
        cosine[m] = np.sqrt(1.0 - sine[m] ** 2)
    for p in range(points.shape[0]):
        best = np.inf
        for m in range(pieces):
            x = points[p, 0] - knots[m, 0]
            y = points[p, 1] - knots[m, 1]
            z = points[p, 2] - knots[m, 2]
            along = x * axis[m, 0] + y * axis[m, 1] + z * axis[m, 2]
            square = x * x + y * y + z * z
            away2 = max(square - along * along, 0.0)
            away = np.sqrt(away2)
            foot = along * cosine[m] - away * sine[m]
            if foot < 0.0:
                found = np.sqrt(square) - radii[m]
            elif foot > length[m] * cosine[m]:
                found = np.sqrt((along - length[m]) ** 2 + away2) - radii[m + 1]
            else:
                found = along * sine[m] + away * cosine[m] - radii[m]
            best = min(best, found)
        out[p] = best
