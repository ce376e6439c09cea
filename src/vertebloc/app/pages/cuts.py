"""The page: where do we cut?"""

from __future__ import annotations

from vertebloc.app.cards import paragraph
from vertebloc.app.desk import Desk
from vertebloc.app.handing_out import show_handing_out
from vertebloc.app.pages.acts import show_acts
from vertebloc.app.pages.bone import show_bone
from vertebloc.app.parts import show_card, show_paragraph, show_sentences, show_verb
from vertebloc.app.window import WindowLike
from vertebloc.reports import page_words as words
from vertebloc.reports.page_views import PageView, cuts_view, waiting_view
from vertebloc.reports.page_words import Question


def view_of(desk: Desk) -> PageView:
    """What the page says."""
    if desk.document:
        return cuts_view(desk.document)
    return waiting_view(Question.CUTS, is_empty=desk.is_empty, error=desk.why_no_plan)


def show_answer(window: WindowLike) -> None:
    """What the plan comes to, the gravest first; then the plan, whose numbers can be changed."""
    show_sentences(window.view.answer)
    parts = paragraph(window.desk)
    if parts:
        show_paragraph(parts, window.desk.change_part, able=window.holds)


def show_side(window: WindowLike) -> None:
    """The bone, the piece opened out, depths, the order of acts; the bars stand above them."""
    show_bone(window)
    for card in window.desk.drawn:
        show_card(card)
    show_acts(window)


def show_foot(window: WindowLike) -> None:
    """Undo, redo, the sheet, files for others."""
    show_handing_out(window)
    desk = window.desk
    if desk.case is None or not window.holds:
        return
    show_verb(words.UNDO, desk.undo, able=desk.case.can_undo)
    show_verb(words.REDO, desk.redo, able=desk.case.can_redo)
    show_verb(words.SAVE_SHEET, desk.save_sheet)
