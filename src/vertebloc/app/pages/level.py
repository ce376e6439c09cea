"""The page: which vertebra?"""

from __future__ import annotations

from dataclasses import replace
from enum import Enum
from functools import partial
from html import escape

from nicegui import ui

from vertebloc.app.desk import Desk
from vertebloc.app.parts import show_choice, show_field, show_markup, show_sentences, show_verb
from vertebloc.app.window import WindowLike
from vertebloc.case.choice_words import CountedFrom, RibPairs, Transitional
from vertebloc.reports import count_words as words
from vertebloc.reports import page_words
from vertebloc.reports.owners_words import owners_card
from vertebloc.reports.page_views import PageView, level_view, waiting_view
from vertebloc.reports.page_words import Question


def _allowed(enum: type[Enum], blank: str) -> list[tuple[str, str]]:
    return [(str(one.value), str(one.value) or blank) for one in enum]


ENDS = _allowed(CountedFrom, page_words.NOT_COUNTED)
ANSWERS = {
    "rib_pairs": _allowed(RibPairs, words.NOT_ANSWERED),
    "transitional": _allowed(Transitional, words.NOT_ANSWERED),
}


def view_of(desk: Desk) -> PageView:
    """What the page says."""
    if desk.document:
        view = level_view(desk.document)
        return replace(view, cards=(*view.cards, owners_card(desk.document["owners"])))
    return waiting_view(Question.LEVEL, is_empty=desk.is_empty, error=desk.why_no_plan)


def level_names(desk: Desk) -> list[tuple[str, str]]:
    """The outlined vertebrae, to choose the diseased one from."""
    prepared = desk.case.prepared if desk.case is not None else None
    if prepared is None:
        return []
    return [(str(level), str(level)) for level in sorted(prepared.anatomy.vertebrae)]


def show_answer(window: WindowLike) -> None:
    """Which vertebra, who says so."""
    show_sentences(window.view.answer)


def show_side(window: WindowLike) -> None:
    """The questions, the count, and who confirms it; then counts in other series."""
    desk = window.desk
    if desk.document is None or not window.holds:
        return
    with ui.element("section").classes("card count"):
        _questions(desk)
        _count(desk)
    with (
        ui.element("section").classes("card"),
        ui.element("details").props('data-fold="other-counts"'),
    ):
        with ui.element("summary"):
            ui.label(words.OTHERS)
        _others(desk)


def _questions(desk: Desk) -> None:
    level, counting = desk.choices.level, desk.counting
    ask = [
        ("diseased", level.diseased, level_names(desk)),
        ("counted_from", level.counted_from.value, ENDS),
    ]
    if level.counted_from is CountedFrom.PLACED_MARKER:
        none = ("", words.NOT_ANSWERED)
        ask.append(("marker_at", level.marker_at, [none, *level_names(desk)]))
    ask.append(("rib_pairs", level.rib_pairs.value, ANSWERS["rib_pairs"]))
    ask.append(("transitional", level.transitional.value, ANSWERS["transitional"]))
    for part, value, allowed in ask:
        show_choice(
            words.LABELS[part],
            value,
            allowed,
            partial(counting.answer, part),
            keep=f"count-{part}",
        )


def _count(desk: Desk) -> None:
    """The number and the name: typed by the person who counted, never filled in."""
    counting, document = desk.counting, desk.document
    assert document is not None
    said = document["level_confirmation"]
    show_markup(f"<p>{escape(words.how_to_count(document['level'], said))}</p>")
    if not said["end_in_view"]:
        return
    for part in ("count", "who"):
        show_field(
            words.LABELS[part],
            counting.typed[part],
            partial(counting.type, part),
            keep=f"count-{part}",
        )
    with ui.element("div").classes("verbs"):
        show_verb(words.CONFIRM, counting.confirm, main=True, keep="count-confirm")
        if desk.choices.level.confirmed_by:
            show_verb(words.WITHDRAW, counting.withdraw, keep="count-withdraw")


def _others(desk: Desk) -> None:
    """Counts in other series of the same person, each to be compared with this one."""
    counting = desk.counting
    for place, other in enumerate(desk.choices.other_counts):
        show_markup(f"<p>{escape(words.other_row(other))}</p>")
        show_verb(words.DROP_OTHER, partial(counting.drop_other, place))
    for part in ("series", "level", "other_from", "other_count", "who"):
        typed, label = counting.typed[part], words.LABELS[part]
        if part == "other_from":
            show_choice(
                label,
                typed,
                ENDS,
                partial(counting.type, part),
                keep=f"count-{part}",
            )
        else:
            show_field(
                label,
                typed,
                partial(counting.type, part),
                keep=f"other-{part}",
            )
    show_verb(words.ADD_OTHER, counting.add_other, keep="count-add")


def show_foot(window: WindowLike) -> None:
    """Nothing of its own."""
