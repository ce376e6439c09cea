"""Anything that can say how far a point lies from it."""

from typing import Protocol

from numpy import float64
from numpy.typing import ArrayLike, NDArray


class SignedDistance(Protocol):
    """A solid that knows its signed distance: negative inside, positive outside."""

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[float64]:
        """Distance of (n, 3) patient-LPS points to the surface, (n,) mm, negative inside."""
        ...
