"""One case between two programs: which of them may change it, seen again every few seconds."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable

from vertebloc.errors import VertBlocError
from vertebloc.workflow.open_case import OpenCase

PAGES = "pages"  #: all windows of this program hold a case together towards other programs
WATCH_S = 2.0  #: how often the folder is asked who works on it


class Holding:
    """Whether this program holds the case, and what follows when that changes.

    Parameters
    ----------
    case_of : callable
        The open case; None: none yet.
    is_busy : callable
        Whether something is being computed: it ends before the case is read anew.
    read_anew : callable
        Reads the case from the folder: another program may have changed anything.
    tell : callable
        Tells the windows.
    """

    def __init__(
        self,
        case_of: Callable[[], OpenCase | None],
        is_busy: Callable[[], bool],
        read_anew: Callable[[], None],
        tell: Callable[[], None],
    ) -> None:
        self._case_of, self._is_busy = case_of, is_busy
        self._read_anew, self._tell = read_anew, tell
        self._next: asyncio.TimerHandle | None = None
        self.other = ""  #: another program that works on the case now, in words; empty: none

    def begin(self) -> None:
        """Hold a case that was just opened, unless another program does."""
        case = self._case_of()
        if case is None:
            return
        # a folder that can only be read is worth reading: saving says why it cannot be done
        with contextlib.suppress(VertBlocError):
            case.hold.take(PAGES)
        self.look()

    def take_over(self) -> None:
        """Take the case from the other program.

        Raises
        ------
        InputError
            If the disk refuses.
        """
        case = self._case_of()
        if case is not None and self.other:
            case.hold.take(PAGES, over=True)
            self.look()

    def watch(self) -> None:
        """Look now and every few seconds, until closed."""
        if self._next is None:
            self._look_again()

    def _look_again(self) -> None:
        self.look()
        self._next = asyncio.get_running_loop().call_later(WATCH_S, self._look_again)

    def look(self) -> None:
        """See who holds the case; read it anew once nobody else does any more."""
        case = self._case_of()
        if case is None:
            return
        other = case.hold.other
        said = other.words if other is not None else ""
        if said == self.other:
            return
        if said:
            self.other = said
        elif self._is_busy():
            return  # until it was read anew nothing can be changed
        else:
            self.other = ""
            self._read_anew()
        self._tell()

    def close(self) -> None:
        """Look no more."""
        if self._next is not None:
            self._next.cancel()
