"""The page: what will the C-arm show?"""

from __future__ import annotations

from functools import partial

from nicegui import ui

from vertebloc.app.changes import changed_c_arm
from vertebloc.app.desk import Desk
from vertebloc.app.parts import (
    show_card,
    show_choice,
    show_field,
    show_note,
    show_sentences,
)
from vertebloc.app.window import WindowLike
from vertebloc.errors import VertBlocError
from vertebloc.reports import c_arm_text as words
from vertebloc.reports.c_arm_views import c_arm_view, choices_of_views, setting_card
from vertebloc.reports.page_views import PageView, waiting_view
from vertebloc.reports.page_words import Question


def view_of(desk: Desk) -> PageView:
    """What the page says."""
    if desk.document and "c_arm" in desk.document:
        return c_arm_view(desk.document)
    return waiting_view(Question.C_ARM, is_empty=desk.is_empty, error=desk.why_no_plan)


def show_answer(window: WindowLike) -> None:
    """From where each cut is a line, and the level strip."""
    show_sentences(window.view.answer)


def show_side(window: WindowLike) -> None:
    """Which picture, and how the C-arm is set for it."""
    desk = window.desk
    c_arm = desk.c_arm
    if desk.document is None or c_arm.plan is None:
        return
    with ui.element("section").classes("card"):
        show_choice(
            words.WHICH_VIEW, c_arm.key, choices_of_views(c_arm.plan, c_arm.pictures),
            c_arm.choose, keep="c-arm-view",
        )  # fmt: skip
    if c_arm.shown is not None and c_arm.is_current and "c_arm" in desk.document:
        show_card(setting_card(desk.document, c_arm.shown))
    if window.holds:
        _show_own(desk)


def _show_own(desk: Desk) -> None:
    """The measures of the team's own machine, folded away."""
    said = desk.choices.theatre
    with ui.element("section").classes("card"), ui.element("details").props('data-fold="c-arm"'):
        with ui.element("summary"):
            ui.label(words.OWN_C_ARM)
        if "c_arm_" in desk.error:  # beside the field too: the alert above may be scrolled away
            show_note(desk.error, must=True)
        for name, label in words.OWN_FIELDS.items():
            show_field(
                label, f"{getattr(said, name):g}", partial(_changed, desk, name), keep=name,
            )  # fmt: skip
        show_note(words.OWN_NOTE)


async def _changed(desk: Desk, name: str, typed: str) -> None:
    try:
        choices = changed_c_arm(desk.choices, name, typed)
    except VertBlocError as error:
        desk.error = str(error)
        desk.tell()
        return
    await desk.change(choices, f"{words.OWN_C_ARM}: {words.OWN_FIELDS[name]}")


def show_foot(window: WindowLike) -> None:
    """That a picture is being predicted, or is of the plan before."""
    c_arm = window.desk.c_arm
    if c_arm.is_busy:
        show_note(f"{words.PREDICTING} …", pending=True)
    elif c_arm.drawing and not c_arm.is_current:
        show_note(words.ANEW, must=True)
