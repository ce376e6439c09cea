"""What tilts and lifts gain: the chosen way bettered in all six freedoms, and looked at closely.

A search of six freedoms by cells is hopeless. From the best way in the plane on, poses at its
worst places are tilted and lifted as long as that helps. This only raises what is shown to be
possible; what no tilt of the stated family can better is told by the common core.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.way_out.closer_look import CloserLook
from vertebloc.way_out.pose_map import Margin

LEAST_GAIN_MM = 0.1  #: for less nobody is asked to tilt a piece
_EVERY_MM = 3.0  #: poses of the way that may be tilted lie no farther apart
_EFFORT = (10, 80)  #: rounds and poses shifted in each
_TRIES = 4  #: of bettering, each from the best so far on


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tilted:
    """A way with tilts and lifts within the stated family."""

    worth_mm: float  #: shown to be kept
    way: NDArray[np.float64]  #: (n, 6): as ``moves_along`` takes it
    gained_mm: float  #: over the way in the plane
    against_errors: bool  #: both with all errors against it; false: outlines as they are


def with_tilts(
    look: CloserLook,
    way: NDArray[np.float64],
    names: tuple[str, ...],
    margin: Margin,
    pause: Callable[[], None],
) -> Tilted:
    """Better a way with tilts and lifts.

    Parameters
    ----------
    look : CloserLook
        Knows the largest tilt and lift by its settings.
    way : (n, 3) float64
        In the plane, from the seat to delivery.
    names : tuple of str
        Obstacles that stay.
    margin : Margin
        How strictly; not an upper one.
    pause : callable
        Called between tries; may raise to stop.

    Returns
    -------
    Tilted
        The same way, untilted, if that gains less than ``LEAST_GAIN_MM``.
    """
    flat_way = best_way = np.column_stack((way, np.zeros((len(way), 3))))
    best = float(look.worths(best_way, names, margin).min())
    flat = float(look.worths(way, names, margin).min())
    tried = _divided(look, best_way)
    for _ in range(_TRIES):
        pause()
        worth, tried = look.better(tried, names, margin, _EFFORT)
        if worth <= best + 0.02:
            break
        best, best_way = worth, tried
    if best - flat < LEAST_GAIN_MM:
        best, best_way = flat, flat_way
    return Tilted(
        worth_mm=best,
        way=best_way,
        gained_mm=best - flat,
        against_errors=margin.grown_mm > 0.0 or margin.sac_grown_mm > 0.0,
    )


def _divided(look: CloserLook, way: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same way with more poses on its long edges."""
    found = [way[:1]]
    for edge in look.along(way):
        length = 2.0 * edge.half_step_mm * (len(edge.poses) - 1)
        every = max(1, int((len(edge.poses) - 1) * _EVERY_MM / max(length, 1e-9)))
        found += [edge.poses[every:-1:every], edge.poses[-1:]]
    return np.concatenate(found)
