"""What stands beside and above the picture of a planned case, made from the desk."""

from __future__ import annotations

from vertebloc.app.desk import Desk
from vertebloc.reports import page_words as words
from vertebloc.reports import published_hand_error
from vertebloc.reports.allowance_bars_svg import bars_svg
from vertebloc.reports.page_views import Card
from vertebloc.reports.plan_paragraph import plan_ground, plan_paragraph
from vertebloc.reports.plan_parts import Part
from vertebloc.reports.spine_strip import strip_svg


def bars_card(desk: Desk) -> Card:
    """How far each bone cut may err, as measured last.

    Parameters
    ----------
    desk : Desk
        Of a planned case.

    Returns
    -------
    Card
        Bars with numbers.
    """
    hand, wanted = published_hand_error(), desk.choices.wanted_margin_mm
    return Card(
        title=words.BARS,
        svg=bars_svg(desk.faces, hand, wanted),
        note=words.bars_note(wanted, hand.words),
    )


def paragraph(desk: Desk) -> tuple[Part, ...]:
    """The plan's acts as a paragraph.

    Parameters
    ----------
    desk : Desk
        Whose.

    Returns
    -------
    tuple of Part
        Empty until there is a plan.
    """
    case = desk.case
    if case is None or case.prepared is None or case.planned is None:
        return ()
    ground = plan_ground(case.prepared.anatomy, case.prepared.solids)
    return plan_paragraph(case.choices, case.placements(), ground, case.planned.plan)


def strip(desk: Desk) -> str:
    """The spine as a strip.

    Parameters
    ----------
    desk : Desk
        Whose.

    Returns
    -------
    str
        SVG; empty until the vertebrae are found.
    """
    prepared = desk.case.prepared if desk.case is not None else None
    if prepared is None:
        return ""
    return strip_svg(prepared.anatomy, prepared.level, desk.document)
