"""The page: who is this, and which pictures?"""

from __future__ import annotations

from base64 import b64encode
from functools import partial
from html import escape

from nicegui import ui

from vertebloc.app.desk import Desk
from vertebloc.app.pages.other_scan_card import show_other_scan
from vertebloc.app.parts import show_field, show_markup, show_note, show_sentences, show_verb
from vertebloc.app.window import WindowLike
from vertebloc.reports import page_words as words
from vertebloc.reports.page_views import PageView
from vertebloc.workflow.list_series import SeriesLine


def view_of(desk: Desk) -> PageView:
    """What the page says."""
    return desk.pictures


def show_answer(window: WindowLike) -> None:
    """The person and the images, or that there is no case yet."""
    show_sentences(window.view.answer)


def show_side(window: WindowLike) -> None:
    """Without images, or without outlines on them: choose a series."""
    desk = window.desk
    show_other_scan(desk)
    if not window.holds or (desk.case is not None and desk.case.has_contours):
        return
    if not desk.is_busy or desk.series.found is not None:
        _show_choosing(desk)


def _show_choosing(desk: Desk) -> None:
    series, able = desk.series, not desk.is_busy
    with ui.element("section").classes("card series"):
        show_markup(f"<h2>{escape(words.SERIES)}</h2>")
        show_field(words.SOURCE_FOLDER, series.source, series.name, keep="series-source")
        show_verb(words.LOOK_INSIDE, series.look, able=able, keep="series-look")
        if series.found is None:
            return
        for line in series.found.series:
            _show_series(desk, line, able=able)
        for note in series.found.notes:
            show_note(note)


def _show_series(desk: Desk, line: SeriesLine, *, able: bool) -> None:
    """One series: its picture, what it is, and the verb that takes it, or why it cannot be."""
    picture = ""
    if line.picture:
        coded = b64encode(line.picture).decode()
        picture = f'<img alt="" src="data:image/png;base64,{coded}">'
    show_markup(f'<div class="one-series">{picture}<p>{escape(line.words)}</p></div>')
    if line.can_be_planned_on:
        show_verb(
            words.take_series(line.number),
            partial(desk.series.take, line.number),
            able=able,
            keep=f"series-{line.number} of {desk.series.source}",
        )


def show_foot(window: WindowLike) -> None:
    """Nothing of its own."""
