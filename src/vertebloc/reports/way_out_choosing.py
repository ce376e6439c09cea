"""The way out within a plan; its ledger in the surgeon's order: the program prices nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from vertebloc.case.way_out_choice import Spared
from vertebloc.reports.answer import About

#: What a sentence of the answer speaks of.
ABOUT = "way out"
#: Stands for what tilts gained where they were tried for another plan than the one chosen.
ANOTHER_PLAN = "another plan"
_RANK = {"yes": 0, "cannot_tell": 1, "no": 2}
_ALL_IN_REACH_MM = 1000.0  #: stands for "all in reach" in an order: dearer than any length


def add_way_out(document: Mapping[str, Any], way_out: Mapping[str, Any]) -> dict[str, Any]:
    """The plan's document with its way out in it.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    way_out : mapping
        From ``with_ranking``.

    Returns
    -------
    dict
        The answer says it where it said before that it is still open.
    """
    said = {
        "about": ABOUT,
        "words": way_out["words"],
        "must_not_be_overlooked": way_out["answer"] != "yes",
    }
    parts = [p for p in document["answer_parts"] if p["about"] != About.STILL_OPEN.value]
    parts.append(said)
    return {
        **document,
        "answer": " ".join(part["words"] for part in parts),
        "answer_parts": parts,
        "not_computed": [],
        "way_out": dict(way_out),
    }


def with_ranking(
    way_out: Mapping[str, Any],
    ways: Sequence[Mapping[str, Any]],
    spare_first: Sequence[Spared],
) -> dict[str, Any]:
    """The way out with its ledger in the surgeon's order, and the first yes as the one chosen.

    Parameters
    ----------
    way_out : mapping
        From ``way_out_document``.
    ways : sequence of mapping
        From ``travel_scene``, one for each line of the ledger.
    spare_first : sequence of Spared
        The dearest first; empty: the order and the choice of the search.

    Returns
    -------
    dict
        Yes, no or cannot tell stays as it was found: a ranking moves no obstacle. Each line
        says whether it is the one chosen, and which way it is.
    """
    ledger = [
        {**line, "way": place, "chosen": bool(way["chosen"])}
        for place, (line, way) in enumerate(zip(way_out.get("ledger", ()), ways, strict=True))
    ]
    ranked = dict(way_out) | {"spare_first": [one.value for one in spare_first]}
    if not spare_first or not ledger:
        ledger.sort(key=lambda line: not line["chosen"])  # what the answer rests on, first
        return ranked | ({"ledger": ledger} if "ledger" in way_out else {})
    ledger.sort(
        key=lambda line: (
            _RANK[line["answer"]],
            line["distraction_mm"],  # never put before a plan that needs none
            *(cost(line, one) for one in spare_first),
        )
    )
    first = ledger[0]
    if way_out["answer"] != "yes":
        return ranked | {"ledger": ledger}
    for line in ledger:
        line["chosen"] = line is first
    way = ways[first["way"]]
    if not way["chosen"]:  # exact check and tilts were of the way that the search chose
        ranked.pop("exact", None)
        ranked["tilted"] = ANOTHER_PLAN
    return ranked | {
        "ledger": ledger,
        "side": first["side"],
        "words": way["words"],
        "clearance_bracket_mm": first["clearance_bracket_mm"],
        "with_errors_mm": first["with_errors_mm"],
        "path": path_of(way),
    }


def cost(line: Mapping[str, Any], what: Spared) -> float:
    """How much of something a line of the ledger gives up, for putting lines in order.

    Parameters
    ----------
    line : mapping
        Of the ledger.
    what : Spared
        Which.

    Returns
    -------
    float, a count or mm
        Less is better.
    """
    if what is Spared.ROOTS:
        return float(len(line["roots"]))
    if what is Spared.RIBS:
        lengths = line["ribs_mm"].values()
        return sum(_ALL_IN_REACH_MM if isinstance(v, str) else float(v) for v in lengths)
    if what is Spared.ARTERIES:
        return float(line["bilateral_levels_in_a_row"])
    lower = line["with_errors_mm"][0]
    return float("inf") if isinstance(lower, str) else -float(lower)


def path_of(way: Mapping[str, Any]) -> list[dict[str, float]]:
    """Poses of a way as plan.json writes them.

    Parameters
    ----------
    way : mapping
        With ``played``.

    Returns
    -------
    list of dict
        Every third pose as played, with the narrowest and the last; empty if there is no way.
    """
    played = way["played"]
    if played is None:
        return []
    last = len(played["x_mm"]) - 1
    kept = sorted({*range(0, last + 1, 3), played["narrowest"], last})
    names = ("x_mm", "y_mm", "turn_deg", "moved_mm", "clearance_mm")
    leaned = ("tilt_about_x_deg", "tilt_about_y_deg", "lift_mm")
    return [
        {name: played[name][i] for name in names}
        | dict(zip(leaned, played["tilts"][i], strict=True))
        for i in kept
    ]
