"""The windows that are told of changes, and how much each change costs them to show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

Listener = Callable[[], None]


def _nothing() -> None:
    """Not everybody minds that a plan is there whose cards are still being drawn."""


@dataclass(frozen=True, slots=True)
class _Heard:
    everything: Listener
    doing: Listener
    planned: Listener


class Hearing:
    """Who is told of what, by name."""

    def __init__(self) -> None:
        self._heard: dict[str, _Heard] = {}

    def __contains__(self, window: str) -> bool:
        """Whether a window is told of changes."""
        return window in self._heard

    @property
    def newest(self) -> str:
        """The window that came last; empty: none."""
        return next(reversed(self._heard), "")

    def add(
        self,
        window: str,
        heard: Listener,
        *,
        doing: Listener | None = None,
        planned: Listener | None = None,
    ) -> None:
        """Have a window told.

        Parameters
        ----------
        window : str
            Its name.
        heard : callable
            Called after each change.
        doing, planned : callable or None
            Called instead where only what is being done is new (None: ``heard``), and where a
            plan is there whose cards are still being drawn (None: nothing).
        """
        self._heard[window] = _Heard(heard, doing or heard, planned or _nothing)

    def drop(self, window: str) -> None:
        """Forget a window.

        Parameters
        ----------
        window : str
            Its name.
        """
        self._heard.pop(window, None)

    def tell(self) -> None:
        """Anything may have changed."""
        for one in tuple(self._heard.values()):
            one.everything()

    def tell_doing(self) -> None:
        """Only what is being done is new."""
        for one in tuple(self._heard.values()):
            one.doing()

    def tell_planned(self) -> None:
        """A plan is there; its cards are still being drawn."""
        for one in tuple(self._heard.values()):
            one.planned()
