"""Simple solids whose signed distance is exact everywhere."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.errors import InputError
from vertebloc.space._kernels_solids import rod_distances
from vertebloc.space._solid_parts import (
    Bounds,
    checked_axes,
    checked_point,
    checked_size,
    checked_sizes,
    ellipse_distance_mm,
)
from vertebloc.space.planes import Plane
from vertebloc.space.transforms import Points, as_points


@dataclass(frozen=True, slots=True, eq=False)
class Sphere:
    """A ball."""

    centre: NDArray[np.float64]  #: (3,) mm
    radius_mm: float

    def __post_init__(self) -> None:
        """Refuse a ball without size."""
        object.__setattr__(self, "centre", checked_point(self.centre, "a sphere's centre"))
        object.__setattr__(self, "radius_mm", checked_size(self.radius_mm, "a sphere's radius"))

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Exact distance of (n, 3) points, (n,) mm, negative inside."""
        return np.asarray(_length(as_points(points) - self.centre) - self.radius_mm)

    def bounds_mm(self) -> Bounds:
        """Lowest and highest corner of the box around it."""
        return self.centre - self.radius_mm, self.centre + self.radius_mm

    @property
    def volume_mm3(self) -> float:
        """4/3 pi r^3."""
        return float(4.0 / 3.0 * np.pi * self.radius_mm**3)


@dataclass(frozen=True, slots=True, eq=False)
class Ellipsoid:
    """An ellipsoid, turned as its axes say."""

    centre: NDArray[np.float64]  #: (3,) mm
    half_axes_mm: NDArray[np.float64]  #: (3,)
    axes: NDArray[np.float64] | None = None  #: rows: directions of the half axes; None: LPS

    def __post_init__(self) -> None:
        """Refuse half axes without size and axes that are not perpendicular."""
        object.__setattr__(self, "centre", checked_point(self.centre, "an ellipsoid's centre"))
        sizes = checked_sizes(self.half_axes_mm, 3, "an ellipsoid's half axes")
        object.__setattr__(self, "half_axes_mm", sizes)
        object.__setattr__(self, "axes", checked_axes(self.axes))

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Exact distance of (n, 3) points, (n,) mm, negative inside."""
        local = (as_points(points) - self.centre) @ _own(self.axes).T
        return ellipse_distance_mm(local, self.half_axes_mm)

    def bounds_mm(self) -> Bounds:
        """Lowest and highest corner of the box around it."""
        reach = np.sqrt(((_own(self.axes).T * self.half_axes_mm) ** 2).sum(axis=1))
        return self.centre - reach, self.centre + reach

    @property
    def volume_mm3(self) -> float:
        """4/3 pi a b c."""
        return float(4.0 / 3.0 * np.pi * np.prod(self.half_axes_mm))


@dataclass(frozen=True, slots=True, eq=False)
class RoundedBox:
    """A box whose edges are rounded; its half sizes include the rounding."""

    centre: NDArray[np.float64]  #: (3,) mm
    half_sizes_mm: NDArray[np.float64]  #: (3,)
    rounding_mm: float = 0.0  #: radius of the edges; 0 for sharp ones
    axes: NDArray[np.float64] | None = None  #: rows: directions of the half sizes; None: LPS

    def __post_init__(self) -> None:
        """Refuse a box without size and a rounding that does not fit into it."""
        object.__setattr__(self, "centre", checked_point(self.centre, "a box's centre"))
        sizes = checked_sizes(self.half_sizes_mm, 3, "a box's half sizes")
        object.__setattr__(self, "half_sizes_mm", sizes)
        object.__setattr__(self, "axes", checked_axes(self.axes))
        if not 0.0 <= self.rounding_mm <= sizes.min():
            raise InputError(
                f"a box's rounding must be 0 to {sizes.min():g} mm (its least half size), "
                f"got {self.rounding_mm:g} mm"
            )

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Exact distance of (n, 3) points, (n,) mm, negative inside."""
        local = (as_points(points) - self.centre) @ _own(self.axes).T
        beyond = np.abs(local) - (self.half_sizes_mm - self.rounding_mm)
        outside = _length(np.maximum(beyond, 0.0))
        return np.asarray(outside + np.minimum(beyond.max(axis=1), 0.0) - self.rounding_mm)

    def bounds_mm(self) -> Bounds:
        """Lowest and highest corner of the box around it."""
        core = self.half_sizes_mm - self.rounding_mm
        reach = np.abs(_own(self.axes).T) @ core + self.rounding_mm
        return self.centre - reach, self.centre + reach

    @property
    def volume_mm3(self) -> float:
        """Core box, its six faces, twelve quarter rods and eight eighths of a ball."""
        a, b, c = 2.0 * (self.half_sizes_mm - self.rounding_mm)
        r = self.rounding_mm
        faces = 2.0 * r * (a * b + b * c + c * a)
        return float(a * b * c + faces + np.pi * r * r * (a + b + c) + 4 / 3 * np.pi * r**3)


def Box(  # noqa: N802  made like the other solids
    centre: ArrayLike, half_sizes_mm: ArrayLike, axes: ArrayLike | None = None
) -> RoundedBox:
    """A box with sharp edges.

    Parameters
    ----------
    centre : (3,) float64, mm, patient LPS
        Middle of the box.
    half_sizes_mm : (3,) float64, mm
        Half sizes along its axes.
    axes : (3, 3) float64, -
        Rows: directions of the half sizes; None for those of patient LPS.

    Returns
    -------
    RoundedBox
        The box, its rounding 0.
    """
    return RoundedBox(
        checked_point(centre, "a box's centre"),
        checked_sizes(half_sizes_mm, 3, "a box's half sizes"),
        0.0,
        checked_axes(axes),
    )


@dataclass(frozen=True, slots=True, eq=False)
class RoundCone:
    """The hull of two balls: a rod with round ends that may taper."""

    start: NDArray[np.float64]  #: (3,) mm
    end: NDArray[np.float64]  #: (3,) mm
    start_radius_mm: float
    end_radius_mm: float

    def __post_init__(self) -> None:
        """Refuse two balls of which one holds the other."""
        for name in ("start", "end"):
            point = checked_point(getattr(self, name), f"a round cone's {name}")
            object.__setattr__(self, name, point)
        for name in ("start_radius_mm", "end_radius_mm"):
            object.__setattr__(self, name, checked_size(getattr(self, name), f"a cone's {name}"))
        if abs(self.start_radius_mm - self.end_radius_mm) >= self.length_mm:
            raise InputError(
                f"a round cone's radii must differ by less than its length {self.length_mm:g} mm, "
                f"got {self.start_radius_mm:g} and {self.end_radius_mm:g} mm: use a Sphere"
            )

    @property
    def length_mm(self) -> float:
        """Distance between the balls' centres."""
        return float(np.linalg.norm(self.end - self.start))

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Exact distance of (n, 3) points, (n,) mm, negative inside."""
        ends = np.array([self.start, self.end])
        return _rod_distances_mm(points, ends, [self.start_radius_mm, self.end_radius_mm])

    def bounds_mm(self) -> Bounds:
        """Lowest and highest corner of the box around it."""
        low = np.minimum(self.start - self.start_radius_mm, self.end - self.end_radius_mm)
        high = np.maximum(self.start + self.start_radius_mm, self.end + self.end_radius_mm)
        return low, high

    @property
    def volume_mm3(self) -> float:
        """Two caps and the frustum between them."""
        r, q, length = self.start_radius_mm, self.end_radius_mm, self.length_mm
        s = (r - q) / length
        c2 = 1.0 - s * s
        caps = sum(
            np.pi * h * h * (radius - h / 3.0)
            for radius, h in ((r, r * (1 + s)), (q, q * (1 - s)))
        )
        frustum = np.pi / 3.0 * length * c2 * c2 * (r * r + r * q + q * q)
        return float(caps + frustum)


def Capsule(  # noqa: N802  made like the other solids
    start: ArrayLike, end: ArrayLike, radius_mm: float
) -> RoundCone:
    """A rod with round ends.

    Parameters
    ----------
    start, end : (3,) float64, mm, patient LPS
        Centres of the two end balls.
    radius_mm : float, mm
        Radius.

    Returns
    -------
    RoundCone
        The rod: a round cone that does not taper.
    """
    ends = checked_point(start, "a capsule's start"), checked_point(end, "a capsule's end")
    return RoundCone(*ends, radius_mm, radius_mm)


@dataclass(frozen=True, slots=True, eq=False)
class Rod:
    """A round rod along a polyline, its radius changing evenly from knot to knot.

    The union of the round cones between the knots: outside, the distance is exact; inside,
    near the knots, it is a bound that never overstates.
    """

    knots: NDArray[np.float64]  #: (n, 3) mm
    radii_mm: NDArray[np.float64]  #: (n,)

    def __post_init__(self) -> None:
        """Refuse a rod with fewer than two knots, or with one end ball inside the next."""
        knots = np.array(self.knots, dtype=np.float64)
        if knots.ndim != 2 or knots.shape[1:] != (3,) or len(knots) < 2:
            raise InputError(f"a rod needs at least two knots (x, y, z), got shape {knots.shape}")
        if not np.all(np.isfinite(knots)):
            raise InputError(f"a rod's knots must be finite, got {knots.tolist()}")
        radii = checked_sizes(self.radii_mm, len(knots), "a rod's radii")
        apart = np.linalg.norm(np.diff(knots, axis=0), axis=1)
        if np.any(np.abs(np.diff(radii)) >= apart):
            raise InputError("a rod's neighbouring radii must differ by less than its knots")
        knots.flags.writeable = False
        object.__setattr__(self, "knots", knots)
        object.__setattr__(self, "radii_mm", radii)

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Distance of (n, 3) points, (n,) mm, negative inside; exact outside."""
        return _rod_distances_mm(points, self.knots, self.radii_mm)

    def bounds_mm(self) -> Bounds:
        """Lowest and highest corner of the box around it."""
        reach = self.radii_mm[:, None]
        return (self.knots - reach).min(axis=0), (self.knots + reach).max(axis=0)


@dataclass(frozen=True, slots=True, eq=False)
class EllipticCylinder:
    """A straight cylinder with flat ends and an elliptic section."""

    centre: NDArray[np.float64]  #: (3,) mm
    half_axes_mm: NDArray[np.float64]  #: (2,) of the section
    half_length_mm: float
    axes: NDArray[np.float64] | None = None  #: rows: the section's two axes, the long axis

    def __post_init__(self) -> None:
        """Refuse a cylinder without size."""
        object.__setattr__(self, "centre", checked_point(self.centre, "a cylinder's centre"))
        sizes = checked_sizes(self.half_axes_mm, 2, "a cylinder's half axes")
        object.__setattr__(self, "half_axes_mm", sizes)
        half = checked_size(self.half_length_mm, "a cylinder's half length")
        object.__setattr__(self, "half_length_mm", half)
        object.__setattr__(self, "axes", checked_axes(self.axes))

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Exact distance of (n, 3) points, (n,) mm, negative inside."""
        local = (as_points(points) - self.centre) @ _own(self.axes).T
        across = ellipse_distance_mm(local[:, :2], self.half_axes_mm)
        return joined_with_ends_mm(across, np.abs(local[:, 2]) - self.half_length_mm)

    def bounds_mm(self) -> Bounds:
        """Lowest and highest corner of the box around it."""
        axes = _own(self.axes)
        across = np.sqrt(((axes[:2].T * self.half_axes_mm) ** 2).sum(axis=1))
        reach = across + np.abs(axes[2]) * self.half_length_mm
        return self.centre - reach, self.centre + reach

    @property
    def volume_mm3(self) -> float:
        """Pi a b times the length."""
        return float(np.pi * np.prod(self.half_axes_mm) * 2.0 * self.half_length_mm)


@dataclass(frozen=True, slots=True, eq=False)
class HalfSpace:
    """Everything on the negative side of a plane; it has no end and no volume."""

    plane: Plane

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Exact distance of (n, 3) points, (n,) mm, negative behind the plane."""
        return self.plane.signed_distance_mm(points)

    def bounds_mm(self) -> Bounds:
        """All of space: minus and plus infinity."""
        return np.full(3, -np.inf), np.full(3, np.inf)


def joined_with_ends_mm(
    across: NDArray[np.float64], beyond: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Distance to a straight prism from those to its section and beyond its ends."""
    outside = np.hypot(np.maximum(across, 0.0), np.maximum(beyond, 0.0))
    return np.asarray(outside + np.minimum(np.maximum(across, beyond), 0.0))


def _own(axes: NDArray[np.float64] | None) -> NDArray[np.float64]:
    """The axes as ``__post_init__`` left them: never None."""
    return cast(NDArray[np.float64], axes)


def _rod_distances_mm(
    points: ArrayLike, knots: NDArray[np.float64], radii_mm: ArrayLike
) -> NDArray[np.float64]:
    p = np.ascontiguousarray(as_points(points))
    found = np.empty(len(p))
    rod_distances(p, knots, np.asarray(radii_mm, dtype=np.float64), found)
    return found


def _length(vectors: Points) -> NDArray[np.float64]:
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", vectors, vectors)))
