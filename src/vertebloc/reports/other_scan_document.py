"""The other scan as plan.json and the sheet tell it: which, laid how, how far off, by whom."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from vertebloc.reports import second_words as words

ABOUT = "other_scan"
_JSON = {"cannot tell": "cannot_tell", "": "not_laid"}
_LAID_KEYS = ("second_from_ct", "searches", "by_neighbour_mm", "landmarks")


def other_scan_document(
    facts: Mapping[str, Any], place: Mapping[str, Any], out_of_date: Sequence[str]
) -> dict[str, Any]:
    """What a plan has to say of the other scan.

    Parameters
    ----------
    facts : mapping
        What the import noted of it; empty if there is none.
    place : mapping
        What laying it on the CT found; empty if that was not done.
    out_of_date : sequence of str
        What changed since.

    Returns
    -------
    dict
        Plain values, mm, patient LPS; empty if there is no other scan. The scanner's free words
        are left out: they may name the patient.
    """
    if not facts:
        return {}
    answer = str(place.get("answer", ""))
    found = {
        "kind": str(facts["kind"]),
        "series_uid": str(facts.get("series_uid", "")),
        "answer": _JSON.get(answer, answer),
        "within_mm": place.get("within_mm"),
        "level": place.get("level"),
        "reasons": list(place.get("reasons", ())),
        "confirmed_by": place.get("confirmed_by") or None,
        "confirmed_at": place.get("confirmed_at") or None,
        "confirmed_although": place.get("reason") or None,
        "out_of_date": list(out_of_date),
        "caution": words.CAUTION,
        "words": words.in_plan(facts, place, out_of_date),
    }
    return found | {key: place[key] for key in _LAID_KEYS if key in place}


def add_other_scan(document: Mapping[str, Any], other: Mapping[str, Any]) -> dict[str, Any]:
    """The plan's document with the other scan in it, said before what is still open.

    Parameters
    ----------
    document : mapping
        Content of plan.json, from ``plan_document``.
    other : mapping
        From ``other_scan_document``; empty: the case has none, and nothing is added.

    Returns
    -------
    dict
        A copy. The sentence must not be overlooked unless the scan lies there, still does, and
        somebody has looked.
    """
    if not other:
        return dict(document)
    good = other["answer"] == "yes" and other["confirmed_by"] and not other["out_of_date"]
    said = {"about": ABOUT, "words": other["words"], "must_not_be_overlooked": not good}
    parts = [*document["answer_parts"][:-1], said, *document["answer_parts"][-1:]]
    return {
        **document,
        "answer": " ".join(part["words"] for part in parts),
        "answer_parts": parts,
        "other_scan": dict(other),
    }
