"""Request to the interventional radiologist, and the form on which the answer comes back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vertebloc.anatomy.levels import Level
from vertebloc.published.blood import HOURS_AFTER_CLOSING
from vertebloc.published.evoked_potentials import (
    GREAT_ARTERY_LEFT,
    GREAT_ARTERY_SEEN,
    GREAT_ARTERY_T8_L1,
    LEVELS_AT_RISK,
    LEVELS_CLOSED_BEFORE,
)
from vertebloc.reports import role_text, text
from vertebloc.reports.role_sheet import BLANK, Role, RoleSheet, RoleTable, Section
from vertebloc.reports.role_watch import chosen_way_out

HEADINGS = ("level", "side", "in the outlines", "seen", "feeds tumour", "feeds the cord",
            "closed", "spared")  # fmt: skip
ANSWER = (
    "Please show the segmental arteries of {levels} on both sides, find what feeds the tumour and "
    "what feeds the cord, and say what may be closed. Tumour {tumour}. {comes}."
)
FACTS = (
    "The great artery of the cord was seen in {seen}; it comes from the left in {left} and enters "
    "at T8 to L1 in {levels} (taterra2019, 5437 people).",
    "Closing before was limited to {closed} neighbouring levels, sparing the great artery of the "
    "cord when it was seen ({closed_source}). In dogs the cord was at risk from {risk} "
    "neighbouring levels closed on both sides ({risk_source}).",
    "Time between closing and operation in one series: {hours} or less ({hours_source}, {who}).",
)
ALSO_TIED = (
    "The operation itself meets the arteries of {levels} on both sides; those that are closed "
    "count together with those that are tied."
)
WAY_OUT = (
    "The chosen way out gives up the segmental arteries {arteries}: both sides at {count} "
    "neighbouring level(s)."
)
REQUEST = ("operation planned for (day, hour)", "asked by (name, reach)",
           "kidneys, allergy, blood thinning: who checked")  # fmt: skip
RESULT = ("done on (day, hour)", "levels closed, side", "level spared, side, and why",
          "material that stays", "leg strength after", "name, signature")  # fmt: skip
DRAWN, MODELLED, ABSENT = "drawn", "modelled, not drawn", "not in the outlines"


def radiologist_sheet(document: Mapping[str, Any]) -> RoleSheet:
    """Levels, feeder, spared level and day: request and answer on one page.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    RoleSheet
        A row for each side of each level that comes out and its neighbours.
    """
    resection, tumour = document["resection"], document["tumour"]
    taken = resection["levels"]
    asked = neighbourhood(taken)
    return RoleSheet(
        role=Role.RADIOLOGIST,
        title=role_text.TITLES["interventional radiologist"],
        answer=ANSWER.format(
            levels=text.listed(asked),
            tumour=text.tumour_words(tumour["volume_ml"], tumour["side"]),
            comes=role_text.plan_in_short(resection["kind"], taken),
        ),
        sections=(
            Section(title="Request", lines=_also_tied(document),
                    fields=REQUEST),
            Section(title="Answer", table=_table(document, asked), fields=RESULT),
            Section(title="What is published", lines=_facts()),
        ),
    )  # fmt: skip


def neighbourhood(levels: list[str]) -> list[str]:
    """Levels that come out, with the one above and the one below.

    Parameters
    ----------
    levels : list of str
        From head to feet.

    Returns
    -------
    list of str
        T13 and L6, which few people have, are not added as neighbours.
    """
    order = [f"C{n}" for n in range(1, 8)] + [f"T{n}" for n in range(1, 13)]
    order += [f"L{n}" for n in range(1, 6)] + ["S1"]
    known = [level for level in levels if level in order]
    if not known:
        return list(levels)
    first, last = order.index(known[0]), order.index(known[-1])
    around = order[max(first - 1, 0) : last + 2]
    return sorted({*around, *levels}, key=Level)


def _table(document: Mapping[str, Any], levels: list[str]) -> RoleTable:
    drawn = {
        (one["level"], one["side"]): MODELLED if one["modelled"] else DRAWN
        for one in document.get("owners", {}).get("segmental_vessels", ())
    }
    rows = tuple(
        (level, side, drawn.get((level, side), ABSENT), BLANK, BLANK, BLANK, BLANK, BLANK)
        for level in levels
        for side in ("left", "right")
    )
    return RoleTable(headings=HEADINGS, rows=rows, widths=(0.8, 0.8, 1.8, 1, 1.2, 1.4, 1, 1))


def _also_tied(document: Mapping[str, Any]) -> tuple[str, ...]:
    """Arteries that the operation itself meets, those of the chosen way out among them."""
    taken = document["resection"]["levels"]
    lines = [ALSO_TIED.format(levels=text.listed(taken))]
    chosen = chosen_way_out(document)
    if chosen.get("arteries"):
        lines.append(
            WAY_OUT.format(
                arteries=text.listed(list(chosen["arteries"])),
                count=chosen["bilateral_levels_in_a_row"],
            )
        )
    return tuple(lines)


def _facts() -> tuple[str, ...]:
    return (
        FACTS[0].format(
            seen=GREAT_ARTERY_SEEN.in_words,
            left=GREAT_ARTERY_LEFT.in_words,
            levels=GREAT_ARTERY_T8_L1.in_words,
        ),
        FACTS[1].format(
            closed=f"{LEVELS_CLOSED_BEFORE.value:g}",
            closed_source=f"{LEVELS_CLOSED_BEFORE.source}, {LEVELS_CLOSED_BEFORE.population}",
            risk=f"{LEVELS_AT_RISK.value:g}",
            risk_source=LEVELS_AT_RISK.source,
        ),
        FACTS[2].format(
            hours=HOURS_AFTER_CLOSING.in_words,
            hours_source=HOURS_AFTER_CLOSING.source,
            who=HOURS_AFTER_CLOSING.population,
        ),
    )
