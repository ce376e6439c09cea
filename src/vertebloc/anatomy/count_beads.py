"""The number that theatre says at each vertebra, counting from one end."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Vertebra
from vertebloc.case.choice_words import CountedFrom

_LAST_LUMBAR = ("L5", "L6")  #: only these are sure to lie on the sacrum
#: Assumed: a disc is thinner than this share of the bodies about it; where a vertebra is
#: missing, a whole body and two discs lie between.
_THICKEST_DISC = 0.8


@dataclass(frozen=True, slots=True, kw_only=True)
class CountBeads:
    """Numbers along the spine, the end's own vertebra being 1."""

    numbers: Mapping[Level, int]  #: only as far as the count goes without a break
    why_not: str  #: why it does not begin, or where it breaks off; empty: it goes to the end

    def __post_init__(self) -> None:
        """Freeze the mapping."""
        object.__setattr__(self, "numbers", MappingProxyType(dict(self.numbers)))


def count_beads(anatomy: Anatomy, end: CountedFrom, marker_at: Level | None = None) -> CountBeads:
    """Count from an end, as far as no vertebra is missing.

    Parameters
    ----------
    anatomy : Anatomy
        Vertebrae and ribs; says which ends are in view.
    end : CountedFrom
        The end that theatre will use.
    marker_at : Level or None
        The vertebra with the marker, for a count from it.

    Returns
    -------
    CountBeads
        Towards head and feet; no number at all if the end is not in view.

    Notes
    -----
    A vertebra is missing between two where their names leave one out, or where the gap between
    their endplates is wider than 0.8 of the mean height of their bodies (assumed; a disc is
    thinner). Names are not needed for the count itself, but a wrong one may end it.
    """
    order = sorted(anatomy.vertebrae)
    start, why_not = _start(anatomy, order, end, marker_at)
    if why_not:
        return CountBeads(numbers={}, why_not=why_not)
    breaks = _breaks(anatomy, order)
    ways = (-1,) if end is CountedFrom.SACRUM else (-1, 1)
    numbers: dict[Level, int] = {}
    stopped = []
    for step in ways:
        found, stop = _onwards(order, start, step, breaks)
        numbers |= found
        stopped += [stop] * bool(stop)
    return CountBeads(numbers=numbers, why_not="; ".join(stopped))


def _start(
    anatomy: Anatomy, order: Sequence[Level], end: CountedFrom, marker_at: Level | None
) -> tuple[int, str]:
    """Place of the vertebra that is number 1, or why there is none."""
    if end is CountedFrom.NOT_COUNTED or end not in anatomy.ends_in_view:
        return 0, "that end is not in the images"
    if end is CountedFrom.PLACED_MARKER:
        if marker_at is None:
            return 0, "it is not said which vertebra carries the marker"
        if marker_at not in anatomy.markers or marker_at not in order:
            seen = ", ".join(str(level) for level in anatomy.markers) or "no vertebra"
            return 0, f"no marker is outlined at {marker_at} (outlined at: {seen})"
        return order.index(marker_at), ""
    if end is CountedFrom.SACRUM:
        if order and str(order[-1]) in _LAST_LUMBAR:
            return len(order) - 1, ""
        lowest = str(order[-1]) if order else "none"
        return 0, f"the lowest vertebra outlined is {lowest}: it is not sure to lie on the sacrum"
    ribbed = [order.index(rib.level) for rib in anatomy.ribs if rib.level in order]
    if not ribbed:
        return 0, "no rib belongs to a vertebra that is wholly in view"
    return (min(ribbed) if end is CountedFrom.FIRST_RIB else max(ribbed)), ""


def _onwards(
    order: Sequence[Level], start: int, step: int, breaks: Mapping[int, str]
) -> tuple[dict[Level, int], str]:
    """Numbers from one place on, and why they end before the last vertebra."""
    found = {order[start]: 1}
    place = start
    while 0 <= place + step < len(order):
        gap = min(place, place + step)
        if gap in breaks:
            return found, breaks[gap]
        place += step
        found[order[place]] = len(found) + 1
    return found, ""


def _breaks(anatomy: Anatomy, order: Sequence[Level]) -> dict[int, str]:
    """Places below which a vertebra is missing, with the reason."""
    found = {}
    for place, (above, below) in enumerate(pairwise(order)):
        if not are_neighbours(above, below):
            found[place] = f"between {above} and {below} a vertebra is not outlined or misnamed"
        elif _is_far(anatomy.vertebrae[above], anatomy.vertebrae[below]):
            found[place] = (
                f"between {above} and {below} there is room for another vertebra: one is not "
                "outlined, or the names are wrong"
            )
    return found


def are_neighbours(one: Level, other: Level) -> bool:
    """Whether two names follow each other; T11 to T13 may be the last with a rib.

    Parameters
    ----------
    one, other : Level
        In any order.

    Returns
    -------
    bool
        By their names alone.
    """
    upper, lower = sorted((one, other))
    if upper.region == lower.region:
        return lower.number == upper.number + 1
    last = {"C": (7,), "T": (11, 12, 13), "L": (4, 5, 6)}.get(upper.region, ())
    return upper.number in last and lower.number == 1


def _is_far(above: Vertebra, below: Vertebra) -> bool:
    """Whether another body has room between two."""
    floor = above.lps_from_vertebra.points([[0.0, 0.0, above.lower_endplate_mm]])[0]
    roof = below.lps_from_vertebra.points([[0.0, 0.0, below.upper_endplate_mm]])[0]
    tall = [v.upper_endplate_mm - v.lower_endplate_mm for v in (above, below)]
    gap = float(np.linalg.norm(floor - roof))
    return gap > _THICKEST_DISC * float(np.mean(tall))
