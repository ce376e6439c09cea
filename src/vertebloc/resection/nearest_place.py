"""The place of a piece of surface that lies nearest to a solid, however large its triangles."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vertebloc.space.distance import SignedDistance

#: A value found may lie so far above the true least distance, mm.
WITHIN_MM = 0.05
#: Halvings of a triangle's edges at most; 300 mm become less than 0.01 mm.
_HALVINGS = 15
#: With more triangles than that in question at once the search ends, so that memory is bounded:
#: tumour that follows a face over its whole length keeps all of them in question.
_MOST = 200_000


def nearest_place(
    corners: NDArray[np.float64], solid: SignedDistance
) -> tuple[float, NDArray[np.float64]]:
    """Find the least distance from triangles to a solid, by halving what may still be nearer.

    Parameters
    ----------
    corners : (n, 3, 3) array, mm, patient LPS
        The triangles; at least one.
    solid : SignedDistance
        The solid; its distance changes by no more than the way moved.

    Returns
    -------
    distance_mm : float, mm
        At most ``WITHIN_MM`` above the least; a bound from below if the search ended early. Once
        a place lies in the solid it is not asked how deep the deepest lies.
    place : (3,) array, mm, patient LPS
        Where.

    Notes
    -----
    Corners and middles alone see a wide triangle only there: beside a large flat face a tumour
    may lie nearer to a place between them, and the margin is read too large. A triangle whose
    middle is farther than the best value by more than its radius cannot hold a nearer place;
    all others are cut into four.
    """
    best, place = np.inf, np.zeros(3)
    open_ = np.asarray(corners, dtype=np.float64)
    for _ in range(_HALVINGS):
        middles = open_.mean(axis=1)
        looked = np.concatenate((open_.reshape(-1, 3), middles))
        distances = solid.signed_distance_mm(looked)
        at = int(np.argmin(distances))
        if distances[at] < best:
            best, place = float(distances[at]), looked[at]
        radii = np.linalg.norm(open_ - middles[:, None], axis=2).max(axis=1)
        least = distances[len(open_) * 3 :] - radii
        in_question = least < best - WITHIN_MM
        open_ = open_[in_question]
        if best <= 0.0 or not len(open_):
            return best, place
        if len(open_) * 4 > _MOST:
            break
        open_ = _quartered(open_)
    return float(least.min()), place


def _quartered(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, bc, ca = (a + b) / 2.0, (b + c) / 2.0, (c + a) / 2.0
    parts = ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))
    return np.concatenate([np.stack(part, axis=1) for part in parts])
