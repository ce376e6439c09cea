"""The smooth sheet of least cost through a stack of rings: one height a place."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def smoothest_sheet(cost: NDArray[np.floating], bend: float) -> NDArray[np.float64]:
    """Choose one sample on each ray so that neighbours agree.

    Parameters
    ----------
    cost : (rows, angles, samples) float, -
        Of each sample; rings are closed along the angles.
    bend : float, -
        Cost of one sample's step between neighbours; steps of more than 4 cost no more.

    Returns
    -------
    (rows, angles) float64, -
        Chosen sample, refined between samples by a parabola.

    Notes
    -----
    Costs are passed along the rings both ways and along the rows both ways by dynamic
    programming, and summed; the least sum is taken. It is not the exact minimum over the
    whole sheet.
    """
    c = np.asarray(cost, dtype=np.float32)
    twice = np.concatenate((c, c), axis=1)
    angles = c.shape[1]
    ahead = _passed(np.moveaxis(twice, 1, 0), bend)[angles:]
    behind = _passed(np.moveaxis(twice, 1, 0)[::-1], bend)[::-1][:angles]
    total = np.moveaxis(ahead + behind, 0, 1)
    total = total + _passed(c, bend) + _passed(c[::-1], bend)[::-1] - 3.0 * c
    best = np.argmin(total, axis=2)
    inner = np.clip(best, 1, c.shape[2] - 2)
    three = [np.take_along_axis(total, (inner + d)[:, :, None], 2)[:, :, 0] for d in (-1, 0, 1)]
    curve = three[0] - 2.0 * three[1] + three[2]
    part = np.where(curve > 1e-6, 0.5 * (three[0] - three[2]) / np.maximum(curve, 1e-6), 0.0)
    refined = np.where(best == inner, inner + np.clip(part, -0.5, 0.5), best)
    return np.asarray(refined, dtype=np.float64)


def _passed(cost: NDArray[np.float32], bend: float) -> NDArray[np.float32]:
    """Least cost of any way from the first entry to each, (n, m, samples)."""
    out = np.empty_like(cost)
    out[0] = cost[0]
    for n in range(1, len(cost)):
        before = out[n - 1] - out[n - 1].min(axis=1, keepdims=True)
        best = np.minimum(before, np.float32(4.0 * bend))
        for step in range(1, 4):
            extra = np.float32(step * bend)
            best[:, step:] = np.minimum(best[:, step:], before[:, :-step] + extra)
            best[:, :-step] = np.minimum(best[:, :-step], before[:, step:] + extra)
        out[n] = cost[n] + best
    return out
