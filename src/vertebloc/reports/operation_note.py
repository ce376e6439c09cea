"""A draft of the operation note from the plan: to be completed, corrected and signed.

It says what was PLANNED. What was done is entered by hand; nothing is made up.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

from vertebloc.case.identity import Identity
from vertebloc.reports import role_text, text
from vertebloc.reports.acts_page import acts_rows
from vertebloc.reports.role_pathologist import tract_words
from vertebloc.reports.role_printing import open_words
from vertebloc.reports.role_sheet import BLANK, Role, RoleSheet, RoleTable, Section
from vertebloc.reports.theatre_pages import SIGNAL_RUN

DRAFT = "DRAFT"
ANSWER = (
    "DRAFT from the plan, not a record: it says what was planned. Complete it, correct it, strike "
    "out what was not done, sign it. Every empty line is unknown to the plan."
)
FIELDS_BEFORE = ("date, begin, end", "surgeon, assistants", "anaesthetist", "neurophysiologist",
                 "theatre nurse", "diagnosis (by whom)", "consent (by whom, when)")  # fmt: skip
FIELDS_AFTER = ("level counted again from, number", "margins as seen", "entered tumour: where",
                "sac, vessels, pleura", "signals: baseline, lowest, at the end",
                "roots tied", "arteries tied", "blood lost, given back, given",
                "front rebuilt with", "rods, screws", "pots sent", "counts, drains",
                "orders after", "signature, date")  # fmt: skip
PLANNED, DONE = "planned", "done: as planned / otherwise"
HEADINGS = ("no.", PLANNED, DONE)
WIDE = 88


def note_sheet(document: Mapping[str, Any]) -> RoleSheet:
    """The draft as a page to be filled in by hand.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    RoleSheet
        Marked as a draft across the page.
    """
    rows = tuple((row["number"], _planned(row), BLANK) for row in _acts(document))
    return RoleSheet(
        role=Role.NOTE,
        title=role_text.TITLES["operation note"],
        answer=ANSWER,
        draft=DRAFT,
        sections=(
            Section(title="Before", fields=FIELDS_BEFORE[:4], half=True),
            Section(title="", fields=FIELDS_BEFORE[4:], half=True),
            Section(title="Planned", lines=(paragraph(document),)),
            Section(title="Acts", table=RoleTable(headings=HEADINGS, rows=rows,
                                                  widths=(0.5, 7.0, 4.0))),
            Section(title="After", fields=FIELDS_AFTER[:7], half=True),
            Section(title="", fields=FIELDS_AFTER[7:], half=True),
        ),
    )  # fmt: skip


def paragraph(document: Mapping[str, Any]) -> str:
    """The plan's own sentences on cuts, ribs and margins, and the tract.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    str
        Nothing that the plan does not say.
    """
    about = ("tumour left", "contamination", "cuts", "ribs", "bone margins", "soft margins")
    said = [part["words"] for part in document["answer_parts"] if part["about"] in about]
    return " ".join([*said, f"Biopsy tract: {tract_words(document)}"])


def _acts(document: Mapping[str, Any]) -> list[dict[str, str]]:
    return [row for row in acts_rows(document) if row["id"] != SIGNAL_RUN]


def _planned(row: Mapping[str, str]) -> str:
    parts = row["parts"] if row["id"] != "protector" else ""
    return " ".join(filter(None, (row["act"], text.sentence(parts) if parts else "")))


def note_text(document: Mapping[str, Any], identity: Identity | None) -> str:
    """The draft as plain text, for a hospital's own system.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    identity : Identity or None
        The person; None: the copy says that it is without identity.

    Returns
    -------
    str
        UTF-8 text, lines of at most 88 letters, no formatting; ends with a line end.
    """
    confirmed = document["level_confirmation"]["confirmed"]
    tumour = document["tumour"]
    level = document["level"] if confirmed else f"{document['level']} {text.LEVEL_UNCONFIRMED}"
    lines = [
        f"{DRAFT} OF AN OPERATION NOTE - NOT A RECORD",
        identity.words if identity is not None else text.COPY_WITHOUT_IDENTITY,
        f"Level {level}, {text.tumour_words(tumour['volume_ml'], tumour['side'])}",
        f"{text.SHEET_LABELS['code']} {document['code']}, {text.SHEET_LABELS['made']} "
        f"{document['made_at'].replace('T', ' ')}",
        *([text.stale_band(document["stale"])] if document["stale"] else []),
        *open_words(document),
        "",
        ANSWER,
        "",
        *(f"{label}: {BLANK}" for label in FIELDS_BEFORE),
        "",
        f"{PLANNED.upper()}: {paragraph(document)}",
        "",
        *(f"{row['number']}. {_planned(row)} | {DONE}: {BLANK}" for row in _acts(document)),
        "",
        *(f"{label}: {BLANK}" for label in FIELDS_AFTER),
        "",
        role_text.CAUTIONS,
        document["package"]["name"] + " " + document["package"]["version"],
    ]  # fmt: skip
    wrapped = [part for line in lines for part in (textwrap.wrap(line, WIDE) or [""])]
    return "\n".join(wrapped) + "\n"
