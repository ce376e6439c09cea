"""The case folder: one patient's case on disk, in open formats, whole at every moment.

New files are written first, under names made from their content; then the manifest
``case.json`` is replaced, and that is the change; then files no manifest names are removed.
Whatever is killed whenever, the folder holds the last complete state. ``choices.toml`` belongs
to the team; ``plan.json`` and ``planning-sheet.pdf`` at the top are copies for people.
"""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from vertebloc.errors import InputError
from vertebloc.exchange import atomic
from vertebloc.exchange.case_manifest import MANIFEST, Manifest, parse_manifest, render_manifest
from vertebloc.exchange.case_reading import SavedCase
from vertebloc.exchange.case_transaction import WHO, Restamp, Transaction
from vertebloc.exchange.case_upkeep import finish_change, has_left_overs
from vertebloc.exchange.journal import Change, time_in_words


class CaseFolder(SavedCase):
    """One case. Writing goes through ``transaction``; one writer at a time."""

    def __init__(self, path: Path, manifest: Manifest, notes: tuple[str, ...] = ()) -> None:
        super().__init__(path, manifest, notes)
        self._in_turn = threading.Lock()

    @staticmethod
    def is_case(path: Path) -> bool:
        """Whether a folder is a case, readable or not.

        Parameters
        ----------
        path : Path
            A folder that may not exist.

        Returns
        -------
        bool
            True if it holds a manifest.
        """
        return (path / MANIFEST).is_file()

    @staticmethod
    def create(path: Path, now: datetime) -> CaseFolder:
        """Make an empty case in a new or empty folder.

        Parameters
        ----------
        path : Path
            Folder to make, or an empty one.
        now : datetime
            The time, with its zone.

        Returns
        -------
        CaseFolder
            The case.

        Raises
        ------
        InputError
            If the folder is a case, holds something else, or cannot be written.
        """
        change = Change(
            number=1, time=time_in_words(now), what="case made", who=WHO, before={}, after={}
        )
        with atomic.say_plainly(f"make a case in {path}"):
            if path.exists() and not path.is_dir():
                raise InputError(f"{path} is a file: give a new or empty folder for the case")
            _make_folder(path)
            _refuse_used_folder(path)
            with atomic.only_writer(path):
                _refuse_used_folder(path)
                manifest = Manifest(change=change)
                atomic.write_whole(path / MANIFEST, render_manifest(manifest))
                finish_change(path, manifest)
        return CaseFolder(path, manifest)

    @staticmethod
    def open(path: Path) -> CaseFolder:
        """Open a case, and finish what a kill left undone if nobody else is writing.

        Parameters
        ----------
        path : Path
            The case folder.

        Returns
        -------
        CaseFolder
            The case in its last complete state; ``notes`` says what was put right.

        Raises
        ------
        InputError
            If it is no case, is damaged, or was written by a newer vertebloc.
        """
        manifest = _read_manifest(path)
        notes: tuple[str, ...] = ()
        with atomic.say_plainly(f"read the case in {path}"):
            if has_left_overs(path, manifest):
                manifest, notes = _try_to_finish(path, manifest)
        return CaseFolder(path, manifest, notes)

    @contextlib.contextmanager
    def transaction(self, *, now: datetime, what: str, restamp: Restamp) -> Iterator[Transaction]:
        """Put steps that are saved all at once when the block ends, or not at all if it fails.

        Parameters
        ----------
        now : datetime
            The time, with its zone.
        what : str
            The change in words, for the journal.
        restamp : callable
            Writes the sheet anew with an out-of-date band, from the plan as a dict; called if
            the change makes an existing plan out of date.

        Raises
        ------
        InputError
            If somebody else is writing, or the disk refuses; the case is then as it was.
        """
        with contextlib.ExitStack() as stack:
            stack.enter_context(self._in_turn)  # threads of one program wait for each other
            with atomic.say_plainly(f"save in {self.path}"):
                stack.enter_context(atomic.only_writer(self.path))
                seen, self._manifest = self._manifest, _read_manifest(self.path)
                finish_change(self.path, self._manifest)
            change = Transaction(self.path, self._manifest, seen, now=now, restamp=restamp)
            try:
                yield change
                with atomic.say_plainly(f"save in {self.path}"):
                    after = change.prepare(what)
                    if after is not None:
                        change.commit(after)
            except BaseException:
                self._manifest = _read_manifest(self.path)
                change.discard(self._manifest)
                raise
            if after is not None:
                self._manifest = after
                with atomic.say_plainly(
                    f"tidy up after the change, which IS saved in {self.path}"
                ):
                    atomic.flush(self.path)
                    finish_change(self.path, after)

    def take_in(self, *steps: str) -> None:
        """Take over what others have saved of some steps, and how they marked the plan.

        Parameters
        ----------
        *steps : str
            Keys of ``PLACES`` of which the caller holds nothing; all others stay as they were
            when the case was opened.
        """
        now = _read_manifest(self.path)
        taken = (*steps, "plan", "sheet")
        kept = {step: saved for step, saved in self._manifest.steps.items() if step not in taken}
        fresh = {step: saved for step, saved in now.steps.items() if step in taken}
        self._manifest = replace(self._manifest, steps={**kept, **fresh}, plan=now.plan)

    def mark_stale(self, reasons: tuple[str, ...], *, now: datetime, restamp: Restamp) -> None:
        """Mark plan and sheet out of date; lift the mark if there is no reason any more.

        Parameters
        ----------
        reasons : tuple of str
            As ``stale_reasons`` gives them. Nothing is written if they stand there already.
        now : datetime
            The time, with its zone.
        restamp : callable
            Writes the sheet anew from the plan as a dict, whose ``stale`` holds the reasons.
        """
        if reasons == self.marked_stale:
            return
        what = "plan marked out of date" if reasons else "out-of-date mark lifted"
        with self.transaction(now=now, what=what, restamp=restamp) as change:
            change.mark_stale(reasons)


def _make_folder(path: Path) -> None:
    """Make a folder, and every folder above that is missing, so that a power cut keeps them."""
    missing = [folder for folder in (path, *path.parents) if not folder.exists()]
    path.mkdir(parents=True, exist_ok=True)
    for folder in reversed(missing):
        atomic.flush(folder.parent)


def _refuse_used_folder(path: Path) -> None:
    if CaseFolder.is_case(path):
        raise InputError(f"{path} is a case already: open it, or give a new folder")
    found = sorted(
        entry.name
        for entry in path.iterdir()
        if entry.name != atomic.LOCK and not entry.name.startswith(atomic.ASIDE)
    )
    if found:
        raise InputError(
            f"{path} is no case and not empty (it holds {found[0]!r}): give a new or empty folder"
        )


def _read_manifest(path: Path) -> Manifest:
    if not CaseFolder.is_case(path):
        raise InputError(
            f"{path} is no case folder ({MANIFEST} is missing): "
            "make one with vertebloc import SOURCE --case DIR"
        )
    with atomic.say_plainly(f"read the case in {path}"):
        return parse_manifest((path / MANIFEST).read_bytes())


def _try_to_finish(path: Path, manifest: Manifest) -> tuple[Manifest, tuple[str, ...]]:
    try:
        with atomic.only_writer(path):
            manifest = _read_manifest(path)
            return manifest, finish_change(path, manifest)
    except (InputError, OSError):
        return _read_manifest(path), ()  # somebody is writing, or we may only read
