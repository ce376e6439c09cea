"""What a page may know of the window that shows it."""

from __future__ import annotations

from typing import Protocol

from vertebloc.app.desk import Desk
from vertebloc.reports.page_views import PageView
from vertebloc.reports.page_words import Question


class WindowLike(Protocol):
    """One browser window."""

    desk: Desk
    question: Question

    @property
    def holds(self) -> bool:
        """Whether this window may change the case."""

    @property
    def view(self) -> PageView:
        """What the question's page says now."""

    def show_bars(self) -> None:
        """Show the numbers of a drag, and nothing else anew."""
