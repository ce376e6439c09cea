"""What stands beside and above the picture of a planned case, made from the desk."""

from __future__ import annotations

from vertebloc.app.desk import Desk
from vertebloc.reports import page_words as words
from vertebloc.reports import published_hand_error
from vertebloc.reports.acts_page import acts_rows, acts_sentence, acts_warnings
from vertebloc.reports.allowance_bars_svg import bars_svg
from vertebloc.reports.carton import unfold
from vertebloc.reports.carton_svg import carton_svg
from vertebloc.reports.depth_picture import depth_picture, depth_sentence
from vertebloc.reports.page_views import Card
from vertebloc.reports.plan_paragraph import Part, plan_ground, plan_paragraph
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


def carton_card(desk: Desk) -> Card:
    """The piece, opened out.

    Parameters
    ----------
    desk : Desk
        Whose.

    Returns
    -------
    Card
        Says that it is pending until there is a plan.
    """
    case = desk.case
    if case is None or case.prepared is None or case.planned is None:
        return Card(title=words.CARTON, note=words.PENDING)
    prepared = case.prepared
    vertebra = prepared.anatomy.vertebrae[prepared.level]
    carton = unfold(case.planned.plan, vertebra, prepared.solids.tumour_field)
    return Card(title=words.CARTON, svg=carton_svg(carton), note=words.CARTON_NOTE)


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


def depth_card(desk: Desk) -> Card:
    """How deep each blade may go.

    Parameters
    ----------
    desk : Desk
        Of a planned case.

    Returns
    -------
    Card
        One picture, and what it rests on.
    """
    case = desk.case
    if case is None or case.prepared is None or case.planned is None:
        return Card(title=words.DEPTHS, note=words.PENDING)
    vertebra = case.prepared.anatomy.vertebrae[case.prepared.level]
    drawing = depth_picture(case.planned.plan.depths, vertebra)
    return Card(title=words.DEPTHS, svg=drawing, note=depth_sentence(case.planned.document))


def acts_card(desk: Desk) -> Card:
    """The order of acts, and after which one can still stop.

    Parameters
    ----------
    desk : Desk
        Of a planned case.

    Returns
    -------
    Card
        A row an act.
    """
    if desk.document is None:
        return Card(title=words.ACTS, note=words.PENDING)
    rows = tuple(
        (f"{row['number']}. {row['act']}", row["stop_words"]) for row in acts_rows(desk.document)
    )
    warnings = [str(one["words"]) for one in acts_warnings(desk.document)]
    return Card(
        title=words.ACTS, rows=rows, note=" ".join([acts_sentence(desk.document), *warnings])
    )
