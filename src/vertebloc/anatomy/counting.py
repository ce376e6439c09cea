"""Naming vertebrae by counting ribs, and comparing the count with the names given.

Counts only what is in view: with 12 complete pairs between a first and a last rib that both
are in view, the levels follow. Anything else is asked about, never guessed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from vertebloc.anatomy.levels import Level
from vertebloc.case.choice_words import CountedFrom
from vertebloc.space.frames import Side

_BOTH = frozenset(Side)
_PAIRS = 12
_ODD_LAST = (Level("T11"), Level("T13"))  #: they carry the last rib of 11 or 13 pairs


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """What the count gives."""

    levels: tuple[Level | None, ...]  #: one a vertebra, head to feet
    words: str  #: how the levels were named and what the count says
    warnings: tuple[str, ...]
    conflicts: tuple[str, ...] = ()  #: names against ribs; 11 or 13 pairs are asked about instead
    pairs: int = 0  #: complete ones from first to last rib, both in view; else 0
    lumbar: int = 0  #: vertebrae between last rib and sacrum, both in view; else 0


def count_levels(
    named: Sequence[Level | None],
    sides_with_rib: Sequence[frozenset[Side]],
    ends_in_view: frozenset[CountedFrom],
) -> Counted:
    """Levels of the vertebrae in view, from the names given or else from the ribs.

    Parameters
    ----------
    named : sequence of Level or None
        Given names, from head to feet.
    sides_with_rib : sequence of frozenset of Side
        On which sides each vertebra carries a rib.
    ends_in_view : frozenset of CountedFrom
        Ends of the rib cage and sacrum that the images show.

    Returns
    -------
    Counted
        Given names are kept even against the count; the conflict is a warning. Without
        names and without a complete count every level is None.

    Notes
    -----
    The first rib is taken for T1 and the last for T12 if exactly 12 complete pairs lie
    between them. The count cannot know a cervical rib that is paired with a missing
    twelfth one: 12 pairs then look normal.
    """
    bearing = [i for i, sides in enumerate(sides_with_rib) if sides]
    counted, findings = _count(bearing, sides_with_rib, ends_in_view)
    pairs = _complete_pairs(bearing, sides_with_rib, ends_in_view)
    lumbar = _lumbar(len(named), bearing, ends_in_view)
    warnings = [*findings, *_lumbar_findings(len(named), bearing, ends_in_view)]
    if any(level is not None for level in named):
        conflicts = _conflicts(named, counted, bearing, ends_in_view)
        odd = [] if counted is not None else _odd_last_rib(named, bearing, ends_in_view)
        if conflicts:
            said = "the count of the ribs contradicts them"
        elif counted is not None:
            said = f"{_PAIRS} pairs of ribs counted from the first rib agree with them"
        else:
            said = "the count cannot confirm them, since not both ends of the rib cage count"
        return Counted(
            levels=tuple(named),
            words=f"levels as named in the outlines; {said}",
            warnings=(*conflicts, *odd, *_gaps(named), *warnings),
            conflicts=tuple(conflicts),
            pairs=pairs,
            lumbar=lumbar,
        )
    if counted is not None:
        return Counted(
            levels=counted,
            words=f"levels counted: {_PAIRS} pairs of ribs, first and last rib in view",
            warnings=tuple(warnings),
            pairs=pairs,
            lumbar=lumbar,
        )
    if not findings:
        warnings.append(_why_not(bearing, ends_in_view))
    return Counted(
        levels=(None,) * len(named),
        words="the levels are not known: no names were given and the ribs do not decide",
        warnings=tuple(warnings),
        pairs=pairs,
        lumbar=lumbar,
    )


def _complete_pairs(
    bearing: list[int], sides: Sequence[frozenset[Side]], ends: frozenset[CountedFrom]
) -> int:
    """Pairs from first to last rib, if both are in view and none is missing; else 0."""
    if not bearing or not {CountedFrom.FIRST_RIB, CountedFrom.LAST_RIB} <= ends:
        return 0
    between = range(bearing[0], bearing[-1] + 1)
    return len(between) if all(sides[i] == _BOTH for i in between) else 0


def _odd_last_rib(
    named: Sequence[Level | None], bearing: list[int], ends: frozenset[CountedFrom]
) -> list[str]:
    """Names that say 11 or 13 pairs of ribs: a question to the team, never an answer."""
    last = named[bearing[-1]] if bearing and CountedFrom.LAST_RIB in ends else None
    if last is None or last not in _ODD_LAST:
        return []
    return [
        f"the last rib in view is on the vertebra named {last}: are there {last.number} pairs of "
        "ribs, or is the name one off? It is asked under rib_pairs"
    ]


def _count(
    bearing: list[int],
    sides: Sequence[frozenset[Side]],
    ends: frozenset[CountedFrom],
) -> tuple[tuple[Level | None, ...] | None, list[str]]:
    """Levels by counting, None if they do not follow, and what is odd about the ribs."""
    if not bearing:
        return None, []
    first, last = bearing[0], bearing[-1]
    findings = []
    single = [i for i in range(first, last + 1) if sides[i] != _BOTH]
    if single:
        places = ", ".join(
            f"{'both ribs' if not sides[i] else _missing(sides[i]) + ' rib'} of the vertebra at "
            f"place {i - first + 1}"
            for i in single
        )
        findings.append(
            f"from the first rib in view downwards, {places} not found: are they absent, "
            "removed or not outlined? Have a person count"
        )
    if not {CountedFrom.FIRST_RIB, CountedFrom.LAST_RIB} <= ends:
        return None, findings
    pairs = last - first + 1
    if pairs != _PAIRS:
        findings.append(
            f"{pairs} pairs of ribs in view from first to last instead of {_PAIRS}: which "
            "vertebra is T12 must be decided by a person"
        )
    if findings:
        return None, findings
    return tuple(_level_at(i - first) for i in range(len(sides))), []


def _missing(sides: frozenset[Side]) -> str:
    return next(side for side in Side if side not in sides).value


def _level_at(places_below_t1: int) -> Level | None:
    """Name of the vertebra so many places below T1, with 12 thoracic and 5 lumbar ones."""
    order = [f"C{n}" for n in range(1, 8)]
    order += [f"T{n}" for n in range(1, 13)] + [f"L{n}" for n in range(1, 6)]
    place = places_below_t1 + 7
    return Level(order[place]) if 0 <= place < len(order) else None


def _conflicts(
    named: Sequence[Level | None],
    counted: tuple[Level | None, ...] | None,
    bearing: list[int],
    ends: frozenset[CountedFrom],
) -> list[str]:
    """Where names and count disagree, loudly."""
    if counted is not None:
        wrong = [(a, b) for a, b in zip(named, counted, strict=True) if a is not None and a != b]
        if not wrong:
            return []
        pairs = ", ".join(f"{a} would be {b or 'no known level'}" for a, b in wrong)
        return [
            f"LEVELS DO NOT AGREE: counted over {_PAIRS} pairs of ribs, the vertebra named "
            f"{pairs}. Have a person count before anything is planned"
        ]
    found = []
    for end, place, expected in (
        (CountedFrom.FIRST_RIB, 0, Level("T1")),
        (CountedFrom.LAST_RIB, -1, Level("T12")),
    ):
        name = named[bearing[place]] if bearing else None
        if end is CountedFrom.LAST_RIB and name in _ODD_LAST:
            continue  # 11 or 13 pairs are asked about
        if end in ends and name is not None and name != expected:
            found.append(
                f"LEVELS DO NOT AGREE: the {end.value} in view is on the vertebra named {name}, "
                f"not on {expected}. Have a person count before anything is planned"
            )
    return found


def _gaps(named: Sequence[Level | None]) -> list[str]:
    """Neighbours whose names leave one out."""
    found = []
    for above, below in pairwise(named):
        if above is None or below is None or above >= below:
            continue
        one_region = above.region == below.region and below.number - above.number > 1
        usual = {("C", "T"): (7,), ("T", "L"): (11, 12, 13)}.get((above.region, below.region))
        changes = usual is not None and (above.number not in usual or below.number != 1)
        if one_region or changes:
            found.append(f"between {above} and {below} a vertebra is not outlined or misnamed")
    return found


def _lumbar(count: int, bearing: list[int], ends: frozenset[CountedFrom]) -> int:
    """Vertebrae between the last rib and the sacrum, if both are in view; else 0."""
    if not bearing or not {CountedFrom.LAST_RIB, CountedFrom.SACRUM} <= ends:
        return 0
    return count - 1 - bearing[-1]


def _lumbar_findings(count: int, bearing: list[int], ends: frozenset[CountedFrom]) -> list[str]:
    """A lumbar count other than five, if last rib and sacrum are in view."""
    lumbar = _lumbar(count, bearing, ends)
    if lumbar in (0, 5):
        return []
    return [
        f"{lumbar} vertebrae between the last rib and the sacrum instead of 5: a transitional "
        "vertebra or a vertebra not outlined; have a person count"
    ]


def _why_not(bearing: list[int], ends: frozenset[CountedFrom]) -> str:
    """Why the levels do not follow, and what to do."""
    if not bearing:
        reason = "no rib reaches a vertebra in view"
    else:
        absent = [
            end.value for end in (CountedFrom.FIRST_RIB, CountedFrom.LAST_RIB) if end not in ends
        ]
        reason = f"the end at the {' and at the '.join(absent)} is not in view"
    return f"the levels cannot be counted: {reason}; name the vertebrae in the names file"
