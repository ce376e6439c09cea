"""The page: who does what?"""

from __future__ import annotations

from functools import partial
from html import escape

from nicegui import background_tasks, ui

from vertebloc.app.desk import Desk
from vertebloc.app.parts import show_markup, show_note, show_sentences, show_verb
from vertebloc.app.window import WindowLike
from vertebloc.reports import page_words
from vertebloc.reports import role_page_words as words
from vertebloc.reports.page_views import PageView, Sentence, waiting_view
from vertebloc.reports.page_words import Question
from vertebloc.reports.role_printing import open_words


def view_of(desk: Desk) -> PageView:
    """What the page says: of the plan in the folder, not of one that is only on the screen."""
    view, case = desk.roles.view, desk.case
    if case is None or (view is None and desk.document is None):
        return waiting_view(Question.ROLES, is_empty=desk.is_empty, error=desk.error)
    if view is None:
        return PageView(question=Question.ROLES, answer=(Sentence(words.NO_PLAN, True),))
    opened = open_words(case.folder.json_of("plan"))
    return words.roles_view(view.code, view.stale, opened, len(view.sheets))


def show_answer(window: WindowLike) -> None:
    """What is out of date or unconfirmed, and how many sheets there are."""
    show_sentences(window.view.answer)


def large_of(desk: Desk) -> str:
    """The chosen sheet, as it is printed."""
    sheet = desk.roles.sheet
    if not desk.roles.drawing or sheet is None:
        return ""
    # longer than the page: the keyboard must be able to scroll it
    named = f'tabindex="0" role="region" aria-label="{escape(sheet.title, quote=True)}"'
    return f'<div class="role-page" {named}>{desk.roles.drawing}</div>'


def show_side(window: WindowLike) -> None:
    """The list of sheets; saving and printing."""
    desk = window.desk
    background_tasks.create(desk.roles.open())
    view = desk.roles.view
    if view is None:
        if desk.document is not None and window.holds:
            show_verb(page_words.SAVE_SHEET, desk.save_sheet, main=True, able=not desk.doing)
        return
    with ui.element("section").classes("card"):
        show_markup(f"<h2>{escape(words.LIST)}</h2>")
        with ui.element("div").classes("verbs roles"):
            for place, sheet in enumerate(view.sheets):
                show_verb(
                    sheet.title, partial(desk.roles.choose, place),
                    main=place == desk.roles.chosen, able=not desk.doing, keep=f"role-{place}",
                )  # fmt: skip
    with ui.element("div").classes("verbs"):
        show_markup(
            f'<a class="verb" target="_blank" href="/data/role-sheet/{desk.roles.chosen}.pdf">'
            f"{escape(words.PRINT_ONE)}</a>"
        )
        if window.holds:
            show_verb(words.SAVE_ALL, desk.roles.save_all, able=not desk.doing, keep="save-all")
        if window.holds and view.stale:
            show_verb(page_words.SAVE_SHEET, desk.save_sheet, able=not desk.doing)


def show_foot(window: WindowLike) -> None:
    """Where the sheets were saved."""
    if window.desk.roles.saved:
        show_note(window.desk.roles.saved)
