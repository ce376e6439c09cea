"""The page: can we get round the front?"""

from __future__ import annotations

from functools import partial

from nicegui import ui

from vertebloc.app.changes import changed_front
from vertebloc.app.desk import Desk
from vertebloc.app.parts import show_choice, show_field, show_sentences
from vertebloc.app.window import WindowLike
from vertebloc.case.choice_words import FrontBefore, FrontRelease
from vertebloc.errors import VertBlocError
from vertebloc.reports import access_text as words
from vertebloc.reports.access_views import behind_view
from vertebloc.reports.page_views import PageView, waiting_view
from vertebloc.reports.page_words import Question


def view_of(desk: Desk) -> PageView:
    """What the page says."""
    if desk.document:
        return behind_view(Question.FRONT, desk.document, desk.behind.document)
    return waiting_view(Question.FRONT, is_empty=desk.is_empty, error=desk.error)


def show_answer(window: WindowLike) -> None:
    """From behind alone, or the front first, and what decides."""
    show_sentences(window.view.answer)


def show_side(window: WindowLike) -> None:
    """What the team says: finger reach, what was done before, a stage before."""
    desk = window.desk
    if desk.document is None or not window.holds:
        return
    now = desk.choices
    with ui.element("section").classes("card"):
        show_field(
            words.FIELDS["finger_reach"], f"{now.finger_reach_mm:.0f}",
            partial(_changed, desk, "finger_reach"),
        )  # fmt: skip
        show_choice(
            words.FIELDS["before"], now.front_before.value,
            [(one.value, one.value) for one in FrontBefore], partial(_changed, desk, "before"),
        )  # fmt: skip
        show_choice(
            words.FIELDS["release"], now.front_release.value,
            [(one.value, one.value) for one in FrontRelease], partial(_changed, desk, "release"),
        )  # fmt: skip


async def _changed(desk: Desk, part: str, typed: str) -> None:
    try:
        choices = changed_front(desk.choices, part, typed)
    except VertBlocError as error:
        desk.error = str(error)
        desk.tell()
        return
    await desk.change(choices, words.FIELDS[part])


def show_foot(window: WindowLike) -> None:
    """Nothing of its own."""
