"""An outline as voxels of one grid, and what a hand draws on a slice."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.errors import InputError
from vertebloc.space.transforms import Points, as_points

Index = tuple[int, int, int]
_NOWHERE: Index = (0, 0, 0)


@dataclass(frozen=True, slots=True, eq=False)
class OutlineMask:
    """The voxels inside one outline, cut to their own box; made by ``of``."""

    start: Index  #: first index of the box, in the images' grid
    inside: NDArray[np.bool_]  #: (ni, nj, nk) of the box

    def __post_init__(self) -> None:
        """Keep the voxels from being changed."""
        view = self.inside.view()
        view.flags.writeable = False
        object.__setattr__(self, "inside", view)

    @staticmethod
    def empty() -> OutlineMask:
        """An outline without a voxel."""
        return OutlineMask(_NOWHERE, np.zeros((0, 0, 0), dtype=np.bool_))

    @staticmethod
    def of(start: ArrayLike, inside: ArrayLike) -> OutlineMask:
        """Cut voxels to their own box.

        Parameters
        ----------
        start : (3,) int
            Index of the array's first voxel in the images' grid.
        inside : (ni, nj, nk) bool
            Which voxels lie inside.

        Returns
        -------
        OutlineMask
            The smallest box; the same voxels always give the same value.
        """
        found = np.asarray(inside, dtype=np.bool_)
        ranges = [
            np.flatnonzero(found.any(axis=tuple(a for a in range(3) if a != axis)))
            for axis in range(3)
        ]
        if min(len(r) for r in ranges) == 0:
            return OutlineMask.empty()
        low = [int(r[0]) for r in ranges]
        box = tuple(slice(int(r[0]), int(r[-1]) + 1) for r in ranges)
        first = np.asarray(start, dtype=np.int64) + low
        return OutlineMask(
            (int(first[0]), int(first[1]), int(first[2])), np.ascontiguousarray(found[box])
        )

    @property
    def stop(self) -> Index:
        """One past the last index of the box."""
        i, j, k = (a + n for a, n in zip(self.start, self.inside.shape, strict=True))
        return i, j, k

    @property
    def count(self) -> int:
        """How many voxels lie inside."""
        return int(np.count_nonzero(self.inside))

    @property
    def is_empty(self) -> bool:
        """Whether no voxel lies inside."""
        return self.inside.size == 0

    def on_box(self, start: ArrayLike, stop: ArrayLike) -> NDArray[np.bool_]:
        """The voxels on another box of the same grid.

        Parameters
        ----------
        start, stop : (3,) int
            First index, and one past the last.

        Returns
        -------
        (ni, nj, nk) bool
            An array of its own.
        """
        low, high = np.asarray(start, dtype=np.int64), np.asarray(stop, dtype=np.int64)
        found = np.zeros(tuple(int(n) for n in np.maximum(high - low, 0)), dtype=np.bool_)
        common_low = np.maximum(low, self.start)
        common_high = np.minimum(high, self.stop)
        if self.is_empty or np.any(common_low >= common_high):
            return found
        there = tuple(
            slice(a, b) for a, b in zip(common_low - low, common_high - low, strict=True)
        )
        here = tuple(
            slice(a, b)
            for a, b in zip(common_low - self.start, common_high - self.start, strict=True)
        )
        found[there] = self.inside[here]
        return found

    def united(self, other: OutlineMask) -> OutlineMask:
        """The voxels of both."""
        start, stop = common_box(self, other)
        return OutlineMask.of(start, self.on_box(start, stop) | other.on_box(start, stop))

    def without(self, other: OutlineMask) -> OutlineMask:
        """The voxels that the other does not hold."""
        mine = self.inside & ~other.on_box(self.start, self.stop)
        return OutlineMask.of(self.start, mine)

    def flipped(self, other: OutlineMask) -> OutlineMask:
        """The voxels that exactly one of both holds: a change, or what a change leads to."""
        start, stop = common_box(self, other)
        return OutlineMask.of(start, self.on_box(start, stop) ^ other.on_box(start, stop))

    def is_same(self, other: OutlineMask) -> bool:
        """Whether both hold the same voxels."""
        return self.start == other.start and np.array_equal(self.inside, other.inside)


def common_box(one: OutlineMask, other: OutlineMask) -> tuple[Index, Index]:
    """The box of two outlines together.

    Parameters
    ----------
    one, other : OutlineMask
        Of the same grid; an empty one counts for nothing.

    Returns
    -------
    tuple of (3 int, 3 int)
        First index, and one past the last.
    """
    held = [mask for mask in (one, other) if not mask.is_empty]
    if not held:
        return _NOWHERE, _NOWHERE
    low = np.min([mask.start for mask in held], axis=0)
    high = np.max([mask.stop for mask in held], axis=0)
    return (int(low[0]), int(low[1]), int(low[2])), (int(high[0]), int(high[1]), int(high[2]))


@dataclass(frozen=True, slots=True, eq=False)
class Stroke:
    """A line drawn on a slice with a round tip, or a closed loop that is filled."""

    points: Points  #: (n, 3) mm, patient LPS; the slice runs through the first
    normal: NDArray[np.float64]  #: (3,) of the slice, unit length
    radius_mm: float  #: of the tip; 0: the points are a closed loop, and it is filled

    def __post_init__(self) -> None:
        """Refuse what cannot have been drawn."""
        points = as_points(self.points)
        normal = np.asarray(self.normal, dtype=np.float64)
        if len(points) == 0 or not np.all(np.isfinite(points)):
            raise InputError("a stroke needs at least one point, all of them finite numbers")
        length = float(np.linalg.norm(normal)) if normal.shape == (3,) else 0.0
        if not 0.999 < length < 1.001:  # unit length, as far as six digits on the way carry it
            raise InputError(f"a slice's normal must have unit length, got {normal}")
        if not 0.0 <= self.radius_mm <= 100.0:
            raise InputError(
                f"a drawing tip of {self.radius_mm:g} mm cannot be meant: give 0 to 100 mm"
            )
        if self.radius_mm == 0.0 and len(points) < 3:
            raise InputError(f"a loop needs at least three points, got {len(points)}")
        object.__setattr__(self, "points", points)
        object.__setattr__(self, "normal", normal)
