"""The cards of a planned case that take time to draw: made once a plan, beside the pages."""

from __future__ import annotations

from collections.abc import Mapping

from vertebloc.case.choice_words import StandingSide
from vertebloc.reports import page_words as words
from vertebloc.reports.carton import unfold
from vertebloc.reports.carton_svg import carton_svg
from vertebloc.reports.depth_picture import depth_picture, depth_sentence
from vertebloc.reports.front_picture import front_picture_svg
from vertebloc.reports.page_views import Card
from vertebloc.reports.page_words import Question
from vertebloc.reports.ring_picture import ring_picture_svg
from vertebloc.space.frames import Side
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.planned_case import PlannedCase


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


def draw_large(planned: PlannedCase) -> Mapping[Question, str]:
    """Draw ring and front: each is its page's one large picture.

    Parameters
    ----------
    planned : PlannedCase
        The plan, and on which side the surgeon stands.

    Returns
    -------
    mapping of Question to str
        SVG; no front if no body is cut.
    """
    standing = planned.choices.standing_side
    side = None if standing is StandingSide.HEAD_UP else Side(standing.value)
    drawn = {Question.RING: ring_picture_svg(planned.access.ring, side)}
    if planned.access.front.stations:
        drawn[Question.FRONT] = front_picture_svg(planned.access.front)
    return drawn
