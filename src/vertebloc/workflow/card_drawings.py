"""The drawings of a planned case that take time: made once a plan, beside the pages."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vertebloc.access import Ring
from vertebloc.case.choice_words import StandingSide
from vertebloc.case.choices import Choices
from vertebloc.reports import page_words as words
from vertebloc.reports.carton import unfold
from vertebloc.reports.carton_svg import carton_svg
from vertebloc.reports.depth_picture import depth_picture, depth_sentence
from vertebloc.reports.front_picture import front_picture_svg
from vertebloc.reports.page_views import Card
from vertebloc.reports.page_words import Question
from vertebloc.reports.ring_picture import ring_picture_svg
from vertebloc.resection import ResectionPlan
from vertebloc.space.frames import Side
from vertebloc.workflow.compute_plan import Prepared
from vertebloc.workflow.measure_access import Access


def draw_cards(
    prepared: Prepared, plan: ResectionPlan, document: Mapping[str, Any]
) -> tuple[Card, ...]:
    """Draw the piece opened out, and the depths.

    Parameters
    ----------
    prepared : Prepared
        Anatomy and distances.
    plan : ResectionPlan
        The plan.
    document : mapping
        Content of plan.json.

    Returns
    -------
    tuple of Card
        In the order of the page.
    """
    vertebra = prepared.anatomy.vertebrae[prepared.level]
    carton = unfold(plan, vertebra, prepared.solids.tumour_field)
    cards = [Card(title=words.CARTON, svg=carton_svg(carton), note=words.CARTON_NOTE)]
    if plan.depths:  # none if no body is cut
        cards.append(
            Card(
                title=words.DEPTHS,
                svg=depth_picture(plan.depths, vertebra),
                note=depth_sentence(document),
            )
        )
    return tuple(cards)


def draw_large(access: Access, choices: Choices) -> Mapping[Question, str]:
    """Draw ring and front: each is its page's one large picture.

    Parameters
    ----------
    access : Access
        Ring and front.
    choices : Choices
        On which side the surgeon stands.

    Returns
    -------
    mapping of Question to str
        SVG; no front if no body is cut, none of what could not be measured.
    """
    standing = choices.standing_side
    side = None if standing is StandingSide.HEAD_UP else Side(standing.value)
    drawn = {}
    if isinstance(access.ring, Ring):
        drawn[Question.RING] = ring_picture_svg(access.ring, side)
    if access.front.stations:
        drawn[Question.FRONT] = front_picture_svg(access.front)
    return drawn
