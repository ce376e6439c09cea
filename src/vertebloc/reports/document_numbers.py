"""Numbers as plan.json holds them: rounded, finite, never minus zero."""

from __future__ import annotations

import math
from collections.abc import Iterable

from vertebloc.errors import InputError

#: Lengths, angles and volumes are written to this many decimals.
DIGITS = 2

#: Parts of a direction, and shares, are written to this many decimals.
FINE_DIGITS = 4


def rounded(value: float, what: str, digits: int = DIGITS) -> float:
    """A rounded finite number, never minus zero.

    Parameters
    ----------
    value : float, any unit
        The number.
    what : str
        What it is, for the error.
    digits : int
        Decimals.

    Returns
    -------
    float, the same unit
        Rounded.

    Raises
    ------
    InputError
        If it is not finite.
    """
    if not math.isfinite(value):
        raise InputError(f"{what} is {value}: only finite numbers go into a plan")
    return round(float(value), digits) + 0.0


def all_rounded(values: Iterable[float], what: str, digits: int = DIGITS) -> list[float]:
    """The same for several numbers."""
    return [rounded(value, what, digits) for value in values]
