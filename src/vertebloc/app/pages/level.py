"""The page: which vertebra?"""

from __future__ import annotations

from vertebloc.app.desk import Desk
from vertebloc.app.parts import show_choice, show_field, show_sentences
from vertebloc.app.window import WindowLike
from vertebloc.case.choice_words import CountedFrom
from vertebloc.reports import page_words as words
from vertebloc.reports.page_views import PageView, level_view, waiting_view
from vertebloc.reports.page_words import Question

ENDS = [(end.value, end.value or words.NOT_COUNTED) for end in CountedFrom]


def view_of(desk: Desk) -> PageView:
    """What the page says."""
    if desk.document:
        return level_view(desk.document)
    return waiting_view(Question.LEVEL, is_empty=desk.is_empty, error=desk.error)


def show_answer(window: WindowLike) -> None:
    """Which vertebra, who says so."""
    show_sentences(window.view.answer)


def show_side(window: WindowLike) -> None:
    """The level, who confirms it, and the end it was counted from."""
    desk = window.desk
    if desk.document is None or not window.holds:
        return
    level = desk.choices.level
    labels = words.LEVEL_LABELS
    show_choice(
        labels["diseased"], level.diseased, desk.level_names(),
        lambda value: desk.set_level(diseased=value),
    )  # fmt: skip
    show_field(
        labels["confirmed_by"], level.confirmed_by,
        lambda value: desk.set_level(confirmed_by=value),
    )  # fmt: skip
    show_choice(
        labels["counted_from"], level.counted_from.value, ENDS,
        lambda value: desk.set_level(counted_from=value),
    )  # fmt: skip


def show_foot(window: WindowLike) -> None:
    """Nothing of its own."""
