"""Round rods along a curve, and curves through given points."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from vertebloc.space.solids import Rod, Union
from vertebloc.space.transforms import Points, as_points


def draw_curve(points: ArrayLike, spacing_mm: float) -> Points:
    """Evenly spaced points on a smooth curve through given ones.

    Parameters
    ----------
    points : (n, 3) float64, mm, patient LPS
        Points to pass through, in order; at least three.
    spacing_mm : float, mm
        Wanted distance between the points returned.

    Returns
    -------
    (m, 3) float64, mm
        Points on the curve, the first and the last given one among them.
    """
    p = as_points(points)
    s = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(p, axis=0), axis=1))))
    count = max(round(float(s[-1]) / spacing_mm), 1) + 1
    return np.asarray(CubicSpline(s, p)(np.linspace(0.0, s[-1], count)))


def continue_curve(points: Points) -> Points:
    """Points with one more, straight on, at either end.

    Parameters
    ----------
    points : (n, 3) float64, mm, patient LPS
        Points in order.

    Returns
    -------
    (n + 2, 3) float64, mm
        The same with their continuations.
    """
    first, last = 2.0 * points[0] - points[1], 2.0 * points[-1] - points[-2]
    return np.array([first, *points, last])


def make_flat_rod(
    points: Points,
    radii_mm: NDArray[np.float64],
    wide_mm: NDArray[np.float64],
    axis: Points,
) -> Union:
    """Three round rods side by side: a rod with an oblong section.

    Parameters
    ----------
    points : (n, 3) float64, mm, patient LPS
        Middle of the oblong section.
    radii_mm : (n,) float64, mm
        Half of its short side.
    wide_mm : (n,) float64, mm
        How far from the middle the outer rods' axes lie; up to the radius leaves no groove.
    axis : (n, 3) float64, -
        Unit vectors along its long side.

    Returns
    -------
    Union
        The three rods; exact outside.
    """
    shift = wide_mm[:, None] * axis
    return Union([Rod(points + by * shift, radii_mm) for by in (-1.0, 0.0, 1.0)])
