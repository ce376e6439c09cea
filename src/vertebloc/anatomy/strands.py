"""Thin things that run through the anatomy as a line with a thickness: roots, vessels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.outlines import mask_points
from vertebloc.anatomy.structures import Structure
from vertebloc.errors import InputError
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points, as_points

_STEP_MM = 3.0  #: a drawn strand becomes a point for every so many mm away from its start


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strand:
    """A root or a vessel of one level and side, from the middle outwards."""

    structure: Structure  #: nerve root or segmental vessel
    level: Level  #: the vertebra whose number it carries
    side: Side
    lps_mm: Points  #: (n, 3) mm, patient LPS, along its middle
    radius_mm: float
    modelled: bool  #: False: somebody drew it
    about: str  #: where course and radius come from, in words

    def __post_init__(self) -> None:
        """Freeze the line; refuse one that is none.

        Raises
        ------
        InputError
            If it has fewer than two points or no thickness.
        """
        points = np.array(as_points(self.lps_mm), dtype=np.float64)
        if len(points) < 2 or not self.radius_mm > 0.0:
            raise InputError(
                f"{self.words} has {len(points)} points and a radius of {self.radius_mm:g} mm: it "
                "needs two points and a thickness"
            )
        points.setflags(write=False)
        object.__setattr__(self, "lps_mm", points)

    @property
    def key(self) -> tuple[Level, Side]:
        """Level and side: a strand of its kind has no other of the same."""
        return self.level, self.side

    @property
    def words(self) -> str:
        """Its name for people, such as ``left T10 nerve root``."""
        return f"{self.side.value} {self.level} {self.structure.value}"

    @property
    def length_mm(self) -> float:
        """Length along its middle, mm."""
        return float(np.linalg.norm(np.diff(self.lps_mm, axis=0), axis=1).sum())


def line_of_mask(mask: Volume, start: NDArray[np.float64]) -> tuple[Points, float]:
    """Middle line and mean radius of a drawn strand.

    Parameters
    ----------
    mask : Volume
        Boolean volume of the strand.
    start : (3,) float64, mm, patient LPS
        A place nearer to its inner end than to its outer one.

    Returns
    -------
    tuple of (n, 3) float64, mm, and float, mm
        From the end nearer to ``start`` outwards; radius of a tube as long with the same volume.

    Raises
    ------
    InputError
        If the drawn strand is too short to have a direction.

    Notes
    -----
    Voxels are sorted by their distance from the inner end and averaged every 3 mm: right for a
    strand that leads away from there throughout (less than half a turn). A bushy or doubled
    outline gives its middle.
    """
    points = mask_points(mask)
    inner = points[int(np.argmin(np.linalg.norm(points - start, axis=1)))]
    away = np.linalg.norm(points - inner, axis=1)
    bins = np.minimum((away / _STEP_MM).astype(int), int(away.max() / _STEP_MM))
    line = np.array([points[bins == n].mean(axis=0) for n in range(bins.max() + 1) if n in bins])
    length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
    if len(line) < 2 or length <= 0.0:
        raise InputError(
            f"a strand is drawn over {float(away.max()):.1f} mm only: draw it for 6 mm at least"
        )
    volume = len(points) * mask.grid.voxel_volume_mm3
    full = length + _STEP_MM  # the line ends half a step before each end
    return line, float(np.sqrt(volume / (np.pi * full)))
