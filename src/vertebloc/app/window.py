"""What a page may know of the window that shows it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from vertebloc.app.desk import Desk
from vertebloc.reports.page_views import PageView
from vertebloc.reports.page_words import Question


class PictureLike(Protocol):
    """The one large picture."""

    async def normal(self) -> list[float]:
        """The direction towards the viewer of the slice that is shown, patient LPS."""

    def ask_for_places(self, number: int, places: Sequence[str]) -> None:
        """Have places pointed at for a first draft."""


class WindowLike(Protocol):
    """One browser window."""

    desk: Desk
    id: str
    question: Question

    @property
    def picture(self) -> PictureLike:
        """The one large picture."""

    @property
    def holds(self) -> bool:
        """Whether this window may change the case."""

    @property
    def view(self) -> PageView:
        """What the question's page says now."""

    def show_bars(self) -> None:
        """Show the numbers of a drag, and nothing else anew."""
