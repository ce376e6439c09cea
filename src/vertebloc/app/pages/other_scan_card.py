"""The card of the first page that says what is known of a second scan."""

from __future__ import annotations

from html import escape

from vertebloc.app.desk import Desk
from vertebloc.app.parts import show_markup
from vertebloc.reports import second_words as words
from vertebloc.workflow.lay_second import read_second


def show_other_scan(desk: Desk) -> None:
    """Say whether the second scan lies on the CT, and show the way to its page.

    Parameters
    ----------
    desk : Desk
        The case; nothing is shown while there is none.
    """
    if desk.is_empty:
        return
    second = read_second(desk.case_dir)
    said = words.second_sentences(second.facts, second.place, second.out_of_date)
    lines = "".join(
        f'<p class="must">{escape(line)}</p>' if must else f"<p>{escape(line)}</p>"
        for line, must in said[:2]
    )
    link = f'<p><a href="{words.ADDRESS}">{escape(words.HEADING)}</a></p>' if second.facts else ""
    show_markup(f'<section class="card"><h2>{escape(words.CARD)}</h2>{lines}{link}</section>')
