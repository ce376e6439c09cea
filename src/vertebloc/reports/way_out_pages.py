"""The sheet's pages of the way out: answer with six moments, ledger, what is published on it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from vertebloc.reports import text
from vertebloc.reports import way_out_text as words
from vertebloc.reports.page_words import Question
from vertebloc.reports.sheet_pages import SheetPage, SheetPicture, SheetTable
from vertebloc.reports.travel_text import MOMENTS_NOTE, TILTED_NOTE, tilted_sentence
from vertebloc.reports.way_out_views import consequences

#: Name under which a case keeps the drawing, as SVG.
MOMENTS = "way-out"
_WIDE_MM = 186.0

Draw = Callable[[str, str, float], SheetPicture | None]


def way_out_pages(document: Mapping[str, Any], draw: Draw) -> tuple[SheetPage, ...]:
    """Make the pages of the way out.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    draw : callable
        Makes a picture of a saved drawing: its name, what it shows, its width in mm.

    Returns
    -------
    tuple of SheetPage
        None where it was not computed, or does not hold any more.
    """
    way_out = document.get("way_out")
    if way_out is None:
        return ()
    said = [way_out["words"], words.flips_sentence(way_out), words.no_from_sentence(way_out)]
    said += words.distraction_said(way_out)
    exact = words.exact_sentence(way_out)
    said = [exact, *said] if words.is_doubted(way_out) else [*said, exact]
    note = [MOMENTS_NOTE if "ledger" in way_out else "", *_tilts(way_out)]
    note.append(words.settings_sentence(way_out))
    first = SheetPage(
        title=Question.WAY_OUT.value,
        sentence=" ".join(one for one in said if one),
        must_not_be_overlooked=way_out["answer"] != "yes"
        or words.is_doubted(way_out)
        or "distraction" in way_out,
        notes=" ".join(one for one in note if one),
        picture=draw(MOMENTS, MOMENTS_NOTE, _WIDE_MM) if "ledger" in way_out else None,
    )
    if "ledger" not in way_out:
        return (first,)
    return (first, _ledger(way_out), *_published(way_out))


def _tilts(way_out: Mapping[str, Any]) -> tuple[str, str]:
    """How a tilted piece is drawn, and what its tilts gained.

    A plan from before that is printed anew, as out of date, may tell no tilts.
    """
    names = ("tilt_about_x_deg", "tilt_about_y_deg", "lift_mm")
    drawn = any(pose.get(name) for pose in way_out.get("path", ()) for name in names)
    return TILTED_NOTE if drawn else "", tilted_sentence(way_out)


def _ledger(way_out: Mapping[str, Any]) -> SheetPage:
    order = way_out.get("spare_first", ())
    harm = [
        s for line in way_out["ledger"] for s in words.distraction_words(line["distraction_mm"])
    ]
    said = [words.ordered(order) if order else words.NOT_RANKED, *dict.fromkeys(harm)]
    note = [words.LEDGER_NOTE, *map(text.sentence, way_out["assumptions"])]
    rows = tuple(
        (
            line["side"],
            words.ANSWERS[line["answer"]],
            words.bracket_words(line["clearance_bracket_mm"]),
            words.bracket_words(line["with_errors_mm"]),
            (f"{words.rests_on(line['answer']).upper()}: " if line["chosen"] else "")
            + "; ".join(words.given_up_words(line)),
        )
        for line in way_out["ledger"]
    )
    return SheetPage(
        title=words.LEDGER,
        sentence=" ".join(said),
        must_not_be_overlooked=bool(harm),
        table=SheetTable(headings=words.LEDGER_HEADINGS, rows=rows),
        notes=" ".join(note),
    )


def _published(way_out: Mapping[str, Any]) -> tuple[SheetPage, ...]:
    """What is published on the things that any plan of the ledger gives up, each once."""
    rows = dict.fromkeys(row for line in way_out["ledger"] for row in consequences(line))
    if not rows:
        return ()
    return (
        SheetPage(
            title=words.CONSEQUENCES_TITLE,
            sentence=words.CONSEQUENCES_NOTE,
            table=SheetTable(
                headings=words.CONSEQUENCES_HEADINGS,
                rows=tuple((what, source, said) for what, said, source in rows),
            ),
        ),
    )
