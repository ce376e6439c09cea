"""Role sheets as PDF, and as pictures for the screen."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from importlib import resources
from typing import Any

import typst

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.reports import role_text
from vertebloc.reports.paper import Paper
from vertebloc.reports.role_sheet import BLANK, RoleSheet, Section, SheetSize
from vertebloc.reports.sheet_content import sheet_content
from vertebloc.reports.sheet_letters import printable, sheet_fonts
from vertebloc.reports.sheet_pages import as_svg

#: Letters, the largest first; nothing is ever printed smaller than the last.
LETTERS_PT: Mapping[SheetSize, tuple[float, ...]] = {
    SheetSize.A4: (13.0, 12.5, 12.0, 11.5, 11.0, 10.5, 10.0, 9.5, 9.0),
    SheetSize.A5: (10.5, 10.0, 9.5, 9.0, 8.5, 8.0),
}
#: Of the planning sheet's content, what every sheet carries too.
_SHARED = (
    "palette",
    "person",
    "code",
    "made_at",
    "version",
    "page_of",
    "level",
    "side",
    "unconfirmed",
    "stale",
    "stale_word",
)
#: What is open in a plan stands on every sheet made from it.
_OPEN = ("level", "outlines")


def print_role_sheets(
    sheets: Sequence[RoleSheet], document: Mapping[str, Any], identity: Identity | None
) -> bytes:
    """Typeset sheets of one paper size, each on a page of its own.

    Parameters
    ----------
    sheets : sequence of RoleSheet
        In their order; one paper size.
    document : mapping
        Content of plan.json.
    identity : Identity or None
        The person, printed on every page; None for a copy that says it is without identity.

    Returns
    -------
    bytes
        PDF; the same input gives the same bytes.

    Raises
    ------
    InputError
        If there is no sheet, or sheets of two sizes are mixed.
    """
    made_at = datetime.fromisoformat(document["made_at"])
    pdf: bytes = typst.compile(
        _template(),
        format="pdf",
        font_paths=sheet_fonts(),
        sys_inputs=_inputs(sheets, document, identity),
        timestamp=int(made_at.timestamp()),
        pdf_standards="a-2b",
    )
    return pdf


def show_role_sheets(
    sheets: Sequence[RoleSheet], document: Mapping[str, Any], identity: Identity | None
) -> tuple[str, ...]:
    """Draw sheets for the screen, as they are printed.

    Parameters
    ----------
    sheets : sequence of RoleSheet
        In their order; one paper size.
    document : mapping
        Content of plan.json.
    identity : Identity or None
        As for ``print_role_sheets``.

    Returns
    -------
    tuple of str
        SVG, one a page.

    Raises
    ------
    InputError
        As for ``print_role_sheets``.
    """
    drawn: Any = typst.compile(
        _template(),
        format="svg",
        font_paths=sheet_fonts(),
        sys_inputs=_inputs(sheets, document, identity),
    )
    pages = drawn if isinstance(drawn, list) else [drawn]
    return tuple(page.decode() for page in pages)


def _template() -> bytes:
    return (resources.files("vertebloc.reports") / "role_sheet.typ").read_bytes()


def _inputs(
    sheets: Sequence[RoleSheet], document: Mapping[str, Any], identity: Identity | None
) -> dict[str, str]:
    """All that the template is given: words in one text, drawings by their name."""
    sizes = {sheet.size for sheet in sheets}
    if len(sizes) != 1:
        raise InputError("role sheets are printed on one paper at a time: part them by size")
    size = sizes.pop()
    shared = sheet_content(document, identity, Paper.A4)
    data: dict[str, str] = {}
    content = {name: shared[name] for name in _SHARED} | {
        "cautions": role_text.CAUTIONS,
        "labels": {"code": shared["labels"]["code"], "made": shared["labels"]["made"]},
        "title": sheets[0].title,
        "size": size.value,
        "blank": BLANK,
        "language": "en",
        "draft": sheets[0].draft,
        "letters_pt": LETTERS_PT[size],
        "open": open_words(document),
        "sheets": [
            {
                "title": sheet.title,
                "answer": sheet.answer,
                "sections": [
                    _section(part, f"{number}-{place}", data)
                    for place, part in enumerate(sheet.sections)
                ],
            }
            for number, sheet in enumerate(sheets)
        ],
    }
    content |= sheets[0].labels
    data["content"] = json.dumps(printable(content), ensure_ascii=False, sort_keys=True)
    return data


def open_words(document: Mapping[str, Any]) -> list[str]:
    """What nobody has confirmed in a plan: it stands on every sheet that is made from it.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    list of str
        Sentences; empty if level and outlines are confirmed.
    """
    return [
        part["words"]
        for part in document["answer_parts"]
        if part["about"] in _OPEN and part["must_not_be_overlooked"]
    ]


def _section(part: Section, name: str, data: dict[str, str]) -> dict[str, Any]:
    picture: dict[str, Any] = {}
    if part.picture is not None:
        data[name] = as_svg(part.picture.drawing)
        picture = {
            "name": name,
            "width_mm": part.picture.width_mm,
            "height_mm": part.picture.height_mm,
            "words": part.picture.words,
        }
    table: dict[str, Any] = {}
    if part.table is not None:
        table = {
            "headings": list(part.table.headings),
            "rows": [list(row) for row in part.table.rows],
            "widths": list(part.table.widths),
        }
    return {
        "title": part.title,
        "lines": list(part.lines),
        "table": table,
        "fields": list(part.fields),
        "picture": picture,
        "note": part.note,
        "half": part.half,
        "big": [list(pair) for pair in part.big],
        "must": part.must,
        "beside": part.beside,
    }
