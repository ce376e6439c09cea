"""What the page of role sheets says: part of the catalogue."""

from __future__ import annotations

from collections.abc import Sequence

from vertebloc.reports import text
from vertebloc.reports.page_views import PageView, Sentence
from vertebloc.reports.page_words import Question

SAVE_ALL, PRINT_ONE, WRITE_FIRST = "save all sheets", "print this sheet", "write the plan first"
LIST = "Sheets"
DRAWING = "drawing the sheet"
SAVING = "writing all sheets"
NO_PLAN = "No plan is written yet: the sheets are made from the plan in the folder."


def saved_in(folder: str, count: int) -> str:
    """Where the sheets lie now."""
    return f"{count} files are in {folder}."


def roles_view(code: str, stale: Sequence[str], opened: Sequence[str], count: int) -> PageView:
    """The answer of the page.

    Parameters
    ----------
    code : str
        Short code of the plan in the folder.
    stale : sequence of str
        Why it is out of date.
    opened : sequence of str
        What nobody has confirmed, one sentence each.
    count : int
        How many sheets there are.

    Returns
    -------
    PageView
        What is out of date or unconfirmed comes first.
    """
    answer = []
    if stale:
        answer.append(Sentence(text.stale(list(stale)), True))
    answer += [Sentence(words, True) for words in opened]
    answer.append(
        Sentence(
            f"{count} sheets of the plan {code}, one a person and one a cut. Empty lines are "
            "filled in by hand; no drug and no dose stands on any of them."
        )
    )
    return PageView(question=Question.ROLES, answer=tuple(answer))
