"""The choices of a case under work: each change on the disk at once, undone and made again."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Self

from vertebloc.case.choices import Choices
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.case_transaction import Transaction
from vertebloc.exchange.choices_comments import with_comments
from vertebloc.exchange.choices_file import read_choices, render_choices
from vertebloc.exchange.choices_history import (
    ChoicesHistory,
    HistoryEntry,
    read_history,
    render_history,
)
from vertebloc.exchange.choices_reasons import reasons_that_hold
from vertebloc.workflow.case_hold import CaseHold
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.load_case import Restamper, load_choices
from vertebloc.workflow.other_scan_state import OTHER_SCAN
from vertebloc.workflow.sheet_copy import renew_copy

FIRST = "as opened"
EDITED = "choices.toml edited by hand"


class SavedChoices:
    """Choices with undo, saved in small steps."""

    def __init__(self, folder: CaseFolder, choices: Choices, history: ChoicesHistory) -> None:
        self.folder = folder
        self.choices = choices
        self.hold = CaseHold(folder.path)  #: who may change the case
        self._history = history

    @classmethod
    def open(cls, case_dir: Path) -> Self:
        """Open a case; nothing is measured yet.

        Parameters
        ----------
        case_dir : Path
            The case folder.

        Returns
        -------
        SavedChoices
            With its choices and what can be undone. A choices file that was edited by hand since
            is an entry of its own, so that the edit can be taken back as well.

        Raises
        ------
        InputError
            If the folder is no case, or its choices hold a mistake.
        """
        folder = CaseFolder.open(case_dir)
        choices, text = load_choices(folder), folder.choices_text()
        if not folder.has("history"):
            return cls(folder, choices, ChoicesHistory((HistoryEntry(FIRST, text),), 0))
        history = read_history(folder.json_of("history"))
        if history.now.choices != text:
            history = history.with_change(EDITED, text)
        return cls(folder, choices, history)

    @property
    def can_undo(self) -> bool:
        """Whether there is a change to take back."""
        return self._history.can_undo

    @property
    def can_redo(self) -> bool:
        """Whether a change was taken back and can be made again."""
        return self._history.can_redo

    @property
    def stale_reasons(self) -> tuple[str, ...]:
        """Why the sheet in the folder is out of date; empty if it is current or not written."""
        self.folder.take_in(*OTHER_SCAN)
        if not self.folder.has("plan"):
            return ()
        return self.folder.stale_reasons(self.folder.inputs(self.choices))

    def change(self, choices: Choices, what: str) -> None:
        """Take new choices, save them at once, and remember how to take them back.

        Parameters
        ----------
        choices : Choices
            All choices as they shall be.
        what : str
            The change in words.

        Raises
        ------
        InputError
            If the disk refuses, or somebody else is writing; the choices stay as they were.
        """
        if choices == self.choices:
            return
        self._take_in_edits()
        before = self._history.now.choices
        plain = render_choices(choices, {})
        text = render_choices(choices, reasons_that_hold(before, plain))
        text = with_comments(before, text)
        self._save(self._history.with_change(what, text), what, choices)

    def undo(self) -> str:
        """Take the last change back, and save that.

        Returns
        -------
        str
            What was taken back.

        Raises
        ------
        InputError
            If there is none, or the disk refuses.
        """
        self._take_in_edits()
        what = self._history.now.what
        return self._go_to(self._history.undone(), f"taken back: {what}", what)

    def redo(self) -> str:
        """Make a change again that was taken back, and save that.

        Returns
        -------
        str
            What was made again.

        Raises
        ------
        InputError
            If there is none, or the disk refuses.
        """
        self._take_in_edits()
        history = self._history.redone()
        return self._go_to(history, f"made again: {history.now.what}", history.now.what)

    def put(self, what: str, put: Callable[[Transaction], None]) -> None:
        """Save steps in one change of the case; a plan they make old says so at once.

        Parameters
        ----------
        what : str
            The change in words, for the journal.
        put : callable
            Puts the steps.

        Raises
        ------
        InputError
            If the disk refuses, or somebody else works on the case; it is then as it was.
        """
        self.hold.refuse_if_taken()
        marked, restamp = self.folder.marked_stale, Restamper(self.folder)
        with self.folder.transaction(now=read_clock(), what=what, restamp=restamp) as change:
            put(change)
        if self.folder.marked_stale != marked:
            renew_copy(self.folder, role_sheets=False)

    def _take_in_edits(self) -> None:
        """A choices file that was edited by hand meanwhile is a change of its own."""
        text = self.folder.choices_text()
        if text != self._history.now.choices:
            self.choices = read_choices(text)
            self._history = self._history.with_change(EDITED, text)

    def _go_to(self, history: ChoicesHistory, journal: str, what: str) -> str:
        self._save(history, journal, read_choices(history.now.choices))
        return what

    def _save(self, history: ChoicesHistory, what: str, choices: Choices) -> None:
        self.hold.refuse_if_taken()
        restamp = Restamper(self.folder)
        with self.folder.transaction(now=read_clock(), what=what, restamp=restamp) as change:
            change.put_choices(history.now.choices)
            change.put_bytes("history", "history.json", render_history(history))
        self._history, self.choices = history, choices
        self._mark_stale()

    def _mark_stale(self) -> None:
        """Plan and sheet in the folder say at once that the choices went on."""
        if not self.folder.has("plan"):
            return
        reasons = self.stale_reasons
        self.folder.mark_stale(reasons, now=read_clock(), restamp=Restamper(self.folder))
        renew_copy(self.folder)
