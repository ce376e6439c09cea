"""The order of acts for page and paper: sentence, rows, bail-outs and warnings as plain text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vertebloc.reports import text, theatre_text


def acts_sentence(document: Mapping[str, Any]) -> str:
    """The answer of the page on acts.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    str
        How many acts, what is against the usual order, and from where one cannot stop.
    """
    acts = document["resection"]["acts"]
    never = [one["number"] for one in acts["order"] if one["stop"] == "no"]
    return theatre_text.acts_sentence(
        len(acts["order"]),
        by_rule=acts["by_rule"],
        open_warnings=sum(warning["open"] for warning in acts["warnings"]),
        last_stop=str(never[0]) if never else "",
    )


def acts_rows(document: Mapping[str, Any]) -> list[dict[str, str]]:
    """The table of acts, in their order.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    list of dict
        Keys ``number``, ``id`` (as in ``acts_order``), ``act``, ``parts``, ``needs``,
        ``signals``, ``stop`` (``yes``, ``no`` or ``only with``), ``stop_words``, ``trouble``;
        all text.
    """
    depths = {fan["cut"]: fan for fan in document["resection"]["depths"]}
    rows = []
    for one in document["resection"]["acts"]["order"]:
        parts = [_part(part, one["act"], depths) for part in one["parts"]]
        rows.append(
            {
                "number": str(one["number"]),
                "id": one["act"],
                "act": theatre_text.ACT_WORDS[one["act"]],
                "parts": "; ".join(parts),
                "needs": text.listed(one["needs"]),
                "signals": theatre_text.ACT_LABELS["signals"] if one["dangerous"] else "",
                "stop": one["stop"],
                "stop_words": theatre_text.stop_words(one["stop"], one["stop_in_words"]),
                "trouble": text.joined_by_dot(*one["troubles"]),
            }
        )
    return rows


def _part(part: str, act: str, depths: Mapping[str, Mapping[str, Any]]) -> str:
    """What an act is about; half cuts with their depth."""
    fan = depths.get(part)
    if fan is None:
        return part
    if act.startswith("first"):
        return f"{part}: {theatre_text.stop(fan['stop_mm'])}"
    far = fan["held_as_planned"]
    return f"{part}: {theatre_text.between(far['least_mm'], far['most_mm'])}"


def bail_out_rows(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """What to do in each trouble that an act of this plan may meet.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    list of dict
        Keys ``trouble`` (text), ``steps`` (list of text), ``source`` (text).
    """
    return [
        {
            "trouble": one["trouble"],
            "steps": [text.sentence(step["words"]) for step in one["steps"]],
            "source": text.listed(sorted({step["source"] for step in one["steps"]})),
        }
        for one in document["resection"]["acts"]["bail_outs"]
    ]


def acts_warnings(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """What the chosen order breaks.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    list of dict
        Keys ``what`` (the warning as an override names it), ``words`` (text), ``open`` (bool).
    """
    return [
        {
            "what": one["words"],
            "words": theatre_text.warning_open(one["words"])
            if one["open"]
            else theatre_text.warning_set_aside(one["words"], one["set_aside_by"], one["reason"]),
            "open": one["open"],
        }
        for one in document["resection"]["acts"]["warnings"]
    ]
