"""One pair of hands on a case: a second window is told, and may take over."""

from __future__ import annotations

import secrets
from pathlib import Path

from vertebloc.errors import InputError
from vertebloc.exchange.case_holder import Holder, drop_holder, read_holder, write_holder
from vertebloc.workflow.clock import read_clock


class CaseHold:
    """What one open case knows of who may change it.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    """

    def __init__(self, case_dir: Path) -> None:
        self._case_dir = case_dir
        self._own = secrets.token_hex(4)  # windows of two programs may bear the same name
        self._name = ""

    @property
    def other(self) -> Holder | None:
        """Who else works on the case now; None if nobody, or a window of this open case, does."""
        holder = read_holder(self._case_dir)
        if holder is None or holder.window.startswith(f"{self._own} "):
            return None
        return holder

    @property
    def window(self) -> str:
        """The window of this open case that holds the case; empty if none does."""
        holder = read_holder(self._case_dir)
        return self._name if holder is not None and holder.window == self._mark else ""

    @property
    def _mark(self) -> str:
        return f"{self._own} {self._name}"

    def take(self, window: str, *, over: bool = False) -> bool:
        """Let a window work on the case.

        Parameters
        ----------
        window : str
            Its name.
        over : bool
            Take the case over from whoever works on it now.

        Returns
        -------
        bool
            Whether it may; if not, ``other`` says who else does.

        Raises
        ------
        InputError
            If the disk refuses.
        """
        held = self.other is not None or self.window not in ("", window)
        if held and not over:
            return False
        self._name = window
        write_holder(self._case_dir, self._mark, read_clock())
        return True

    def release(self) -> None:
        """Let the case go, if a window of this open case holds it."""
        if self.window:
            drop_holder(self._case_dir, self._mark)
        self._name = ""

    def refuse_if_taken(self) -> None:
        """See to it that nothing is saved over another's work.

        Raises
        ------
        InputError
            If somebody else works on the case now.
        """
        other = self.other
        if other is not None:
            raise InputError(
                f"{other.words} works on this case: nothing was saved here; take the case over, "
                "or go on there"
            )
