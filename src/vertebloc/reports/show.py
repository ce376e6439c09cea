"""The plan as plain text for a terminal: the answer and the faces, nothing else."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from typing import Any

from vertebloc.reports import text

#: Letters a line holds; narrow enough for any terminal.
_WIDTH = 96


def answer_lines(document: Mapping[str, Any]) -> str:
    """The answer, one sentence a paragraph, with the level and the code above it.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    str
        Lines of at most 96 letters; what must not be overlooked starts with ``!``.
    """
    confirmed = document["level_confirmation"]["confirmed"]
    level = text.joined_by_dot(
        document["level"] + ("" if confirmed else f" {text.LEVEL_UNCONFIRMED}"),
        f"{text.SHEET_LABELS['code']} {document['code']}",
        f"{text.SHEET_LABELS['made']} {document['made_at']}",
    )
    lines = [level]
    for part in document["answer_parts"]:
        mark = "! " if part["must_not_be_overlooked"] else "  "
        lines += textwrap.wrap(
            part["words"], _WIDTH, initial_indent=mark, subsequent_indent="    "
        )
    return "\n".join(lines)


def faces_table(document: Mapping[str, Any]) -> str:
    """Margins and allowances, bone faces first, thinnest first.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    str
        One line a face; columns are aligned by blanks.
    """
    faces = document["resection"]["faces"]
    rows = [("", text.SHEET_LABELS["margin"], text.SHEET_LABELS["may_err"])]
    for kind, title in (
        ("bone", text.SHEET_LABELS["bone"]),
        ("soft", text.SHEET_LABELS["soft"]),
    ):
        rows.append((title, "", ""))
        chosen = [face for face in faces if face["kind"] == kind]
        for face in sorted(chosen, key=lambda face: face["margin_mm"]):
            rows.append((f"  {face['name']}", text.mm(face["margin_mm"]), _may_err(face)))
    first, second = (max(len(row[column]) for row in rows) for column in (0, 1))
    return "\n".join(
        f"{name:<{first}}  {margin:>{second}}  {may_err}".rstrip()
        for name, margin, may_err in rows
    )


def _may_err(face: Mapping[str, Any]) -> str:
    """Allowance of a bone face; nothing for a soft one."""
    if "allowance_offset_mm" not in face:
        return ""
    return text.offset_and_tilt(
        text.or_more(
            text.mm(max(face["allowance_offset_mm"], 0.0)),
            face["allowance_offset_mm"],
            face["allowance_searched_to_mm"],
        ),
        text.or_more(
            text.degrees(max(face["allowance_tilt_deg"], 0.0)),
            face["allowance_tilt_deg"],
            face["allowance_searched_to_deg"],
        ),
    )
