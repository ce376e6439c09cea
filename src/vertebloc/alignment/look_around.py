"""A search that first looks around its start, so that it does not climb the first low hill."""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from vertebloc.alignment.refine import Moving, Refined, perturbed, refine
from vertebloc.alignment.shared_information import Samples, shared_by_all
from vertebloc.errors import NoSolutionError
from vertebloc.space.transforms import Transform

#: how far it looks, along and about each axis (assumed: as far as starts are moved)
LOOK_MM = (-8.0, -4.0, 0.0, 4.0, 8.0)
LOOK_DEG = 6.0
_POINTS = 1_500  #: of the blurred image; a hill is seen by them, its top is not
_CLIMBED = 3  #: the best places from which to climb
_APART_MM = 5.0  #: nearer ones lie on the same hill
_LOOKED = (0,)  #: the blur that is looked at


def look_around(samples: Samples, moving: Moving, start: Transform) -> Refined:
    """Climb from the most promising places around a start; the highest top is the answer.

    Parameters
    ----------
    samples : Samples
        Points of the fixed image, in any order that is even in space.
    moving : Moving
        The other image.
    start : Transform
        Where a point of the fixed image lies in the moving one, to within ``LOOK_MM``.

    Returns
    -------
    Refined
        The best of the tops that were climbed.

    Raises
    ------
    NoSolutionError
        If from none of the places enough of the points lie in the moving image.

    Notes
    -----
    What is shared is counted over all points, not only over those inside: a place that keeps
    few points inside would else win by them.
    """
    refused: NoSolutionError | None = None
    tops: list[tuple[float, Transform]] = []
    for place in _promising(samples, moving, start):
        try:
            top = refine(samples, moving, place, levels=_LOOKED)
        except NoSolutionError as error:
            refused = error
            continue
        tops.append((top.match.nats * top.match.inside, top.moving_from_fixed))
    if refused is not None and not tops:
        raise refused
    best = max(tops, key=lambda one: one[0])[1]
    return refine(samples, moving, best, levels=(1,))


def _promising(samples: Samples, moving: Moving, start: Transform) -> list[Transform]:
    """The places that share most, each some way from the better ones."""
    step = max(1, len(samples.points) // _POINTS)
    few = samples.take(np.arange(0, len(samples.points), step))
    middle, image = samples.points.mean(axis=0), moving.levels[0]
    shifts = np.array(list(product(LOOK_MM, repeat=3)))
    aside = image.ijk_from_lps.vectors(shifts)
    seen: list[tuple[float, NDArray[np.float64], tuple[int, int]]] = []
    turns = _turns()
    for n, turn in enumerate(turns):
        turned = perturbed(start, middle, np.zeros(3), turn)
        landed = image.ijk_from_lps.points(turned.points(few.points))
        there = turned.points(middle)[0]
        for m, by in enumerate(aside):
            shared = shared_by_all(few, landed + by, image)
            seen.append((shared, there + shifts[m], (n, m)))
    seen.sort(key=lambda one: -one[0])
    chosen: list[tuple[NDArray[np.float64], tuple[int, int]]] = []
    for _, there, at in seen:
        if all(np.linalg.norm(there - other) > _APART_MM for other, _ in chosen):
            chosen.append((there, at))
        if len(chosen) == _CLIMBED:
            break
    return [perturbed(start, middle, shifts[m], turns[n]) for _, (n, m) in chosen]


def _turns() -> list[NDArray[np.float64]]:
    axes = np.eye(3) * LOOK_DEG
    return [np.zeros(3), *axes, *(-axes)]
