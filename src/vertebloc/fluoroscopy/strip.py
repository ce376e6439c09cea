"""The level strip: pictures from the agreed end of the spine to the diseased vertebra."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, LevelConfirmation
from vertebloc.case.choice_words import CountedFrom
from vertebloc.fluoroscopy.model import CArmView, StripView

_RIM = 0.06  #: of the field at each edge, where a vertebra is not wholly seen (assumed)
NO_END = "no end to count from is named: say it on the page of the level"


def level_strip(
    anatomy: Anatomy, level: Level, confirmation: LevelConfirmation, straight: CArmView
) -> tuple[tuple[StripView, ...], str]:
    """Straight views from behind, each sharing a vertebra with the one before.

    Parameters
    ----------
    anatomy : Anatomy
        Vertebrae.
    level : Level
        The diseased one, where the strip ends.
    confirmation : LevelConfirmation
        The agreed end, and the number that theatre says at each vertebra.
    straight : CArmView
        Straight from behind.

    Returns
    -------
    tuple of (tuple of StripView, str)
        From the end's own vertebra, number 1, to the diseased one; and why there is none, or
        empty. A strip that does not reach the diseased vertebra is none: it would name a level
        that nobody can count to.
    """
    numbers = confirmation.beads
    if confirmation.counted_from is CountedFrom.NOT_COUNTED:
        return (), NO_END
    if level not in numbers:
        words = "; ".join(confirmation.doubts) or "that end is not in the images"
        return (), f"the count from the {confirmation.counted_from.value} cannot begin: {words}"
    first = next(at for at, number in numbers.items() if number == 1)
    low, high = sorted((first, level))
    order = sorted(one for one in numbers if low <= one <= high)
    if first > level:
        order.reverse()
    found = []
    place = 0
    while True:
        shown = _fitting(anatomy, order[place:], straight)
        found.append(_strip_view(anatomy, shown, numbers, straight))
        if shown[-1] == level:
            return tuple(found), ""
        # the last one of a picture is the first of the next, so that none is skipped
        place += max(1, len(shown) - 1)


def _fitting(anatomy: Anatomy, order: list[Level], straight: CArmView) -> list[Level]:
    """As many vertebrae as one picture holds whole, at least one, and two if there are more."""
    shown = order[:1]
    for one in order[1:]:
        tried = [*shown, one]
        ends = _ends(anatomy, tried)
        aimed = replace(straight, aim=(ends.min(axis=0) + ends.max(axis=0)) / 2.0)
        half = straight.arm.detector_mm * (0.5 - _RIM)
        if np.abs(aimed.on_detector(ends)).max() > half and len(shown) > 1:
            break
        shown = tried
    return shown


def _ends(anatomy: Anatomy, levels: list[Level]) -> NDArray[np.float64]:
    """Middles of the endplates of some vertebrae, (2 n, 3) mm."""
    found = []
    for one in levels:
        v = anatomy.vertebrae[one]
        ends = [[0.0, 0.0, v.upper_endplate_mm], [0.0, 0.0, v.lower_endplate_mm]]
        found.append(v.lps_from_vertebra.points(ends))
    return np.concatenate(found)


def _strip_view(
    anatomy: Anatomy, levels: list[Level], numbers: Mapping[Level, int], straight: CArmView
) -> StripView:
    ends = _ends(anatomy, levels)
    aim = (ends.min(axis=0) + ends.max(axis=0)) / 2.0
    return StripView(
        view=replace(straight, aim=aim), numbers={one: numbers[one] for one in levels}
    )
