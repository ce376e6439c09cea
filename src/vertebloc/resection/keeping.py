"""Things that are costly to make and stay the same while a cut moves."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import Any, TypeVar

#: So many are kept; those not used for longest are let go.
MOST_KEPT = 64
_T = TypeVar("_T")


class Keeping:
    """Looks up what was made before."""

    def __init__(self) -> None:
        self._kept: dict[Hashable, Any] = {}

    def of(self, key: Hashable, make: Callable[[], _T]) -> _T:
        """Make something once and look it up from then on.

        Parameters
        ----------
        key : hashable
            Its name, and everything that may change of what it is made from.
        make : callable
            Makes it.

        Returns
        -------
        object
            As made the first time.
        """
        found: _T = self._kept.pop(key) if key in self._kept else make()
        while len(self._kept) >= MOST_KEPT:
            self._kept.pop(next(iter(self._kept)))
        self._kept[key] = found  # what is used last is let go last
        return found
