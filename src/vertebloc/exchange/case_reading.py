"""What a case folder can be asked without writing to it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from vertebloc import __version__
from vertebloc.case.choices import Choices
from vertebloc.case.identity import Identity
from vertebloc.case.issued_codes import CodeAnswer, IssuedCode, answer_code
from vertebloc.case.provenance import Inputs, hash_of_meaning, what_changed
from vertebloc.case.short_code import read_code
from vertebloc.errors import InputError
from vertebloc.exchange import atomic
from vertebloc.exchange.case_manifest import (
    INPUT_STEPS,
    MANIFEST,
    MANY_FILES,
    SCHEMA,
    Manifest,
    SavedFile,
)
from vertebloc.exchange.case_transaction import IDENTITY_CHANGED
from vertebloc.exchange.case_upkeep import CHOICES, COPIES
from vertebloc.exchange.journal import Journal, read_journal
from vertebloc.exchange.json_file import read_json_object


class SavedCase:
    """One case as its manifest names it. Reading needs no lock."""

    def __init__(self, path: Path, manifest: Manifest, notes: tuple[str, ...] = ()) -> None:
        self.path = path
        self.notes = notes  #: what opening it had to put right, in words
        self._manifest = manifest

    def has(self, step: str) -> bool:
        """Whether a step is part of the case.

        Parameters
        ----------
        step : str
            Such as ``ct``.

        Returns
        -------
        bool
            True if it was put.
        """
        return step in self._manifest.steps

    def path_of(self, step: str) -> Path:
        """Where a step's file lies; for ``surfaces``, the folder of its files.

        Parameters
        ----------
        step : str
            Such as ``ct``.

        Returns
        -------
        Path
            An existing file or folder.

        Raises
        ------
        InputError
            If the step was never put, or its file is gone.
        """
        first = self.path / self._files(step)[0].path
        path = first.parent if step in MANY_FILES else first
        if not path.exists():
            raise InputError(f"{path} is missing from the case: restore the folder from a copy")
        return path

    def files_of(self, step: str) -> dict[str, Path]:
        """Where the files of a step lie.

        Parameters
        ----------
        step : str
            Such as ``drawn``.

        Returns
        -------
        dict of str to Path
            By the names under which they were put.

        Raises
        ------
        InputError
            If the step was never put, or a file is gone.
        """
        found = {file.name: self.path / file.path for file in self._files(step)}
        for path in found.values():
            if not path.exists():
                raise InputError(f"{path} is missing from the case: restore it from a copy")
        return found

    def hash_of(self, step: str) -> str:
        """SHA-256 of a step, as saved.

        Parameters
        ----------
        step : str
            Such as ``ct``.

        Returns
        -------
        str
            64 hexadecimal digits.
        """
        self._files(step)
        return self._manifest.steps[step].sha256

    def json_of(self, step: str) -> dict[str, Any]:
        """Read a step that is a JSON object.

        Parameters
        ----------
        step : str
            Such as ``plan``.

        Returns
        -------
        dict
            What the file says.

        Raises
        ------
        InputError
            If the step was never put, or its file is damaged.
        """
        return read_json_object(self.path_of(step))

    def identity(self) -> Identity:
        """Read who the patient is.

        Returns
        -------
        Identity
            The identity step, put as JSON with the keys name, birth_date and number.

        Raises
        ------
        InputError
            If it was never put, or is damaged.
        """
        document = self.json_of("identity")
        try:
            return Identity(**document)
        except TypeError as error:
            raise InputError(f"the identity in {self.path} is damaged: {error}") from error

    def verify(self) -> list[str]:
        """Compare every file with the size and hash it was saved with.

        Returns
        -------
        list of str
            One line for each file that is missing or differs; empty if all is well.
        """
        damaged = (
            [] if self._manifest.is_intact else [f"{MANIFEST} was changed after it was saved"]
        )
        with atomic.say_plainly(f"read the case in {self.path}"):
            for file in self._manifest.files():
                damaged += _damage(self.path / file.path, file.path, file)
            for step, name in COPIES.items():
                if step in self._manifest.steps:
                    damaged += _damage(self.path / name, name, self._files(step)[0])
        return damaged

    def journal(self) -> Journal:
        """Read the journal.

        Returns
        -------
        Journal
            Its changes, and notes on lines that could not be read.
        """
        return read_journal(self.path)

    @property
    def choices_path(self) -> Path:
        """The team's text file, whether it is there yet or not."""
        return self.path / CHOICES

    def choices_text(self) -> str:
        """Read the team's text file.

        Returns
        -------
        str
            What it says; the text just put, if a kill kept it from getting into place.

        Raises
        ------
        InputError
            If it is missing or no text.
        """
        pending = self._manifest.pending_choices
        path = self.choices_path
        if pending is not None and (self.path / pending.path).exists():
            path = self.path / pending.path
        try:
            return path.read_bytes().decode("utf-8")
        except FileNotFoundError as error:
            raise InputError(f"{path} is missing: import the case again to get one") from error
        except UnicodeDecodeError as error:
            raise InputError(f"{path} is no UTF-8 text: save it as UTF-8") from error

    def inputs(self, choices: Choices) -> Inputs:
        """What a plan would be computed from today.

        Parameters
        ----------
        choices : Choices
            The team's choices, as read from ``choices_text``.

        Returns
        -------
        Inputs
            Hashes of images, contours and the choices' meaning; package version; schema.
        """
        steps = {step: self.hash_of(step) for step in INPUT_STEPS if self.has(step)}
        return Inputs.of(
            {
                **steps,
                "choices": hash_of_meaning(choices),
                "package_version": __version__,
                "schema": str(SCHEMA),
            }
        )

    @property
    def codes(self) -> tuple[IssuedCode, ...]:
        """Every code this case has given out, oldest first."""
        return self._manifest.codes

    def stale_reasons(self, now: Inputs) -> tuple[str, ...]:
        """Why the plan in the folder is out of date.

        Parameters
        ----------
        now : Inputs
            What it would be computed from today.

        Returns
        -------
        tuple of str
            One sentence each; empty if it is up to date.

        Raises
        ------
        InputError
            If there is no plan.
        """
        plan = self._manifest.plan
        if plan is None:
            raise InputError(f"{self.path} holds no plan yet: make one with vertebloc plan")
        identity = self.hash_of("identity") if self.has("identity") else ""
        changed = () if identity == plan.identity else (IDENTITY_CHANGED,)
        return (*what_changed(plan.inputs, now), *changed)

    @property
    def marked_stale(self) -> tuple[str, ...]:
        """The reasons with which plan and sheet are marked out of date; empty if they are not."""
        return self._manifest.plan.stale if self._manifest.plan is not None else ()

    def answer_code(self, text: str, now: Inputs) -> CodeAnswer:
        """Say what the code on a sheet is worth today.

        Parameters
        ----------
        text : str
            The code as typed.
        now : Inputs
            What a plan would be computed from today.

        Returns
        -------
        CodeAnswer
            Current, out of date with reasons, or unknown to this case.

        Raises
        ------
        InputError
            If the code is mistyped.
        """
        code = read_code(text)
        more = self.stale_reasons(now) if self._manifest.plan is not None else ()
        return answer_code(code, self.codes, now, more)

    def _files(self, step: str) -> tuple[SavedFile, ...]:
        if step not in self._manifest.steps:
            has = ", ".join(self._manifest.steps) or "nothing yet"
            raise InputError(f"the case in {self.path} has no {step} (it has: {has})")
        return self._manifest.steps[step].files


def _damage(path: Path, name: str, saved: SavedFile) -> list[str]:
    if not path.is_file():
        return [f"{name} is missing"]
    size, digest = atomic.size_and_hash(path)
    if size != saved.size:
        return [f"{name} is damaged: it has {size} bytes, {saved.size} were saved"]
    if digest != saved.sha256:
        return [f"{name} is damaged: its content is not what was saved (SHA-256 differs)"]
    return []
