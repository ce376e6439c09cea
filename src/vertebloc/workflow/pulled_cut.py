"""A cut that a hand pulls in a picture: its numbers, checked at the door."""

from __future__ import annotations

from collections.abc import Mapping

from vertebloc.case.choices import HalfPlacement
from vertebloc.errors import InputError
from vertebloc.space.frames import Side


def read_halves(given: Mapping[str, Mapping[str, float]]) -> dict[Side, HalfPlacement]:
    """Read the numbers of a pulled cut as they came from a picture.

    Parameters
    ----------
    given : mapping of str to mapping
        ``left`` and ``right``, each with ``height_mm``, ``tilt_deg``, ``roll_deg``.

    Returns
    -------
    dict of Side to HalfPlacement
        Rounded to 0.01 mm and 0.01 degrees.

    Raises
    ------
    InputError
        If a half is missing or a number cannot be meant.
    """
    try:
        return {
            side: HalfPlacement(
                height_mm=round(float(given[side.value]["height_mm"]), 2),
                tilt_deg=round(float(given[side.value]["tilt_deg"]), 2),
                roll_deg=round(float(given[side.value]["roll_deg"]), 2),
            )
            for side in Side
        }
    except (KeyError, TypeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(f"a moved cut needs numbers for both halves, got {given!r}") from error
