"""Flat finite faces: one or more loops in a plane, holes allowed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import FrameError, InputError
from vertebloc.space.frames import Frame
from vertebloc.space.transforms import Points, Transform


@dataclass(frozen=True, slots=True, eq=False)
class PlanarFace:
    """A finite face. Loops: outer ones anticlockwise seen against the normal, holes clockwise."""

    lps_from_plane: Transform  #: +z is the face's normal (out of the piece)
    loops: tuple[NDArray[np.float64], ...]  #: each (n, 2) mm, in the plane's x and y

    def __post_init__(self) -> None:
        """Refuse loops that enclose nothing; make them read-only."""
        target, source = self.lps_from_plane.target, self.lps_from_plane.source
        if (target, source) != (Frame.PATIENT_LPS, Frame.PLANE):
            raise FrameError(
                f"a face needs lps_from_plane, got a map from {source.value} into {target.value}"
            )
        loops = tuple(np.array(loop, dtype=np.float64) for loop in self.loops)
        for loop in loops:
            if loop.ndim != 2 or loop.shape[1] != 2 or len(loop) < 3:
                raise InputError(f"a loop needs at least three (x, y) points, got {loop.shape}")
            loop.flags.writeable = False
        object.__setattr__(self, "loops", loops)

    @property
    def area_mm2(self) -> float:
        """Enclosed area: outer loops count positive, holes negative."""
        return float(sum(_shoelace(loop) for loop in self.loops))

    @property
    def is_empty(self) -> bool:
        """Whether the plane misses the bone."""
        return not self.loops

    def loops_lps(self) -> tuple[Points, ...]:
        """The loops in patient LPS, each (n, 3)."""
        return tuple(
            self.lps_from_plane.points(np.column_stack((loop, np.zeros(len(loop)))))
            for loop in self.loops
        )


def _shoelace(loop: NDArray[np.float64]) -> float:
    x, y = loop.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
