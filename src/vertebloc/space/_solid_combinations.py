"""Solids made of other solids. Where their distance is only a bound, they say so.

A *bound* here never overstates: its sign is right, and its size is at most the true distance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.errors import InputError
from vertebloc.space import tolerances
from vertebloc.space._solid_parts import Bounds, Solid
from vertebloc.space.transforms import Points, Transform, as_points


@dataclass(frozen=True, slots=True, eq=False)
class Union:
    """What lies in at least one of several solids.

    Outside, the distance is exact if the parts' distances are; inside it is a bound.
    """

    solids: Sequence[Solid]
    _boxes: Bounds = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Refuse an empty union."""
        object.__setattr__(self, "solids", _some(self.solids, "a union"))
        object.__setattr__(self, "_boxes", _boxes(self.solids))

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Distance of (n, 3) points, (n,) mm, negative inside; exact outside, a bound inside."""
        p = as_points(points)
        return _extreme(p, _nearest_matter(p, self.solids, self._boxes), 1.0)

    def bounds_mm(self) -> Bounds:
        """Lowest and highest corner of the box around all parts."""
        return self._boxes[0].min(axis=0), self._boxes[1].max(axis=0)


@dataclass(frozen=True, slots=True, eq=False)
class Intersection:
    """What lies in all of several solids.

    Inside, the distance is exact if the parts' distances are; outside it is a bound.
    """

    solids: Sequence[Solid]

    def __post_init__(self) -> None:
        """Refuse an intersection of nothing."""
        object.__setattr__(self, "solids", _some(self.solids, "an intersection"))

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Distance of (n, 3) points, (n,) mm, negative inside; exact inside, a bound outside."""
        p = as_points(points)
        return _extreme(p, _farthest_matter(p, self.solids), -1.0)

    def bounds_mm(self) -> Bounds:
        """Box that holds it: where the parts' boxes meet."""
        lows, highs = _boxes(self.solids)
        low, high = np.max(lows, axis=0), np.min(highs, axis=0)
        return low, np.maximum(low, high)


@dataclass(frozen=True, slots=True, eq=False)
class Complement:
    """Everything outside a solid; as exact as the solid itself. It has no end."""

    solid: Solid

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Distance of (n, 3) points, (n,) mm, negative outside the solid."""
        return -self.solid.signed_distance_mm(points)

    def bounds_mm(self) -> Bounds:
        """All of space: minus and plus infinity."""
        return np.full(3, -np.inf), np.full(3, np.inf)


def Difference(solid: Solid, without: Solid) -> Intersection:  # noqa: N802  made like the others
    """A solid without what lies in another one.

    Parameters
    ----------
    solid : Solid
        What is kept.
    without : Solid
        What is taken away from it.

    Returns
    -------
    Intersection
        The rest. Inside, its distance is as exact as its parts'; outside it is a bound.
    """
    return Intersection((solid, Complement(without)))


@dataclass(frozen=True, slots=True, eq=False)
class SmoothUnion:
    """A union whose inner corners are filled; its distance is a bound on either side.

    Where two parts' distances differ by less than ``blend_mm``, up to a quarter of it is added.
    """

    solids: Sequence[Solid]
    blend_mm: float
    _boxes: Bounds = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Refuse an empty union and a blend without size."""
        object.__setattr__(self, "solids", _some(self.solids, "a smooth union"))
        object.__setattr__(self, "_boxes", _boxes(self.solids))
        if not self.blend_mm > 0.0:
            raise InputError(f"a smooth union's blend must be > 0 mm, got {self.blend_mm:g} mm")

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Bound of the distance of (n, 3) points, (n,) mm, negative inside."""
        p = as_points(points)
        slack_mm = (
            1.0 + 0.25 * len(self.solids)
        ) * self.blend_mm  # all blends together reach so far
        solids = _nearest_matter(p, self.solids, self._boxes, slack_mm)
        found = solids[0].signed_distance_mm(p)
        for solid in solids[1:]:
            other = solid.signed_distance_mm(p)
            overlap = np.maximum(self.blend_mm - np.abs(found - other), 0.0)
            found = np.minimum(found, other) - overlap**2 / (4.0 * self.blend_mm)
        return found

    def bounds_mm(self) -> Bounds:
        """Box that holds it: that of the parts, grown by what the blend may add."""
        grow = 0.25 * self.blend_mm * (len(self.solids) - 1)
        return self._boxes[0].min(axis=0) - grow, self._boxes[1].max(axis=0) + grow


@dataclass(frozen=True, slots=True, eq=False)
class Grown:
    """A solid grown by a length, or shrunk by a negative one.

    Exact outside (shrunk: inside) where the solid's own distance is; elsewhere a bound.
    """

    solid: Solid
    by_mm: float

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Distance of (n, 3) points, (n,) mm, negative inside."""
        return self.solid.signed_distance_mm(points) - self.by_mm

    def bounds_mm(self) -> Bounds:
        """Lowest and highest corner of the box around it."""
        low, high = self.solid.bounds_mm()
        return low - max(self.by_mm, 0.0), high + max(self.by_mm, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """What lies at most a given depth under a solid's surface, such as skin.

    As exact as the solid's own distance: inside the layer and outside the solid where that is
    exact, under the layer where the solid's own inside distance is.
    """

    solid: Solid
    depth_mm: float

    def __post_init__(self) -> None:
        """Refuse a layer without thickness."""
        if not self.depth_mm > 0.0:
            raise InputError(f"a layer's depth must be > 0 mm, got {self.depth_mm:g} mm")

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Distance of (n, 3) points, (n,) mm, negative inside the layer."""
        outer = self.solid.signed_distance_mm(points)
        return np.maximum(outer, -(outer + self.depth_mm))

    def bounds_mm(self) -> Bounds:
        """Box of the solid."""
        return self.solid.bounds_mm()


@dataclass(frozen=True, slots=True, eq=False)
class Moved:
    """A solid after a rigid or mirroring motion of space; as exact as the solid itself."""

    solid: Solid
    lps_from_lps: Transform

    def __post_init__(self) -> None:
        """Refuse a motion that changes lengths or leaves the frame."""
        if self.lps_from_lps.source is not self.lps_from_lps.target:
            raise InputError("a solid is moved by a map from a frame into that same frame")
        rotation = self.lps_from_lps.matrix[:3, :3]
        if not np.allclose(rotation @ rotation.T, np.eye(3), atol=tolerances.COSINE):
            raise InputError("a solid can be turned, shifted or mirrored, not stretched")

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Distance of (n, 3) points, (n,) mm, negative inside."""
        back = self.lps_from_lps.matrix[:3, :3]
        return self.solid.signed_distance_mm((as_points(points) - self.lps_from_lps.origin) @ back)

    def bounds_mm(self) -> Bounds:
        """Box around the moved box."""
        low, high = self.solid.bounds_mm()
        if not np.all(np.isfinite(np.concatenate((low, high)))):
            return np.full(3, -np.inf), np.full(3, np.inf)
        corners = [[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)]
        moved = self.lps_from_lps.points(low + np.array(corners) * (high - low))
        return moved.min(axis=0), moved.max(axis=0)


def _some(solids: Sequence[Solid], what: str) -> tuple[Solid, ...]:
    if not solids:
        raise InputError(f"{what} needs at least one solid")
    return tuple(solids)


def _nearest_matter(
    points: Points, solids: Sequence[Solid], boxes: Bounds, slack_mm: float = 0.0
) -> Sequence[Solid]:
    """Drop the parts that cannot be nearest at any of the points.

    No part's distance changes by more than 1 mm per mm, so one look from the middle of the
    points tells which parts lie too far to matter anywhere among them; and a part is at least
    as far as its box, so most of them need not even be looked at.
    """
    if len(solids) < 3 or len(points) == 0:
        return solids
    middle, reach_mm = _around(points)
    beyond = np.maximum(np.maximum(boxes[0] - middle, middle - boxes[1]), 0.0)
    least = np.sqrt((beyond * beyond).sum(axis=1))
    margin = 2.0 * reach_mm + slack_mm + tolerances.POSITION_MM
    best = np.inf
    seen: dict[int, float] = {}
    for index in np.argsort(least, kind="stable"):
        if least[index] > best + margin:
            break
        seen[int(index)] = float(solids[index].signed_distance_mm(middle)[0])
        best = min(best, seen[int(index)])
    return [solids[i] for i in sorted(seen) if seen[i] <= best + margin]


def _farthest_matter(points: Points, solids: Sequence[Solid]) -> Sequence[Solid]:
    """Drop the parts that cannot be farthest at any of the points."""
    if len(solids) < 3 or len(points) < 64:
        return solids
    middle, reach_mm = _around(points)
    seen = np.array([solid.signed_distance_mm(middle)[0] for solid in solids])
    keep = seen >= seen.max() - 2.0 * reach_mm - tolerances.POSITION_MM
    return [solid for solid, kept in zip(solids, keep, strict=True) if kept]


def _around(points: Points) -> tuple[NDArray[np.float64], float]:
    """Middle and radius of a ball that holds the points."""
    low, high = points.min(axis=0), points.max(axis=0)
    return 0.5 * (low + high), 0.5 * float(np.linalg.norm(high - low))


def _boxes(solids: Sequence[Solid]) -> Bounds:
    """Lowest and highest corners of all parts' boxes, each (n, 3)."""
    lows, highs = zip(*(solid.bounds_mm() for solid in solids), strict=True)
    return np.array(lows), np.array(highs)


def _extreme(points: Points, solids: Sequence[Solid], sign: float) -> NDArray[np.float64]:
    found = solids[0].signed_distance_mm(points)
    for solid in solids[1:]:
        other = solid.signed_distance_mm(points)
        found = np.minimum(found, other) if sign > 0 else np.maximum(found, other)
    return found
