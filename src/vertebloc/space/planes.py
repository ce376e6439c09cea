"""Infinite planes with a marked side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.errors import InputError
from vertebloc.space import tolerances
from vertebloc.space.frames import Frame
from vertebloc.space.transforms import Transform, as_points, require_motion


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """A plane in patient LPS; the normal points to its positive side."""

    point: NDArray[np.float64]  #: (3,) mm, any point of the plane
    normal: NDArray[np.float64]  #: (3,) unit vector

    def __post_init__(self) -> None:
        """Normalise the normal; refuse a zero one."""
        point = np.array(self.point, dtype=np.float64).reshape(3)
        normal = np.array(self.normal, dtype=np.float64).reshape(3)
        length = float(np.linalg.norm(normal))
        if not length >= tolerances.EMPTY or not np.all(np.isfinite(point)):  # NaN too
            raise InputError(
                f"a plane needs a finite point and a normal, got {point.tolist()} "
                f"and {normal.tolist()}"
            )
        normal /= length
        for array in (point, normal):
            array.flags.writeable = False
        object.__setattr__(self, "point", point)
        object.__setattr__(self, "normal", normal)

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Distance of (n, 3) points, positive on the side of the normal, (n,) mm."""
        return np.asarray((as_points(points) - self.point) @ self.normal)

    def frame(self, x_towards: ArrayLike) -> Transform:
        """Frame in the plane: origin ``point``, +z the normal, +x nearest to ``x_towards``.

        Raises
        ------
        InputError
            If ``x_towards`` is along the normal.
        """
        along = np.asarray(x_towards, dtype=np.float64)
        x = along - (along @ self.normal) * self.normal
        length = float(np.linalg.norm(x))
        if length < tolerances.COSINE:
            raise InputError("x_towards must not be along the plane's normal")
        x /= length
        matrix = np.eye(4)
        matrix[:3, 0], matrix[:3, 1] = x, np.cross(self.normal, x)
        matrix[:3, 2], matrix[:3, 3] = self.normal, self.point
        return Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PLANE)

    @property
    def turned(self) -> Plane:
        """The same plane with its sides swapped."""
        return Plane(self.point, -self.normal)

    def shifted(self, by_mm: float) -> Plane:
        """A parallel plane, moved along its normal."""
        return Plane(self.point + by_mm * self.normal, self.normal)

    def moved(self, lps_from_lps: Transform) -> Plane:
        """The plane after a rigid motion of space.

        Raises
        ------
        FrameError
            If the map leaves patient LPS.
        InputError
            If the map is not rigid: a normal does not survive stretching.
        """
        require_motion(lps_from_lps)
        if not lps_from_lps.is_rigid:
            raise InputError("a plane can only be moved by a rigid map")
        return Plane(lps_from_lps.points(self.point)[0], lps_from_lps.vectors(self.normal)[0])
