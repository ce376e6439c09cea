"""What is said of the second scan: where it lies on the CT, how good that is, what would help."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

HEADING = "Does the other scan lie on the CT?"
NONE = "There is no second scan in this case."
NONE_HOW = (
    "Bring an MR in with: vertebloc import FOLDER --case DIR (an older CT: with --beside too)."
)
NOT_LAID = "The {kind} is here, but it does not lie on the CT yet."
NOT_LAID_HOW = (
    "Mark at least three places that you know in both, not on one line, around the tumour: CT on "
    "the left, then the same place on the right. Then: lay it on."
)
NOT_LAID_HEADER = (
    "The header puts both in one frame of reference, so it can be laid on at once; marked points "
    "guard against a wrong level."
)
UNCONFIRMED = "Nobody has confirmed this."
SETTLES_LEVEL = (
    "What would settle the level: a second scan or localiser in which ribs, sacrum or another end "
    "of the count is seen, or one more vertebra above and below outlined in the CT."
)
SETTLES_ERROR = (
    "What would help: thinner slices, more points marked around the tumour, or a scan taken in "
    "the position of the CT."
)
SETTLES_POINTS = "What would settle it: mark the points again, counting the level in both scans."
CAUTION = (
    "A map for the eye near the tumour, not a measurement: distortion by the scanner itself does "
    "not show in these numbers, and the back may have been bent otherwise. What is drawn on the "
    "MR is to be looked at on the CT."
)
PAIRS = "Marked points"
MARK_CT, MARK_OTHER = "a place in the CT", "the same place in the {kind}"
LAY, CLEAR, CONFIRM = "lay it on", "forget the last pair", "I have looked: it lies there"
WHO, REASON = "confirmed by", "why all the same (if it is no plain yes)"
LAYING = "laying the second scan on the CT: twelve searches, and the levels beside it"
VIEWS = {"beside": "side by side", "sliding": "one over the other", "edges": "edges of the CT"}
PLANES = {
    "side": "from the patient's left, head up",
    "across": "cross-section from the feet, back up",
}
NUMBERS = "How it was found"
EVIDENCE = "What speaks for the level"
DIVIDER, DEPTH = "divider", "slice"
STOP = "stop"
CONFIRMING = "Who stands behind it"
CT_FIRST = "mark the place in the CT first, then the same place in the other scan"
KEYS = "click, or arrow keys and Enter: mark a place"
LEAST_PAIRS = 3
CARD = "Other scan"
ADDRESS = "/other-scan"
KEY = "o"
READING = "reading both scans"


def marked(count: int) -> str:
    """How many pairs are marked, and how many are needed."""
    if count >= LEAST_PAIRS:
        return f"{count} pairs marked."
    return f"{count} of at least {LEAST_PAIRS} pairs marked."


def next_place(asked: str) -> str:
    """Which place is to be clicked next."""
    return f"Next: {asked}."


def second_sentences(
    facts: Mapping[str, Any], place: Mapping[str, Any], out_of_date: Sequence[str]
) -> list[tuple[str, bool]]:
    """The answer first, then what limits it, then what would settle it.

    Parameters
    ----------
    facts : mapping
        What the import noted of the second scan; empty if there is none.
    place : mapping
        What laying it on the CT found; empty if that was not done.
    out_of_date : sequence of str
        What changed since.

    Returns
    -------
    list of (str, bool)
        Sentences, and whether each must not be overlooked.
    """
    if not facts:
        return [(NONE, False), (NONE_HOW, False)]
    if not place.get("answer"):
        return [(NOT_LAID.format(kind=kind_of(facts)), True), (NOT_LAID_HOW, False)]
    said: list[tuple[str, bool]] = []
    if out_of_date:
        said.append((f"OUT OF DATE, lay it on again: {'; '.join(out_of_date)}.", True))
    yes = place["answer"] == "yes"
    said.append((_answer(facts, place), not yes))
    if place["answer"] != "yes":
        said += [(_sentence(reason), False) for reason in place["reasons"]]
    said += [(line, False) for line in _settles(place)]
    said.append(_confirmation(place))
    return said


def second_lines(
    facts: Mapping[str, Any], place: Mapping[str, Any], out_of_date: Sequence[str]
) -> list[str]:
    """The same with the numbers, for a terminal.

    Parameters
    ----------
    facts, place : mapping
        As ``second_sentences`` takes them.
    out_of_date : sequence of str
        What changed since.

    Returns
    -------
    list of str
        Lines.
    """
    lines = [words for words, _ in second_sentences(facts, place, out_of_date)]
    if place.get("answer"):
        lines += [f"{name}: {value}" for name, value in (*numbers(place), *evidence(place))]
        lines.append(CAUTION)
    return lines


def in_plan(facts: Mapping[str, Any], place: Mapping[str, Any], out_of_date: Sequence[str]) -> str:
    """The one sentence for plan and sheet.

    Parameters
    ----------
    facts, place : mapping
        As ``second_sentences`` takes them.
    out_of_date : sequence of str
        What changed since.

    Returns
    -------
    str
        Whether it lies on the CT, how far off at the tumour, who stands behind it.
    """
    kind, level = kind_of(facts), place.get("level")
    if not place.get("answer"):
        return f"The {kind} of this case does not lie on the CT yet."
    if out_of_date:
        return f"Where the {kind} lies on the CT is OUT OF DATE: {'; '.join(out_of_date)}."
    said = f"Cannot tell whether the {kind} lies on {level} of the CT"
    if place["answer"] == "yes":
        said = f"The {kind} lies on the CT to within {_within(place)} at the tumour of {level}"
    elif place["answer"] == "no":
        said = f"The {kind} does NOT lie on {level} of the CT where it was laid"
    if not place["confirmed_by"]:
        return f"{said}; UNCONFIRMED: nobody has looked."
    why = f", although: {place['reason']}" if place["reason"] else ""
    return f"{said}; confirmed by {place['confirmed_by']}{why}."


def sheet_note(other: Mapping[str, Any]) -> str:
    """How the other scan was laid, for the sheet's small print.

    Parameters
    ----------
    other : mapping
        The other scan as plan.json holds it.

    Returns
    -------
    str
        Which scan, from where it was laid, what the searches said; then the caution.
    """
    uid = other["series_uid"]
    which = f"{kind_of(other)} (series ending in {uid[-8:]})" if uid else kind_of(other)
    if "searches" not in other:
        return f"{which}: not laid on the CT."
    count, searches = other["landmarks"]["count"], other["searches"]
    start = f"{count} marked pairs of points" if count else "the header's frame of reference"
    back = f"{searches['came_back']} of {searches['tries']} searches came back"
    reasons = map(_sentence, other["reasons"])
    return " ".join((f"{which}, laid from {start}; {back}.", *reasons, CAUTION))


def _within(place: Mapping[str, Any]) -> str:
    return f"{max(float(place['within_mm']), 0.1):.1f} mm"


def kind_of(facts: Mapping[str, Any]) -> str:
    """How the second scan is called: MR, other CT, or just other scan."""
    return {"MR": "MR", "CT": "other CT"}.get(str(facts.get("kind")), "other scan")


def numbers(place: Mapping[str, Any]) -> list[tuple[str, str]]:
    """The few numbers behind the answer.

    Parameters
    ----------
    place : mapping
        What was found.

    Returns
    -------
    list of (str, str)
        Name and value with its unit.
    """
    searches, marks = place["searches"], place["landmarks"]
    rows = [
        (
            "searches from moved starts, each with half of the image",
            f"{searches['came_back']} of {searches['tries']} came back",
        )
    ]
    if searches["largest_mm"] is not None:
        rows.append(("farthest the tumour moved in them", f"{searches['largest_mm']:.1f} mm"))
    rows += [
        (f"{level} alone would move the tumour by", f"{mm:.1f} mm")
        for level, mm in place["by_neighbour_mm"].items()
    ]
    if marks["count"]:
        rows.append(("marked pairs of points", str(marks["count"])))
        rows.append(
            ("they alone are good at the tumour to", f"{marks['alone_good_to_mm']:.1f} mm")
        )
        rows.append(("they lay the tumour elsewhere by", f"{marks['off_mm']:.1f} mm"))
    return rows


def evidence(place: Mapping[str, Any]) -> list[tuple[str, str]]:
    """How the placement stands against those one and two levels away.

    Parameters
    ----------
    place : mapping
        What was found.

    Returns
    -------
    list of (str, str)
        The rival, and how it fares.
    """
    return [(_rival_name(one["offset"]), _rival(one)) for one in place["level_check"]["rivals"]]


def _answer(facts: Mapping[str, Any], place: Mapping[str, Any]) -> str:
    kind = kind_of(facts)
    searches = place["searches"]
    back = f"{searches['came_back']} of {searches['tries']} searches came back there"
    if place["answer"] == "yes":
        return (
            f"The {kind} lies on the CT to within {_within(place)} at the tumour of "
            f"{place['level']} ({back}; no other level fits)."
        )
    if place["answer"] == "no":
        return f"No: the {kind} does not lie on {place['level']} there."
    return f"Cannot tell whether the {kind} lies on {place['level']} of the CT ({back})."


def _settles(place: Mapping[str, Any]) -> list[str]:
    if place["answer"] == "yes":
        return []
    if place["answer"] == "no":
        return [SETTLES_POINTS]
    unsure = place["level_check"]["answer"] != "same level"
    found = [SETTLES_LEVEL] if unsure else []
    if len(place["reasons"]) > int(unsure):
        found.append(SETTLES_ERROR)
    return found


def _confirmation(place: Mapping[str, Any]) -> tuple[str, bool]:
    if not place["confirmed_by"]:
        return UNCONFIRMED, True
    when = str(place["confirmed_at"])[:10]
    why = f" although the answer is not a plain yes: {place['reason']}" if place["reason"] else ""
    return f"Confirmed by {place['confirmed_by']}, {when}{why}.", bool(why)


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}{'' if words.endswith('?') else '.'}"


def _rival_name(offset: int) -> str:
    count, way = abs(offset), "feet" if offset > 0 else "head"
    return f"{count} level{'s' * (count > 1)} towards the {way}"


def _rival(one: Mapping[str, Any]) -> str:
    if not one["tested"]:
        return f"not compared: {one['why_not']}"
    if one["slid_back"]:
        return "fits worse: the search led back here"
    side = "worse" if one["clear"] > 0 else "better"
    speaks = sorted(one["by_kind"].items(), key=lambda pair: -abs(pair[1]))[:2]
    return (
        f"fits {side} by {100 * abs(one['share']):.0f} %, {abs(one['clear']):.1f} standard "
        f"errors (most of it: {', '.join(name for name, _ in speaks)})"
    )


def captions(kind: str) -> dict[str, str]:
    """What stands under the one picture that shows both scans.

    Parameters
    ----------
    kind : str
        How the second scan is called.

    Returns
    -------
    dict
        By way of looking.
    """
    return {
        "sliding": f"CT left of the line, {kind} right of it",
        "edges": f"{kind}, with the CT's edges in yellow",
    }
