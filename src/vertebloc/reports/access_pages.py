"""The sheet's pages of ring and front."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from vertebloc.reports import access_text as words
from vertebloc.reports import text
from vertebloc.reports.page_words import Question
from vertebloc.reports.sheet_pages import SheetPage, SheetPicture, SheetTable

#: Names under which a case keeps these drawings, as SVG.
OPENED_RING, FRONT = "opened-ring", "front"

Draw = Callable[[str, str, float], SheetPicture | None]


def access_pages(document: Mapping[str, Any], draw: Draw) -> tuple[SheetPage, ...]:
    """Make the pages of ring and front.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    draw : callable
        Makes a picture of a saved drawing: its name, what it shows, its width in mm.

    Returns
    -------
    tuple of SheetPage
        None for a plan of an older version that holds neither.
    """
    pages = []
    if "ring" in document:
        pages.append(_ring(document["ring"], draw))
    if document.get("front", {}).get("planes"):
        pages.append(_front(document["front"], draw))
    return tuple(pages)


def _ring(ring: Mapping[str, Any], draw: Draw) -> SheetPage:
    rows = tuple(
        (
            one["side"],
            words.answer_words(one["answer"]),
            one["words"],
            text.mm(one["width_mm"]) if "width_mm" in one else "",
            text.mm(one["sac_mm"]) if "sac_mm" in one else "",
        )
        for one in ring["openings"]
    )
    said = [ring["words"], *map(text.sentence, ring["disagreements"])]
    said.append(f"{words.RULES}: {text.sentence(ring['rules'])}")
    said += ring.get("assumed", ())  # none if it could not be measured
    return SheetPage(
        title=Question.RING.value,
        sentence=" ".join(said),
        must_not_be_overlooked=ring["answer"] != "yes" or bool(ring["disagreements"]),
        picture=draw(OPENED_RING, words.RING_NOTE, 175.0),
        table=SheetTable(headings=words.RING_HEADINGS, rows=rows),
    )


def _front(front: Mapping[str, Any], draw: Draw) -> SheetPage:
    rows = tuple(
        (
            plane["plane"],
            plane["side"],
            text.mm(plane["wall_mm"]),
            words.answer_words(plane["answer"]),
            "; ".join(words.gap_words(one) for one in plane["structures"][:3]),
        )
        for plane in front["planes"]
    )
    said = [front["words"], words.between_sentence(front["planes"])]
    if front["before"] == "not said":
        said.append(words.BEFORE_NOT_SAID)
    if front["not_outlined"]:
        said.append(f"{words.NOT_OUTLINED.capitalize()}: {', '.join(front['not_outlined'])}.")
    if "stage" in front:
        said.append(f"{words.STAGE}: {words.stage_words(front['stage'])}")
    said += front["assumed"]
    return SheetPage(
        title=Question.FRONT.value,
        sentence=" ".join(one for one in said if one),
        must_not_be_overlooked=front["answer"] != "posterior_alone",
        picture=draw(FRONT, words.FRONT_NOTE, 185.0),
        table=SheetTable(headings=words.FRONT_HEADINGS, rows=rows),
    )
