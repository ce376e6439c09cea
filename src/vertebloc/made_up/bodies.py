"""The waisted column of a vertebral body: wide endplates, a slimmer middle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.space._solid_parts import Bounds, ellipse_distance_mm
from vertebloc.space._solid_primitives import joined_with_ends_mm
from vertebloc.space.transforms import as_points

_STEEPEST = 8.0 / (3.0 * np.sqrt(3.0))  #: largest slope of (1 - u^2)^2, at u = 1 / sqrt(3)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WaistedColumn:
    """An upright column about the origin whose elliptic section changes with height.

    Its distance is a bound: the distance within the plane of the section, made smaller by the
    column's steepest slope so that it never overstates.
    """

    upper_half_axes_mm: NDArray[np.float64]  #: (2,) to the side and front-back, at the top
    lower_half_axes_mm: NDArray[np.float64]  #: (2,) at the bottom
    half_height_mm: float
    waist: float  #: share by which the middle is slimmer than the ends

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Bound of the distance of (n, 3) points, (n,) mm, negative inside."""
        p = as_points(points)
        across = ellipse_distance_mm(p[:, :2], self._half_axes_mm(p[:, 2]))
        return joined_with_ends_mm(across * self._cosine, np.abs(p[:, 2]) - self.half_height_mm)

    def bounds_mm(self) -> Bounds:
        """Lowest and highest corner of the box around it."""
        widest = np.maximum(self.upper_half_axes_mm, self.lower_half_axes_mm)
        reach = np.array([*widest, self.half_height_mm])
        return -reach, reach

    def _half_axes_mm(self, height_mm: NDArray[np.float64]) -> NDArray[np.float64]:
        """Half axes of the section at each height, (n, 2); beyond the ends those of the ends."""
        u = np.clip(height_mm / self.half_height_mm, -1.0, 1.0)[:, None]
        ends = self.lower_half_axes_mm + 0.5 * (u + 1.0) * (
            self.upper_half_axes_mm - self.lower_half_axes_mm
        )
        return np.asarray(ends * (1.0 - self.waist * (1.0 - u * u) ** 2))

    @property
    def _cosine(self) -> float:
        """Cosine of the steepest slope of the wall."""
        largest = np.maximum(self.upper_half_axes_mm, self.lower_half_axes_mm)
        change = np.abs(self.upper_half_axes_mm - self.lower_half_axes_mm)
        slope = np.max(0.5 * change + _STEEPEST * self.waist * largest) / self.half_height_mm
        return float(1.0 / np.hypot(1.0, slope))
