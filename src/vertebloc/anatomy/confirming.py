"""Is the diseased level confirmed, by a count that theatre can repeat?

A level is confirmed only if a named person counted from an end that the images show, said the
number, and the number is the one that the images give; if the questions about ribs and
transitional vertebrae are answered; and if nothing contradicts: no name, no answer, no other
series.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from vertebloc.anatomy.count_beads import count_beads
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, LevelConfirmation
from vertebloc.case.choice_words import CountedFrom, RibPairs, Transitional
from vertebloc.case.choices import Choices
from vertebloc.case.level_choice import OtherCount
from vertebloc.space.frames import Side

_PAIRS = {RibPairs.ELEVEN: 11, RibPairs.TWELVE: 12, RibPairs.THIRTEEN: 13}
_USUAL_LUMBAR = 5
ASK_RIB_PAIRS = "it is not said how many pairs of ribs there are (11, 12, 13, or cannot be seen)"
ASK_TRANSITIONAL = "it is not said whether there is a transitional vertebra"


def judge_confirmation(anatomy: Anatomy, level: Level, choices: Choices) -> LevelConfirmation:
    """Judge what the team says of the level against what the images show.

    Parameters
    ----------
    anatomy : Anatomy
        Vertebrae, ribs, ends in view.
    level : Level
        The diseased vertebra.
    choices : Choices
        What was said, by whom; counts in other series; contradictions set aside.

    Returns
    -------
    LevelConfirmation
        Confirmed only if nothing is missing and nothing contradicts. A contradiction can be set
        aside by a named person with a reason; an end that is not in view cannot.
    """
    said = choices.level
    marker = Level.parse(said.marker_at) if said.marker_at else None
    beads = count_beads(anatomy, said.counted_from, marker)
    number = beads.numbers.get(level, 0)
    counted = said.counted_from is not CountedFrom.NOT_COUNTED
    in_view = counted and said.counted_from in anatomy.ends_in_view
    if said.counted_from is CountedFrom.PLACED_MARKER:
        in_view = bool(beads.numbers)
    doubts = []
    if in_view and not number:
        doubts.append(
            f"the count from the {said.counted_from.value} does not reach {level}: {beads.why_not}"
        )
    elif counted and not in_view and said.counted_from is CountedFrom.PLACED_MARKER:
        doubts.append(beads.why_not)
    doubts += _missing(choices)
    set_aside = {one.what for one in choices.overrides}
    found = [*anatomy.level_conflicts, *_contradictions(anatomy, level, choices, number)]
    return LevelConfirmation(
        confirmed_by=said.confirmed_by or None,
        confirmed_at=said.confirmed_at,
        counted_from=said.counted_from,
        marker_at=said.marker_at,
        end_in_view=in_view,
        number=number,
        towards=_towards(level, beads.numbers),
        beads=beads.numbers,
        rib_pairs=said.rib_pairs,
        transitional=said.transitional,
        conflicts=tuple(words for words in found if words not in set_aside),
        doubts=tuple(doubts),
    )


def _towards(level: Level, numbers: Mapping[Level, int]) -> str:
    """Which way it is counted from the end to the level, in a word; empty: no way to go."""
    first = next((at for at, number in numbers.items() if number == 1), None)
    if first is None or level not in numbers or level == first:
        return ""
    return "head" if level < first else "feet"


def _missing(choices: Choices) -> list[str]:
    """What has not been said yet."""
    said = choices.level
    found = []
    if said.confirmed_by and not said.confirmed_at:
        found.append("it is not said when it was confirmed (date, time and zone offset)")
    if said.counted_from is not CountedFrom.NOT_COUNTED and not said.count:
        found.append("it is not said to which number it was counted")
    if said.rib_pairs is RibPairs.NOT_ANSWERED:
        found.append(ASK_RIB_PAIRS)
    if said.transitional is Transitional.NOT_ANSWERED:
        found.append(ASK_TRANSITIONAL)
    return found


def _contradictions(
    anatomy: Anatomy, level: Level, choices: Choices, number: int
) -> Iterator[str]:
    """What was said against what the images or other series say, loudly."""
    said = choices.level
    if said.count and number and said.count != number:
        yield (
            f"LEVELS DO NOT AGREE: {level} was counted as number {said.count} from the "
            f"{said.counted_from.value}, the outlines give number {number}"
        )
    yield from _rib_pairs(anatomy, said.rib_pairs)
    if said.transitional is Transitional.NONE and anatomy.lumbar not in (0, _USUAL_LUMBAR):
        yield (
            "LEVELS DO NOT AGREE: no transitional vertebra was answered, but "
            f"{anatomy.lumbar} vertebrae lie between the last rib and the sacrum"
        )
    yield from _one_sided(anatomy, said.counted_from)
    for other in choices.other_counts:
        yield from _other(anatomy, level, choices, other)


def _rib_pairs(anatomy: Anatomy, answer: RibPairs) -> Iterator[str]:
    if answer is RibPairs.NOT_ANSWERED:
        return
    pairs = _PAIRS.get(answer, 0)
    if anatomy.rib_pairs and anatomy.rib_pairs != pairs:
        yield (
            f"LEVELS DO NOT AGREE: answered about ribs: {answer.value}; the outlines show "
            f"{anatomy.rib_pairs} pairs from first to last"
        )
    last = _last_rib(anatomy)
    if last is None or CountedFrom.LAST_RIB not in anatomy.ends_in_view:
        return
    if pairs and last != Level(f"T{pairs}"):
        yield (
            f"LEVELS DO NOT AGREE: answered about ribs: {answer.value}; the last rib in view is "
            f"on the vertebra named {last}"
        )
    if not pairs and last != Level("T12"):
        yield (
            f"LEVELS DO NOT AGREE: the last rib in view is on the vertebra named {last}, and how "
            "many pairs there are cannot be seen: who says so?"
        )


def _last_rib(anatomy: Anatomy) -> Level | None:
    levels = [rib.level for rib in anatomy.ribs if rib.level is not None]
    return max(levels) if levels else None


def _one_sided(anatomy: Anatomy, end: CountedFrom) -> Iterator[str]:
    """A count from a rib that only one side has depends on the side it is counted on."""
    levels = [rib.level for rib in anatomy.ribs if rib.level is not None]
    if end not in (CountedFrom.FIRST_RIB, CountedFrom.LAST_RIB) or not levels:
        return
    at = min(levels) if end is CountedFrom.FIRST_RIB else max(levels)
    sides: Sequence[Side] = [rib.side for rib in anatomy.ribs if rib.level == at]
    if len(set(sides)) == 1:
        yield (
            f"LEVELS DO NOT AGREE: the {end.value} ({at}) is found on the {sides[0].value} only: "
            "counted on the other side the number is another one"
        )


def _other(anatomy: Anatomy, level: Level, choices: Choices, other: OtherCount) -> Iterator[str]:
    """Another series' count against this one's."""
    start = f"LEVELS DO NOT AGREE: in {other.series} (counted by {other.who})"
    if Level.parse(other.level) != level:
        yield f"{start} the diseased vertebra is {other.level}, here it is {level}"
    if not other.count or other.counted_from is CountedFrom.PLACED_MARKER:
        return
    numbers = count_beads(anatomy, other.counted_from).numbers
    said = choices.level
    here = numbers.get(level, 0)
    if not here and said.counted_from is other.counted_from:
        here = said.count
    if here and here != other.count:
        yield (
            f"{start} it is number {other.count} from the {other.counted_from.value}, here it is "
            f"number {here}"
        )
