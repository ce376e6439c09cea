"""Which points of the CT are compared: around the diseased vertebra, and farther out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray
from scipy import ndimage

from vertebloc.alignment.shared_information import Samples, bin_fixed
from vertebloc.anatomy.contours import LabelMap, mask_on_box
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points

NEAR_MM = 7.0  #: how far around the vertebrae points are taken (assumed)
POINTS = 40_000
_BONES = (Structure.VERTEBRA, Structure.BODY, Structure.ARCH)
_HU = (-200.0, 1000.0)  #: ends of the scale on which the CT's brightness is told apart


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """Points of the CT with their brightness, and in which block each lies."""

    samples: Samples
    block: NDArray[np.int64]  #: (n,) number of the cube that holds the point

    def first(self, count: int) -> Region:
        """The first points, which were drawn as evenly as all."""
        return Region(self.samples.take(np.arange(len(self.block)) < count), self.block[:count])


def neighbours_of(labels: LabelMap, level: Level, reach: int) -> tuple[Contour, ...]:
    """Outlines of a vertebra and of those up to so many levels away.

    Parameters
    ----------
    labels : LabelMap
        The outlines.
    level : Level
        The diseased vertebra.
    reach : int
        How many to either side.

    Returns
    -------
    tuple of Contour
        From the head; those that are outlined.

    Raises
    ------
    InputError
        If the vertebra is not outlined.
    """
    named = {c for several in labels.names.values() for c in several}
    bones = [(c.level, c) for c in named if c.structure in _BONES and c.level is not None]
    levels = sorted({found for found, _ in bones})
    if level not in levels:
        raise InputError(
            f"{level} is not outlined in the CT: outline it and its neighbours, so that it is "
            "known where the images must agree"
        )
    at = levels.index(level)
    near = levels[max(0, at - reach) : at + reach + 1]
    chosen = [(near.index(found), c.words, c) for found, c in bones if found in near]
    return tuple(c for _, _, c in sorted(chosen, key=lambda one: one[:2]))


def choose_region(
    ct: Volume, labels: LabelMap, bones: tuple[Contour, ...], rng: Generator, *,
    around_mm: float = NEAR_MM, thick: NDArray[np.float64] | None = None,
) -> Region:  # fmt: skip
    """Draw points evenly from the vertebrae and what lies around them.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    labels : LabelMap
        Outlines, on the CT's grid.
    bones : tuple of Contour
        Around which outlines.
    rng : numpy.random.Generator
        Draws the points.
    around_mm : float, mm
        How far around.
    thick : (3,) float64, mm, or None
        Vector through a slice of the other image, in the CT's LPS: the CT is averaged along it,
        as the thick slice averages.

    Returns
    -------
    Region
        At most ``POINTS`` points.

    Raises
    ------
    InputError
        If none of the outlines has a voxel.
    """
    mask = mask_on_box(labels, bones, pad_mm=around_mm)
    if mask is None:
        raise InputError("the vertebrae around the tumour hold no voxel: outline them in the CT")
    step = np.maximum(np.rint(1.5 / mask.grid.spacing_mm).astype(int), 1)
    inside = np.asarray(mask.values)[:: step[0], :: step[1], :: step[2]]
    apart = ndimage.distance_transform_edt(~inside, sampling=mask.grid.spacing_mm * step)
    cells = np.argwhere(np.asarray(apart) <= around_mm)
    drawn = cells[rng.integers(0, len(cells), POINTS)] + rng.uniform(-0.5, 0.5, (POINTS, 3))
    points = mask.grid.lps_from_ijk.points(drawn * step)
    return region_of(ct, points[ct.grid.contains(points)], thick)


def region_of(ct: Volume, points: Points, thick: NDArray[np.float64] | None = None) -> Region:
    """Look the CT up at points.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    points : (n, 3) float64, mm, patient LPS
        Where.
    thick : (3,) float64, mm, or None
        Vector through a slice of the other image, along which to average.

    Returns
    -------
    Region
        The points with the CT's brightness in bins, and their blocks.
    """
    parts = (0.0,) if thick is None else (-0.375, -0.125, 0.125, 0.375)
    shift = np.zeros(3) if thick is None else thick
    inverse = ct.grid.lps_from_ijk.inverse
    image: NDArray[Any] = ct.values
    seen = np.zeros(len(points))
    for part in parts:
        index = inverse.points(points + part * shift)
        seen += ndimage.map_coordinates(image, index.T, order=1, mode="nearest", output=np.float64)
    samples = Samples(points, bin_fixed(seen / len(parts), *_HU))
    return Region(samples, blocks_of(points))


BLOCK_MM = 20.0  #: neighbouring points are not independent; cubes of this size nearly are


def blocks_of(points: Points) -> NDArray[np.int64]:
    """Number of the cube that each point lies in.

    Parameters
    ----------
    points : (n, 3) float64, mm, patient LPS
        Points.

    Returns
    -------
    (n,) int64
        From 0 without gaps.
    """
    cube = np.floor(points / BLOCK_MM).astype(np.int64)
    return np.asarray(np.unique(cube, axis=0, return_inverse=True)[1].reshape(-1))
