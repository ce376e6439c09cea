"""How well a draft agrees with a reference outline, and how many strokes would mend it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage
from scipy.signal import fftconvolve

from vertebloc.errors import InputError

BALLS_MM = (3.0, 5.0, 8.0)  #: radii of the balls that a scripted user draws or rubs out with


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Of two masks."""

    dice: float  #: 0 to 1
    mean_mm: float  #: mean distance between the surfaces, both ways
    most_mm: float  #: 95 % of both surfaces lie within this of the other


def compare(draft: ArrayLike, reference: ArrayLike, spacing_mm: ArrayLike) -> Agreement:
    """Overlap and surface distances of two masks on one grid.

    Parameters
    ----------
    draft, reference : (ni, nj, nk) bool
        The masks.
    spacing_mm : (3,) float64, mm
        Of the voxels.

    Returns
    -------
    Agreement
        Dice = 2 |A and B| / (|A| + |B|). Surfaces are the voxels with a face on the outside;
        distances run from centre to centre, from A to B and from B to A, taken together.

    Raises
    ------
    InputError
        If a mask is empty.
    """
    a, b = np.asarray(draft, dtype=bool), np.asarray(reference, dtype=bool)
    if not a.any() or not b.any():
        raise InputError("an empty outline agrees with nothing: no distance can be measured")
    both = a | b
    box = tuple(
        slice(int(w[0]), int(w[-1]) + 1)
        for w in (
            np.flatnonzero(both.any(axis=tuple(x for x in range(3) if x != n))) for n in range(3)
        )
    )
    a, b = np.pad(a[box], 1), np.pad(b[box], 1)
    rim_a, rim_b = (m & ~ndimage.binary_erosion(m) for m in (a, b))
    sampling = np.asarray(spacing_mm, dtype=np.float64).tolist()
    to_b = ndimage.distance_transform_edt(~rim_b, sampling=sampling)[rim_a]
    to_a = ndimage.distance_transform_edt(~rim_a, sampling=sampling)[rim_b]
    apart = np.concatenate((to_b, to_a))
    return Agreement(
        dice=float(2.0 * np.count_nonzero(a & b) / (np.count_nonzero(a) + np.count_nonzero(b))),
        mean_mm=float(apart.mean()),
        most_mm=float(np.percentile(apart, 95.0)),
    )


def strokes_to_mend(
    draft: ArrayLike,
    reference: ArrayLike,
    spacing_mm: ArrayLike,
    *,
    wanted_dice: float = 0.90,
    most: int = 60,
) -> int:
    """How many strokes a scripted user needs until a draft is good enough.

    Parameters
    ----------
    draft, reference : (ni, nj, nk) bool
        The masks.
    spacing_mm : (3,) float64, mm
        Of the voxels.
    wanted_dice : float, -
        When the user stops.
    most : int
        When the user gives up.

    Returns
    -------
    int
        Number of strokes; ``most + 1`` if so many do not do.

    Notes
    -----
    A stroke is one ball of 3, 5 or 8 mm radius, all of which is added or rubbed out, right or
    wrong; each time the one that mends most voxels, less those it spoils.
    """
    a, b = np.array(draft, dtype=bool), np.asarray(reference, dtype=bool)
    balls = [_ball(radius, np.asarray(spacing_mm, dtype=np.float64)) for radius in BALLS_MM]
    for done in range(most + 1):
        overlap = 2.0 * np.count_nonzero(a & b) / (np.count_nonzero(a) + np.count_nonzero(b))
        if overlap >= wanted_dice:
            return done
        if done < most:
            _mend(a, b, balls)
    return most + 1


def _ball(radius_mm: float, spacing: NDArray[np.float64]) -> NDArray[np.float32]:
    half = np.floor(radius_mm / spacing).astype(int)
    axes = [np.arange(-h, h + 1) * s for h, s in zip(half, spacing, strict=True)]
    far = np.sqrt(sum(x**2 for x in np.meshgrid(*axes, indexing="ij", sparse=True)))
    return np.asarray(far <= radius_mm, dtype=np.float32)


def _mend(
    a: NDArray[np.bool_], b: NDArray[np.bool_], balls: Sequence[NDArray[np.float32]]
) -> None:
    """Draw or rub out the ball that mends most, in place."""
    add = np.where(a, 0.0, np.where(b, 1.0, -1.0)).astype(np.float32)
    rub = np.where(a, np.where(b, -1.0, 1.0), 0.0).astype(np.float32)
    best = (-np.inf, (0, 0, 0), balls[0], True)
    for ball in balls:
        for gain, adds in ((add, True), (rub, False)):
            total = fftconvolve(gain, ball, mode="same")
            at = np.unravel_index(int(np.argmax(total)), total.shape)
            if total[at] > best[0]:
                best = (float(total[at]), (int(at[0]), int(at[1]), int(at[2])), ball, adds)
    _, at3, ball, adds = best
    low = np.array(at3) - np.array(ball.shape) // 2
    start = np.maximum(low, 0)
    stop = np.minimum(low + ball.shape, a.shape)
    box = tuple(slice(int(x), int(y)) for x, y in zip(start, stop, strict=True))
    part = tuple(slice(int(x), int(y)) for x, y in zip(start - low, stop - low, strict=True))
    a[box] = np.where(ball[part] > 0.5, adds, a[box])
