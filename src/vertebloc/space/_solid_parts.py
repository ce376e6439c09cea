"""What every solid shares: its protocol, checked numbers, and the distance to an ellipse."""

from __future__ import annotations

from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.errors import InputError
from vertebloc.space import tolerances
from vertebloc.space._kernels_solids import ellipse_distances
from vertebloc.space.transforms import Points

Bounds = tuple[NDArray[np.float64], NDArray[np.float64]]  #: lowest and highest x, y, z, mm


class Solid(Protocol):
    """A solid with a closed-form signed distance that changes by at most 1 mm per mm."""

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Distance of (n, 3) patient-LPS points to the surface, (n,) mm, negative inside."""
        ...

    def bounds_mm(self) -> Bounds:
        """A box that holds the solid: its lowest and highest corner, each (3,) mm."""
        ...


def checked_point(value: ArrayLike, what: str) -> NDArray[np.float64]:
    """One finite point, (3,), read-only."""
    return _read_only(value, (3,), what)


def checked_sizes(value: ArrayLike, count: int, what: str) -> NDArray[np.float64]:
    """Sizes greater than 0, (count,), read-only."""
    sizes = _read_only(value, (count,), what)
    if np.any(sizes <= 0.0):
        raise InputError(f"{what} must be > 0 mm, got {sizes.tolist()}")
    return sizes


def checked_size(value: float, what: str) -> float:
    """One size greater than 0."""
    return float(checked_sizes([value], 1, what)[0])


def checked_axes(value: ArrayLike | None) -> NDArray[np.float64]:
    """Rows: three perpendicular unit vectors; None means those of patient LPS."""
    axes = _read_only(np.eye(3) if value is None else value, (3, 3), "axes")
    if np.max(np.abs(axes @ axes.T - np.eye(3))) > tolerances.COSINE:
        raise InputError(f"axes must be three perpendicular unit rows, got {axes.tolist()}")
    return axes


def _read_only(value: ArrayLike, shape: tuple[int, ...], what: str) -> NDArray[np.float64]:
    array = np.array(value, dtype=np.float64)
    if array.shape != shape or not np.all(np.isfinite(array)):
        raise InputError(f"{what} needs finite numbers of shape {shape}, got {array.tolist()}")
    array.flags.writeable = False
    return array


def ellipse_distance_mm(points: Points, half_axes_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Exact signed distance to an ellipse (2 axes) or an ellipsoid (3 axes) about the origin.

    Parameters
    ----------
    points : (n, d) float64, mm
        Points in the ellipse's own axes.
    half_axes_mm : (d,) or (n, d) float64, mm
        Half axes, the same for all points or each point's own.

    Returns
    -------
    (n,) float64, mm
        Distance, negative inside.

    Notes
    -----
    The foot of the perpendicular is r y / (t + r - 1), r = (half axis / shortest)^2, where t is
    the root of g(t) = sum (r z / (t + r - 1))^2 - 1 right of the last pole (0), z = y / half axis.
    There g falls and is convex, so Newton started left of the root climbs to it without
    overshooting; it starts where one single term is 1. A point in the plane of symmetry across
    the shortest axis is first moved out of it by 1e-9 of that axis, which costs at most that much.
    """
    found = np.empty(len(points))
    ellipse_distances(np.ascontiguousarray(points), np.atleast_2d(half_axes_mm), found)
    return found
