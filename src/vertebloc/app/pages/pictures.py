"""The page: who is this, and which pictures?"""

from __future__ import annotations

from vertebloc.app.desk import Desk
from vertebloc.app.parts import show_sentences, show_verb
from vertebloc.app.window import WindowLike
from vertebloc.reports import page_words as words
from vertebloc.reports.page_views import PageView


def view_of(desk: Desk) -> PageView:
    """What the page says."""
    return desk.pictures


def show_answer(window: WindowLike) -> None:
    """The person and the images, or that there is no case yet."""
    show_sentences(window.view.answer)


def show_side(window: WindowLike) -> None:
    """On an empty page: try everything at once."""
    if window.desk.is_empty:
        show_verb(
            words.TRY_MADE_UP, window.desk.try_made_up, main=True, able=not window.desk.doing
        )


def show_foot(window: WindowLike) -> None:
    """Nothing of its own."""
