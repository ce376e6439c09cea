"""The page: how far has it grown?"""

from __future__ import annotations

from vertebloc.app.desk import Desk
from vertebloc.app.parts import show_sentences
from vertebloc.app.window import WindowLike
from vertebloc.reports.page_views import PageView, spread_view, waiting_view
from vertebloc.reports.page_words import Question


def view_of(desk: Desk) -> PageView:
    """What the page says."""
    if desk.document:
        return spread_view(desk.document)
    return waiting_view(Question.SPREAD, is_empty=desk.is_empty, error=desk.why_no_plan)


def show_answer(window: WindowLike) -> None:
    """Sectors, layers, and which is nearest to flipping."""
    show_sentences(window.view.answer)


def show_side(window: WindowLike) -> None:
    """Nothing of its own: the cards say it."""


def show_foot(window: WindowLike) -> None:
    """Nothing of its own."""
