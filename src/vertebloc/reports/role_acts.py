"""The order of acts with whether one can still stop, and what to do when: a page each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vertebloc.case.choice_words import Act
from vertebloc.reports import page_words, role_text, text, theatre_text
from vertebloc.reports.acts_page import acts_rows, acts_sentence, acts_warnings, bail_out_rows
from vertebloc.reports.role_sheet import Role, RoleSheet, RoleTable, Section
from vertebloc.reports.theatre_pages import SIGNAL_RUN

ACT_HEADINGS = ("no.", "act", "stop here?", "signals", "may go wrong")
STOP_WORDS = {"yes": "yes", "no": "NO", "only with": "only with …"}
BOTH = "before, after"
ONLY_WITH = "Stop only with"
STAGE_BEFORE = "Stage before: the front is freed"
STAGE_CHOSEN = "Two stages: the front is freed first; below, the stage from behind, prone."
STAGE_OPEN = (
    "The plan needs the front freed in a stage before, and the team has NOT chosen it; below, the "
    "stage from behind, prone."
)
STAGE_ONE = "One stage, from behind, prone."
BAIL_ANSWER = (
    "Read aloud before the incision. First step first; the surgeon says which, everyone hears it."
)
SEE_CARDS = "Places: see the cut cards."
NUMBERS_NOTE = "Numbers not listed are the signal runs before and after."
WARNINGS = "Against the usual order"


def acts_sheet(document: Mapping[str, Any]) -> RoleSheet:
    """The order of acts, signal runs folded into their acts.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    RoleSheet
        One row an act; what stopping needs is listed once below.
    """
    rows = acts_rows(document)
    needs: dict[str, list[str]] = {}
    for row in rows:
        if row["stop"] == "only with" and row["id"] != SIGNAL_RUN:
            needs.setdefault(row["stop_words"].partition(": ")[2], []).append(row["number"])
    table = RoleTable(
        headings=ACT_HEADINGS,
        rows=tuple(
            (
                row["number"],
                " ".join(filter(None, (row["act"], _parts(row)))),
                STOP_WORDS[row["stop"]],
                BOTH if row["signals"] else "",
                row["trouble"],
            )
            for row in rows
            if row["id"] != SIGNAL_RUN
        ),
        widths=(0.5, 6.2, 1.3, 1.3, 2.7),
    )  # fmt: skip
    warnings = tuple(str(one["words"]) for one in acts_warnings(document))
    sections = [
        *([Section(title=WARNINGS, lines=warnings, must=True)] if warnings else []),
        Section(title="", table=table, note=NUMBERS_NOTE if _skips(rows) else ""),
        Section(
            title=ONLY_WITH,
            lines=tuple(f"{text.sentence(words)[:-1]} (after no. {text.listed(numbers)})."
                        for words, numbers in needs.items()),
            note=theatre_text.COMMON_PRACTICE,
        ),
    ]  # fmt: skip
    stage = document.get("front", {}).get("stage", {})
    if stage:
        sections.insert(0, _stage_before(stage))
    return RoleSheet(
        role=Role.ACTS,
        title=role_text.TITLES["order of acts"],
        answer=f"{_stages(stage)} {acts_sentence(document)}",
        sections=tuple(sections),
    )


def _skips(rows: list[dict[str, str]]) -> bool:
    """Whether signal runs, which have no row, have numbers of their own."""
    return any(row["id"] == SIGNAL_RUN for row in rows)


def _stages(stage: Mapping[str, Any]) -> str:
    if not stage:
        return STAGE_ONE
    return STAGE_CHOSEN if stage["chosen"] else STAGE_OPEN


def _stage_before(stage: Mapping[str, Any]) -> Section:
    """The stage that frees the front, as the plan words it."""
    frees = text.listed(list(stage["frees"])) or role_text.NOT_SAID
    return Section(
        title=STAGE_BEFORE,
        lines=(f"{text.sentence(stage['approach'])} Frees: {frees}.",
               *(f"{n}. {text.sentence(act)}" for n, act in enumerate(stage["acts"], start=1))),
        must=not stage["chosen"],
    )  # fmt: skip


def _parts(row: Mapping[str, str]) -> str:
    """What an act is about; where protectors lie is a sentence a cut and stands on the cards."""
    if row["id"] == Act.PROTECTOR.value:
        return SEE_CARDS
    return text.sentence(row["parts"]) if row["parts"] else ""


def bail_outs_sheet(document: Mapping[str, Any]) -> RoleSheet:
    """What to do in each trouble that an act of this plan may meet.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    RoleSheet
        One section a trouble, steps in their order.
    """
    acts = document["resection"]["acts"]["order"]
    sections = []
    for one in bail_out_rows(document):
        numbers = [str(act["number"]) for act in acts if one["trouble"] in act["troubles"]]
        sections.append(
            Section(
                title=f"{text.sentence(one['trouble'])[:-1].upper()} (no. {', '.join(numbers)})",
                lines=tuple(f"{n}. {step}" for n, step in enumerate(one["steps"], start=1)),
                note=page_words.source_of(one["source"]),
            )
        )
    return RoleSheet(
        role=Role.BAIL_OUTS,
        title=role_text.TITLES["what to do when"],
        answer=f"{BAIL_ANSWER} {role_text.NO_DRUG}",
        sections=tuple(sections),
    )
