"""The cards of a planned case that take time to draw: made once a plan, beside the pages."""

from __future__ import annotations

from vertebloc.reports import page_words as words
from vertebloc.reports.carton import unfold
from vertebloc.reports.carton_svg import carton_svg
from vertebloc.reports.depth_picture import depth_picture, depth_sentence
from vertebloc.reports.page_views import Card
from vertebloc.workflow.open_case import OpenCase, PlannedCase


def draw_cards(case: OpenCase, planned: PlannedCase) -> tuple[Card, ...]:
    """Draw the piece opened out, and the depths.

    Parameters
    ----------
    case : OpenCase
        Anatomy and distances.
    planned : PlannedCase
        The plan.

    Returns
    -------
    tuple of Card
        In the order of the page; none until the case is measured.
    """
    prepared = case.prepared
    if prepared is None:
        return ()
    vertebra, document = prepared.anatomy.vertebrae[prepared.level], planned.document
    carton = unfold(planned.plan, vertebra, prepared.solids.tumour_field)
    cards = [Card(title=words.CARTON, svg=carton_svg(carton), note=words.CARTON_NOTE)]
    if planned.plan.depths:  # none if no body is cut
        cards.append(
            Card(
                title=words.DEPTHS,
                svg=depth_picture(planned.plan.depths, vertebra),
                note=depth_sentence(document),
            )
        )
    return tuple(cards)
