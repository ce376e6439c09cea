"""The page: which way out, and what is given up?"""

from __future__ import annotations

from functools import partial
from html import escape

from nicegui import ui

from vertebloc.app.desk import Desk
from vertebloc.app.parts import (
    show_choice,
    show_field,
    show_markup,
    show_note,
    show_sentences,
    show_verb,
)
from vertebloc.app.window import WindowLike
from vertebloc.case.way_out_choice import FrontBridge, RootsKept, Spared
from vertebloc.reports import way_out_text as words
from vertebloc.reports.page_views import PageView, waiting_view
from vertebloc.reports.page_words import Question
from vertebloc.reports.way_out_views import absent_view, settings_rows, way_out_view


def view_of(desk: Desk) -> PageView:
    """What the page says."""
    if desk.document is None:
        return waiting_view(Question.WAY_OUT, is_empty=desk.is_empty, error=desk.why_no_plan)
    if "way_out" in desk.document:
        return way_out_view(desk.document)
    return absent_view(is_old=bool(desk.way.kept()))


def show_answer(window: WindowLike) -> None:
    """Yes with side and price, no with what shuts it, or cannot tell with what decides."""
    show_sentences(window.view.answer)


def show_side(window: WindowLike) -> None:
    """The one verb, where there is no way out that holds; the cards follow."""
    desk = window.desk
    if desk.way.error:
        show_markup(f'<div class="error" role="alert">{escape(desk.way.error)}</div>')
    if desk.document is None or not window.holds:
        return
    if not desk.way.doing and "way_out" not in desk.document:
        able = not desk.doing and not desk.outlines.have_moved_on
        verb = words.AGAIN if desk.way.kept() else words.COMPUTE
        show_verb(verb, desk.way.compute, main=True, able=able, keep="compute-way-out")


def _show_settings(desk: Desk) -> None:
    """What nobody measured, and the surgeon's own order; folded away."""
    choice = desk.choices.way_out
    with ui.element("details").classes("note settings"):
        with ui.element("summary"):
            ui.label(words.SPARE_TITLE)
        order = [one.value for one in choice.spare_first]
        for place in range(min(len(order) + 1, len(Spared))):
            taken = order[:place]
            allowed = [("", words.NOT_SAID)]
            allowed += [(one.value, one.value) for one in Spared if one.value not in taken]
            show_choice(
                words.spare_label(place),
                order[place] if place < len(order) else "",
                allowed,
                partial(desk.way.change, f"spare.{place}"),
                keep=f"spare-{place}",
            )
    with ui.element("details").classes("note settings"):
        with ui.element("summary"):
            ui.label(words.SETTINGS)
        show_choice(
            words.ROOTS_KEPT,
            choice.roots.value,
            [(one.value, one.value) for one in RootsKept],
            partial(desk.way.change, "roots"),
            keep="roots",
        )
        for name, label, value, state in settings_rows(choice):
            show_field(
                f"{label} ({state})", f"{value:g}", partial(desk.way.change, name), keep=name
            )
        if choice.distraction_mm > 0.0:
            show_choice(
                words.FRONT_BRIDGE,
                choice.front_bridge.value,
                [(one.value, one.value) for one in FrontBridge],
                partial(desk.way.change, "front_bridge"),
                keep="front_bridge",
            )
        for line in words.distraction_words(choice.distraction_mm):
            show_note(line, must=True)


def show_foot(window: WindowLike) -> None:
    """Stop a computation that runs; the settings."""
    desk = window.desk
    if desk.document is None or not window.holds:
        return
    if desk.way.doing:
        show_verb(words.STOP, desk.way.stop, keep="stop-way-out")
    _show_settings(desk)
