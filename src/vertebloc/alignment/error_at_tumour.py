"""How far the tumour moves when the search starts elsewhere and sees other parts of the images."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from vertebloc.alignment.look_around import look_around
from vertebloc.alignment.refine import Moving, perturbed, refine
from vertebloc.alignment.region import Region
from vertebloc.errors import NoSolutionError
from vertebloc.space.transforms import Points, Transform

TRIES = 12
SHIFT_MM, TURN_DEG = 8.0, 6.0  #: starts are moved by up to this along and about each axis
_POINTS = 10_000  #: of a half; more did not narrow the spread on the made-up pair
_SAME_PLACE_MM = 4.0  #: assumed: an end farther away is another hill, not a spread


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """What restarts say at the tumour."""

    tries: int
    came_back: int  #: ended within ``_SAME_PLACE_MM`` of the placement everywhere in the tumour
    largest_mm: float  #: of those, the largest distance of any tumour point
    rms_mm: float  #: of those, the root of the mean squared distance


def spread_of_restarts(
    region: Region, moving: Moving, placed: Transform, tumour: Points, rng: Generator
) -> Spread:
    """Search again from moved starts, each time with a random half of the blocks.

    Parameters
    ----------
    region : Region
        Points of the CT around the diseased vertebra.
    moving : Moving
        The other image.
    placed : Transform
        The placement in question.
    tumour : (n, 3) float64, mm, patient LPS
        Places that matter, in the CT.
    rng : numpy.random.Generator
        Draws starts and halves.

    Returns
    -------
    Spread
        How many searches came back, and how near.

    Notes
    -----
    Leaving out half of the blocks (delete-half jackknife) gives a spread as large as that of
    the whole from chance in the images; the moved start adds what the search itself is unsure
    of. Says nothing of what all parts have in common: a scanner's distortion, a wrong level.
    """
    here = placed.points(tumour)
    middle = tumour.mean(axis=0)
    blocks = int(region.block.max()) + 1
    found = []
    for _ in range(TRIES):
        half = rng.permutation(blocks) < (blocks + 1) // 2
        chosen = np.flatnonzero(half[region.block])[:_POINTS]
        samples = region.samples.take(chosen)
        start = perturbed(
            placed, middle,
            rng.uniform(-SHIFT_MM, SHIFT_MM, 3), rng.uniform(-TURN_DEG, TURN_DEG, 3),
        )  # fmt: skip
        try:
            end = look_around(samples, moving, start).moving_from_fixed
        except NoSolutionError:
            continue
        found.append(np.linalg.norm(end.points(tumour) - here, axis=1))
    return _summary(found)


def _summary(found: list[NDArray[np.float64]]) -> Spread:
    back = [apart for apart in found if apart.max() <= _SAME_PLACE_MM]
    if not back:
        return Spread(tries=TRIES, came_back=0, largest_mm=np.inf, rms_mm=np.inf)
    every = np.concatenate(back)
    return Spread(
        tries=TRIES,
        came_back=len(back),
        largest_mm=float(every.max()),
        rms_mm=float(np.sqrt(np.mean(every**2))),
    )


def moved_by_neighbour(region: Region, moving: Moving, placed: Transform, tumour: Points) -> float:
    """How far the tumour would lie elsewhere if one neighbour alone were believed.

    Parameters
    ----------
    region : Region
        Points around one neighbouring vertebra.
    moving : Moving
        The other image.
    placed : Transform
        The placement in question, where the search starts.
    tumour : (n, 3) float64, mm, patient LPS
        Places that matter, in the CT.

    Returns
    -------
    float, mm
        Mean distance over the tumour. Large if the back was bent otherwise in the two scans.

    Raises
    ------
    NoSolutionError
        If too little of the neighbour lies in the other image.
    """
    end = refine(region.samples, moving, placed, levels=(1,)).moving_from_fixed
    return float(np.linalg.norm(end.points(tumour) - placed.points(tumour), axis=1).mean())
