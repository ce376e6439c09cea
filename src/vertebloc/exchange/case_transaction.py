"""One change of a case: steps are put one by one and saved all at once, or not at all."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from vertebloc import __version__
from vertebloc.case.issued_codes import IssuedCode
from vertebloc.case.provenance import INPUT_WORDS, Inputs, what_changed
from vertebloc.errors import InputError
from vertebloc.exchange import atomic
from vertebloc.exchange.case_manifest import (
    INPUT_STEPS,
    MANIFEST,
    MANY_FILES,
    PENDING_CHOICES,
    PLACES,
    Manifest,
    PlanRecord,
    SavedFile,
    SavedStep,
    check_name,
    hash_of_step,
    path_in_folder,
    render_json,
    render_manifest,
)
from vertebloc.exchange.case_upkeep import CHOICES, sweep
from vertebloc.exchange.journal import Change, time_in_words

#: Writes the sheet anew from a plan whose ``stale`` tells why it is out of date.
Restamp = Callable[[dict[str, Any]], bytes]

WHO = f"vertebloc {__version__}"
IDENTITY_CHANGED = "the person's identity was changed after this plan was computed"
_BY_STEPS = (*(INPUT_WORDS[step] for step in INPUT_STEPS), IDENTITY_CHANGED)


class Transaction:
    """Steps put so far. Made by ``CaseFolder.transaction``, which also commits it."""

    def __init__(
        self, folder: Path, before: Manifest, seen: Manifest, *, now: datetime, restamp: Restamp
    ) -> None:
        self._folder = folder
        self._before = before  # under the lock
        self._seen = seen  # when the caller opened the case: what it computed from
        self._time = time_in_words(now)
        self._restamp = restamp
        self._asides: dict[str, dict[str, Path]] = {}
        self._kept: dict[str, dict[str, SavedFile]] = {}
        self._put: set[str] = set()
        self._dropped: set[str] = set()
        self._choices: str | None = None
        self._plan: PlanRecord | None = None
        self._code: IssuedCode | None = None
        self._stale: tuple[str, ...] | None = None

    def put_bytes(self, step: str, name: str, data: bytes) -> None:
        """Put a file of a step from its content.

        Parameters
        ----------
        step : str
            Key of ``PLACES``; ``surfaces`` takes several files, the others one.
        name : str
            File name with its ending, such as ``ct.nii``.
        data : bytes
            All of its content.
        """
        with atomic.say_plainly(f"save in {self._folder}"):
            atomic.write_flushed(self._aside(step, name), data)

    def put_json(self, step: str, name: str, document: Mapping[str, Any]) -> None:
        """Put a file of a step as JSON.

        Parameters
        ----------
        step : str
            Key of ``PLACES``.
        name : str
            File name, such as ``names.json``.
        document : mapping
            Text, finite numbers, lists and mappings.
        """
        self.put_bytes(step, name, render_json(document))

    def put_file(self, step: str, name: str, writer: Callable[[Path], None]) -> None:
        """Put a file of a step by a function that writes it.

        Parameters
        ----------
        step : str
            Key of ``PLACES``.
        name : str
            File name with its ending, such as ``labels.nii.gz``.
        writer : callable
            Writes the file at the path it is given, which has the same ending.

        Raises
        ------
        InputError
            If it wrote nothing, or the disk refuses.
        """
        with atomic.say_plainly(f"save in {self._folder}"):
            aside = self._aside(step, name)
            writer(aside)
            if not aside.is_file():
                raise InputError(f"nothing was written for {name}")
            atomic.flush(aside)

    def keep(self, step: str, name: str) -> None:
        """Keep a file of a step of many files as it lies, beside those that are put anew.

        Parameters
        ----------
        step : str
            A key of ``PLACES`` that takes several files.
        name : str
            What the file was called when it was put.

        Raises
        ------
        InputError
            If the case holds no such file.
        """
        saved = self._before.steps.get(step)
        found = [file for file in (saved.files if saved else ()) if file.name == name]
        if step not in MANY_FILES or not found:
            raise InputError(f"the case has no file {name!r} of {step} to keep")
        self._kept.setdefault(step, {})[name] = found[0]

    def put_choices(self, text: str) -> None:
        """Put the team's choices file; the former one is kept under its date and time.

        Parameters
        ----------
        text : str
            All of ``choices.toml``.
        """
        self._choices = text

    def drop(self, step: str) -> None:
        """Take a step out of the case, such as labels when surfaces come in their place.

        Parameters
        ----------
        step : str
            Key of ``PLACES``, but neither ``plan`` nor ``sheet``.

        Raises
        ------
        InputError
            If the step cannot be dropped.
        """
        if step not in PLACES or step in ("plan", "sheet"):
            raise InputError(f"{step!r} cannot be dropped from a case")
        self._forget(step)
        self._dropped.add(step)

    def record_plan(self, inputs: Inputs, code: str, what: str = "planning sheet") -> None:
        """Say what the plan put in this change was computed from, and the sheet's code.

        Parameters
        ----------
        inputs : Inputs
            Hashes of everything it was computed from.
        code : str
            The short code printed on the sheet.
        what : str
            What bears the code.
        """
        self._plan = PlanRecord(inputs=inputs, identity="")
        self._code = IssuedCode(code=code, made_at=self._time, what=what, inputs=inputs)

    def mark_stale(self, reasons: tuple[str, ...]) -> None:
        """Mark the plan and its sheet out of date, or lift the mark if there is no reason.

        Parameters
        ----------
        reasons : tuple of str
            One sentence each.
        """
        self._stale = reasons

    def prepare(self, what: str) -> Manifest | None:
        """Give every put file its own name, and make the manifest that names them.

        Parameters
        ----------
        what : str
            The change in words, for the journal.

        Returns
        -------
        Manifest or None
            What the case shall say of itself; None if nothing changed.

        Raises
        ------
        InputError
            If a plan was put without saying from what, or no longer fits the case's contours.
        """
        before = self._before
        self._check_plan_is_recorded()
        steps = {step: saved for step, saved in before.steps.items() if step not in self._dropped}
        steps.update({step: self._settle(step) for step in {*self._asides, *self._kept}})
        plan = self._plan_record(steps)
        if plan is not None and self._plan is None and plan != before.plan:
            self._rewrite_plan(plan.stale)
            steps.update({step: self._settle(step) for step in list(self._asides)})
        codes = before.codes
        if self._code is not None and (not codes or codes[-1].code != self._code.code):
            codes = (*codes, self._code)
        pending = self._settle_choices()
        after = replace(
            before,
            steps=_in_order(steps),
            plan=plan,
            codes=codes,
            is_intact=True,
            pending_choices=pending or before.pending_choices,
        )
        if pending is None and after.is_same_state(before):
            return None
        return replace(after, change=self._change(what, after, pending))

    def commit(self, after: Manifest) -> None:
        """Replace the manifest: the one moment at which the change happens.

        The folder must still be flushed for the change to outlive a power cut.

        Parameters
        ----------
        after : Manifest
            As ``prepare`` made it.
        """
        atomic.replace_whole(self._folder / MANIFEST, render_manifest(after))

    def discard(self, current: Manifest) -> None:
        """Remove what was put; the case stays as it was.

        Parameters
        ----------
        current : Manifest
            What the case says of itself now: the files it names are never removed.
        """
        for step in list(self._asides):
            self._forget(step)
        with contextlib.suppress(OSError):  # what is left now is swept by the next writer
            sweep(self._folder, current)

    def _aside(self, step: str, name: str) -> Path:
        if step not in PLACES:
            raise InputError(f"{step!r} is no step of a case: use {', '.join(PLACES)}")
        folder = self._folder / PLACES[step][0]
        if not folder.is_dir():
            folder.mkdir()
            atomic.flush(self._folder)
        aside = atomic.aside_of(folder / f"{step}-{check_name(name)}")
        if step not in MANY_FILES:
            self._forget(step)
        self._dropped.discard(step)
        self._put.add(step)
        self._asides.setdefault(step, {})[name] = aside
        return aside

    def _forget(self, step: str) -> None:
        for aside in self._asides.pop(step, {}).values():
            with contextlib.suppress(OSError):
                aside.unlink(missing_ok=True)

    def _settle(self, step: str) -> SavedStep:
        asides = self._asides.pop(step, {})
        kept = {n: f for n, f in self._kept.pop(step, {}).items() if n not in asides}
        measured = {name: atomic.size_and_hash(aside) for name, aside in sorted(asides.items())}
        hashes = [(name, digest) for name, (_, digest) in measured.items()]
        hashes += [(name, file.sha256) for name, file in kept.items()]
        step_hash = hash_of_step(tuple(hashes))
        paths = self._free_paths(step, step_hash, measured)
        folders = set()
        for name, path in paths.items():
            target = self._folder / path
            if not target.parent.is_dir():
                target.parent.mkdir()
            asides[name].replace(target)
            folders.update({target.parent, self._folder / PLACES[step][0]})
        for folder in sorted(folders):
            atomic.flush(folder)
        new = [
            SavedFile(name=name, path=paths[name], size=size, sha256=digest)
            for name, (size, digest) in measured.items()
        ]
        return SavedStep(tuple(sorted([*new, *kept.values()], key=lambda file: file.name)))

    def _free_paths(
        self, step: str, step_hash: str, measured: Mapping[str, tuple[int, str]]
    ) -> dict[str, str]:
        """Name by content; by more of it where eight digits belong to another content."""
        taken = {file.path: file.sha256 for file in self._before.files()}
        for digits in (8, 16, 64):
            paths = {name: path_in_folder(step, name, step_hash, digits) for name in measured}
            if all(taken.get(paths[n], digest) == digest for n, (_, digest) in measured.items()):
                break
        return paths

    def _settle_choices(self) -> SavedFile | None:
        if self._choices is None:
            return None
        data = self._choices.encode()
        aside = atomic.aside_of(self._folder / CHOICES)
        atomic.write_flushed(aside, data)
        size, digest = atomic.size_and_hash(aside)
        current = self._folder / CHOICES
        if current.exists() and atomic.size_and_hash(current)[1] == digest:
            aside.unlink()
            return None
        path = f"{PENDING_CHOICES}-{digest[:8]}.toml"
        aside.replace(self._folder / path)
        atomic.flush(self._folder)
        return SavedFile(name=CHOICES, path=path, size=size, sha256=digest)

    def _check_plan_is_recorded(self) -> None:
        has_plan = "plan" in self._asides
        if has_plan != (self._plan is not None):
            raise InputError("a plan is put together with record_plan: give both or none")
        if has_plan and "sheet" in self._before.steps and "sheet" not in self._asides:
            raise InputError("a new plan needs its new sheet: put both, or the sheet would be old")

    def _plan_record(self, steps: Mapping[str, SavedStep]) -> PlanRecord | None:
        identity = steps["identity"].sha256 if "identity" in steps else ""
        now = {step: steps[step].sha256 for step in INPUT_STEPS if step in steps}
        if self._plan is not None:
            used = self._plan.inputs.as_dict()
            if {step: used[step] for step in INPUT_STEPS if step in used} != now:
                raise InputError(
                    "the images or contours were changed while this plan was computed: plan again"
                )
            seen = self._seen.steps.get("identity")
            if "identity" not in self._put and identity != (seen.sha256 if seen else ""):
                raise InputError(
                    "the person's identity was changed while this plan was computed: plan again"
                )
            return replace(self._plan, identity=identity)
        old = self._before.plan
        if old is None:
            return None
        if self._stale is not None:
            return replace(old, stale=self._stale)
        others = {k: v for k, v in old.inputs.as_dict().items() if k not in INPUT_STEPS}
        reasons = what_changed(old.inputs, Inputs.of({**others, **now}))
        if identity != old.identity:
            reasons = (*reasons, IDENTITY_CHANGED)
        kept = tuple(reason for reason in old.stale if not reason.startswith(_BY_STEPS))
        return replace(old, stale=(*reasons, *kept))

    def _rewrite_plan(self, reasons: tuple[str, ...]) -> None:
        saved = self._before.steps["plan"].files[0]
        document = json.loads((self._folder / saved.path).read_bytes())
        document["stale"] = list(reasons)
        self.put_json("plan", saved.name, document)
        if "sheet" in self._before.steps:
            sheet = self._restamp(document)
            self.put_bytes("sheet", self._before.steps["sheet"].files[0].name, sheet)

    def _change(self, what: str, after: Manifest, pending: SavedFile | None) -> Change:
        old = {step: saved.sha256 for step, saved in self._before.steps.items()}
        new = {step: saved.sha256 for step, saved in after.steps.items()}
        if pending is not None:
            new[CHOICES] = pending.sha256
            if (self._folder / CHOICES).exists():
                old[CHOICES] = atomic.size_and_hash(self._folder / CHOICES)[1]
        return Change(
            number=self._before.change.number + 1,
            time=self._time,
            what=what,
            who=WHO,
            before={step: h for step, h in old.items() if new.get(step) != h},
            after={step: h for step, h in new.items() if old.get(step) != h},
        )


def _in_order(steps: Mapping[str, SavedStep]) -> dict[str, SavedStep]:
    return {step: steps[step] for step in PLACES if step in steps}
