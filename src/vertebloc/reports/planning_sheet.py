"""The planning sheet: one page that a team can hang up, sign and check by its short code."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from importlib import resources
from typing import Any

import typst

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.reports.paper import Paper
from vertebloc.reports.sheet_content import sheet_content
from vertebloc.reports.sheet_letters import printable, sheet_fonts
from vertebloc.reports.sheet_pages import SheetPage, as_svg, page_content

#: Pictures that the sheet needs, by the name in ``planning_pictures``.
PICTURES = ("coronal", "cross_section", "behind", "ring")


def planning_sheet(
    document: Mapping[str, Any],
    pictures: Mapping[str, bytes],
    identity: Identity | None,
    paper: Paper = Paper.A4,
    further: Sequence[SheetPage] = (),
) -> bytes:
    """Typeset the planning sheet.

    Parameters
    ----------
    document : mapping
        Content of plan.json, from ``plan_document``.
    pictures : mapping of str to bytes
        PNG bytes from ``planning_pictures``.
    identity : Identity or None
        The person, printed on every page; None for a copy that says it is without identity.
    paper : Paper
        A4 or Letter; the pictures should have been drawn for the same.
    further : sequence of SheetPage
        Pages to append, each on a page of its own. Every page carries the person, level and
        side, code and time, cautions, and which page of how many it is.

    Returns
    -------
    bytes
        PDF; the same input gives the same bytes.

    Raises
    ------
    InputError
        If a picture is missing or the document's time has no offset.

    Notes
    -----
    All text reaches the template as data, so no name can act as markup. Letters that the fonts
    do not have are counted and said, never printed as empty boxes. Small print that does not fit
    the first page goes on on the next, marked as continued.
    """
    missing = [name for name in PICTURES if name not in pictures]
    if missing:
        raise InputError(f"the sheet lacks its pictures {', '.join(missing)}: draw all first")
    made_at = datetime.fromisoformat(document["made_at"])
    if made_at.tzinfo is None:
        raise InputError(f"the plan's time {document['made_at']} has no offset from UTC")
    template = resources.files("vertebloc.reports") / "planning_sheet.typ"
    data = {name: as_svg(pictures[name]) for name in PICTURES}
    pages = []
    for number, page in enumerate(further, start=1):
        name = f"further {number}"
        pages.append(page_content(page, name))
        if page.picture is not None:
            data[name] = as_svg(page.picture.drawing)
    content = printable(sheet_content(document, identity, paper) | {"further": pages})
    data["content"] = json.dumps(content, ensure_ascii=False, sort_keys=True)
    return typst.compile(
        template.read_bytes(),
        format="pdf",
        font_paths=sheet_fonts(),
        sys_inputs=data,
        timestamp=int(made_at.timestamp()),
        pdf_standards="a-2b",
    )
