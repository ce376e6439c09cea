"""The cards of a planned case that take time to draw: made once a plan, beside the pages."""

from __future__ import annotations

from vertebloc.reports import page_words as words
from vertebloc.reports.acts_page import acts_rows, acts_sentence, acts_warnings
from vertebloc.reports.carton import unfold
from vertebloc.reports.carton_svg import carton_svg
from vertebloc.reports.depth_picture import depth_picture, depth_sentence
from vertebloc.reports.page_views import Card
from vertebloc.workflow.open_case import OpenCase, PlannedCase


def draw_cards(case: OpenCase, planned: PlannedCase) -> tuple[Card, ...]:
    """Draw the piece opened out, the depths, and the order of acts.

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
    rows = tuple(
        (f"{row['number']}. {row['act']}", row["stop_words"]) for row in acts_rows(document)
    )
    warnings = [str(one["words"]) for one in acts_warnings(document)]
    return (
        Card(title=words.CARTON, svg=carton_svg(carton), note=words.CARTON_NOTE),
        Card(
            title=words.DEPTHS,
            svg=depth_picture(planned.plan.depths, vertebra),
            note=depth_sentence(document),
        ),
        Card(
            title=words.ACTS,
            rows=rows,
            note=" ".join([acts_sentence(document), *warnings]),
        ),
    )
