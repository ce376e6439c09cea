"""What the page *Which vertebra?* says about counting: part of the catalogue, to be translated."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

NOT_ANSWERED = "not answered yet"
LABELS = {
    "diseased": "diseased vertebra",
    "counted_from": "theatre counts from",
    "marker_at": "the marker lies in",
    "rib_pairs": "pairs of ribs in this person",
    "transitional": "transitional vertebra",
    "count": "number you counted at it",
    "who": "your name",
    "series": "which series",
    "level": "the diseased vertebra there",
    "other_from": "counted there from",
    "other_count": "number counted there",
}
CONFIRM = "confirm this count"
WITHDRAW = "take the confirmation back"
ADD_OTHER = "add that count"
DROP_OTHER = "take it out"
OTHERS = "Counted in another series too?"
CONFLICTS = "Levels do not agree"
CHANGED = {
    "diseased": "diseased vertebra",
    "counted_from": "end to count from",
    "marker_at": "vertebra with the marker",
    "rib_pairs": "answer about pairs of ribs",
    "transitional": "answer about transitional vertebrae",
}
CHOOSE_END = "Say first from which end theatre counts."
NO_NAME = "your name is empty: a count is confirmed by a named person"
NO_NUMBER = "the number counted is empty: count aloud from the end, and type the number"
NO_END = "no end to count from is chosen: say where theatre counts from"
NO_LEVEL = "no diseased vertebra is chosen: choose it before anybody counts"


def changed(part: str, value: str) -> str:
    """A change of what is said about the level, for the journal."""
    return f"level: {CHANGED[part]}: {value or NOT_ANSWERED}"


def confirmed(level: str, who: str, end: str, number: int) -> str:
    """A confirmation, for the journal."""
    return f"level: {level} counted as number {number} from the {end} by {who}"


def withdrawn(level: str) -> str:
    """A confirmation taken back, for the journal."""
    return f"level: confirmation of {level} taken back"


def other_added(series: str, level: str) -> str:
    """A count in another series, for the journal."""
    return f"level: {series} was counted: {level}"


def other_dropped(series: str) -> str:
    """A count in another series taken out, for the journal."""
    return f"level: count in {series} taken out"


def no_number(found: str) -> str:
    """That what was typed is no number."""
    return f"the number counted is {found!r}: type a whole number, such as 3"


def how_to_count(level: str, said: Mapping[str, Any]) -> str:
    """What to do now, on the page.

    Parameters
    ----------
    level : str
        The diseased vertebra.
    said : mapping
        ``level_confirmation`` of plan.json.

    Returns
    -------
    str
        One or two sentences.
    """
    end = said["counted_from"]
    if not end:
        return CHOOSE_END
    if not said["end_in_view"]:
        return (
            f"The {end} is not in these images: {level} stays UNCONFIRMED, here and on paper. "
            "Choose an end that they show, or bring images that show it."
        )
    first = next(one["level"] for one in said["numbers"] if one["number"] == 1)
    return (
        f"Count aloud from the {end}: its vertebra ({first}) is number 1; go on bone by "
        "bone towards the diseased one. Which number has it?"
    )


def other_row(other: Any) -> str:
    """A count in another series, in words."""
    counted = ""
    if other.count:
        counted = f", number {other.count} from the {other.counted_from.value}"
    return f"{other.series}: {other.level}{counted} (counted by {other.who})"
