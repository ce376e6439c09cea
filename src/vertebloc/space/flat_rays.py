"""Straight lines through flat faces: where they run inside, exactly."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray


def inside_stretches(
    loops: Sequence[NDArray[np.float64]], start: ArrayLike, direction: ArrayLike
) -> NDArray[np.float64]:
    """Stretches of a line that lie inside loops.

    Parameters
    ----------
    loops : sequence of (n, 2) float64, mm
        Closed loops in one plane; holes are loops too.
    start : (2,) float64, mm
        Where the line starts.
    direction : (2,) float64, -
        Unit vector along it.

    Returns
    -------
    (k, 2) float64, mm
        Way from the start to where each stretch begins and ends, in order; negative behind the
        start. None if the line misses the loops.

    Notes
    -----
    An edge is crossed if its ends lie on different sides of the line, an end on the line
    counting as its right side: so a corner is crossed once or not at all, and the crossings of
    a closed loop always pair up. Exact but for rounding.
    """
    origin, along = np.asarray(start, np.float64), np.asarray(direction, np.float64)
    ways = [np.zeros(0)]
    for loop in loops:
        away = loop - origin
        beside = along[0] * away[:, 1] - along[1] * away[:, 0]
        ahead = away @ along
        beside_next, ahead_next = np.roll(beside, -1), np.roll(ahead, -1)
        crossed = (beside > 0.0) != (beside_next > 0.0)
        share = beside[crossed] / (beside[crossed] - beside_next[crossed])
        ways.append(ahead[crossed] + share * (ahead_next[crossed] - ahead[crossed]))
    return np.asarray(np.sort(np.concatenate(ways)).reshape(-1, 2))
