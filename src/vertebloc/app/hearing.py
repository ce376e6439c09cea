"""The windows that are told of changes, and how much each change costs them to show."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

Listener = Callable[[], None]


@dataclass(frozen=True, slots=True)
class Heard:
    """What a window does when it is told of something."""

    everything: Listener  #: anything may have changed
    doing: Listener | None = None  #: only what is being done is new; None: as for everything
    planned: Listener | None = None  #: a plan is there, its cards are being drawn; None: nothing
    behind: Listener | None = None  #: ring and front arrived; None: as for everything


class Hearing:
    """Who is told of what, by name."""

    def __init__(self) -> None:
        self._heard: dict[str, Heard] = {}

    def __contains__(self, window: str) -> bool:
        """Whether a window is told of changes."""
        return window in self._heard

    @property
    def newest(self) -> str:
        """The window that came last; empty: none."""
        return next(reversed(self._heard), "")

    def add(self, window: str, heard: Heard) -> None:
        """Have a window told.

        Parameters
        ----------
        window : str
            Its name.
        heard : Heard
            What it does then.
        """
        self._heard[window] = heard

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
            (one.doing or one.everything)()

    def tell_planned(self) -> None:
        """A plan is there; its cards are still being drawn."""
        for one in tuple(self._heard.values()):
            if one.planned is not None:
                one.planned()

    def tell_behind(self) -> None:
        """Ring and front of the plan on the screen are there."""
        for one in tuple(self._heard.values()):
            (one.behind or one.everything)()
