"""The page: where can the ring be opened?"""

from __future__ import annotations

from vertebloc.app.desk import Desk
from vertebloc.app.parts import show_sentences
from vertebloc.app.window import WindowLike
from vertebloc.reports.access_views import behind_view
from vertebloc.reports.page_views import PageView, waiting_view
from vertebloc.reports.page_words import Question


def view_of(desk: Desk) -> PageView:
    """What the page says."""
    if desk.document:
        return behind_view(Question.RING, desk.document, desk.behind.document)
    return waiting_view(Question.RING, is_empty=desk.is_empty, error=desk.error)


def show_answer(window: WindowLike) -> None:
    """Where it can be opened, and where rules or plan disagree."""
    show_sentences(window.view.answer)


def show_side(window: WindowLike) -> None:
    """Nothing of its own: the cards say it."""


def show_foot(window: WindowLike) -> None:
    """Nothing of its own."""
