"""A case that is being worked on: read once, changed in small steps, each saved at once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

from vertebloc.case.choices import Choices, HalfPlacement
from vertebloc.case.identity import Identity
from vertebloc.case.provenance import Inputs
from vertebloc.errors import InputError
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
from vertebloc.resection import FaceMargin
from vertebloc.resection.piece import Cuts
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume
from vertebloc.workflow import planner
from vertebloc.workflow.beside import kept_beside
from vertebloc.workflow.case_hold import CaseHold
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.compute_plan import Prepared
from vertebloc.workflow.drawn_state import drawn_hash_of
from vertebloc.workflow.load_case import Restamper, load_choices, load_ct, load_identity
from vertebloc.workflow.other_scan_state import OTHER_SCAN
from vertebloc.workflow.plan_case import PlanReport, make_scene, save_plan
from vertebloc.workflow.planned_case import PlannedCase
from vertebloc.workflow.saying import Say, say_nothing
from vertebloc.workflow.sheet_copy import renew_copy
from vertebloc.workflow.workers import Call, Workers

FIRST = "as opened"
EDITED = "choices.toml edited by hand"


class OpenCase:
    """One case under work: choices with undo, drags answered, plans computed beside the page."""

    def __init__(self, folder: CaseFolder, choices: Choices, history: ChoicesHistory) -> None:
        self.folder = folder
        self.choices = choices
        self.prepared: Prepared | None = None
        self.planned: PlannedCase | None = None
        self._history = history
        self._ct: Volume | None = None
        self.hold = CaseHold(folder.path)  #: who may change the case
        self._workers = Workers(lost=self._forget)
        self._wished = 0

    @classmethod
    def open(cls, case_dir: Path) -> OpenCase:
        """Open a case; nothing is measured yet.

        Parameters
        ----------
        case_dir : Path
            The case folder.

        Returns
        -------
        OpenCase
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
    def has_contours(self) -> bool:
        """Whether there is anything to measure."""
        return any(self.folder.has(step) for step in ("labels", "surfaces", "drawn"))

    @property
    def identity(self) -> Identity:
        """The person; blank if the images said nothing."""
        return load_identity(self.folder)

    @property
    def ct(self) -> Volume:
        """The images, read once."""
        if self._ct is None:
            self._ct = load_ct(self.folder)
        return self._ct

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

    @property
    def has_moved_on(self) -> bool:
        """Whether outlines were drawn on since the plan was computed."""
        return self.prepared is not None and self.prepared.drawn_hash != drawn_hash_of(self.folder)

    async def prepare(self, say: Say) -> None:
        """Measure all that no cut changes, in the worker that plans; drags follow from it.

        Parameters
        ----------
        say : callable
            Called before each long step.

        Raises
        ------
        InputError
            If the contours do not suffice.
        """
        say("finding canal, vertebrae and ribs; measuring tumour and bone")
        self.prepared = await self._workers.ask(
            "plans", planner.prepare_case, self.folder.path, self.choices
        )
        await self._workers.ask("drags", planner.keep, self.prepared)

    async def measure_drag(
        self, *, cranial: bool, halves: Mapping[Side, HalfPlacement]
    ) -> tuple[tuple[FaceMargin, ...], Cuts]:
        """Measure all bone faces with one body cut moved; nothing is saved.

        Parameters
        ----------
        cranial : bool
            Which cut moves.
        halves : mapping of Side to HalfPlacement
            Where its halves are now.

        Returns
        -------
        tuple of (tuple of FaceMargin, Cuts)
            Margins and allowances, and the planes.

        Raises
        ------
        InputError
            If the cuts cross, or the moved one lies on the wrong side of the body.
        """
        call = Call(planner.measure_moved, cranial=cranial, halves=dict(halves))
        return await self._workers.ask("drags", call, self.choices)

    def placements(self) -> dict[str, Mapping[Side, HalfPlacement]]:
        """Where the body cuts of the last plan lie, as if placed by hand.

        Returns
        -------
        dict of str to mapping of Side to HalfPlacement
            ``cranial`` and ``caudal``.

        Raises
        ------
        InputError
            If there is no plan yet.
        """
        if self.planned is None or self.prepared is None:
            raise InputError("there is no plan yet: wait until it is computed")
        vertebra = self.prepared.anatomy.vertebrae[self.prepared.level]
        placed = planner.as_placed(self.planned.cuts, vertebra)
        return {name: cut.halves for name, cut in placed.items()}

    def move_cut(self, *, cranial: bool, halves: Mapping[Side, HalfPlacement]) -> None:
        """Place a body cut by hand, and save that.

        Parameters
        ----------
        cranial : bool
            Which cut.
        halves : mapping of Side to HalfPlacement
            Both halves.

        Raises
        ------
        InputError
            If the numbers cannot be meant, or the disk refuses.
        """
        moved = planner.with_moved_cut(self.choices, cranial=cranial, halves=halves)
        self.change(moved, f"{'cranial' if cranial else 'caudal'} cut moved")

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

    async def replan(self) -> PlannedCase:
        """Plan by the choices as they are now; a wish that was overtaken gives the newer plan.

        Returns
        -------
        PlannedCase
            The plan; also kept as ``planned``.

        Raises
        ------
        InputError, NoSolutionError
            If the choices free no piece; the last plan stays.
        """
        self._wished += 1
        wish, choices = self._wished, self.choices
        if self.prepared is None or not self.prepared.serves(choices) or self.has_moved_on:
            await self.prepare(say_nothing)
        if wish != self._wished and self.planned is not None:
            return self.planned
        inputs = self._inputs_of(self.prepared, choices)
        beside = kept_beside(self.folder, inputs, choices)
        plan, document, access = await self._workers.ask(
            "plans", planner.plan_kept, choices, inputs, beside
        )
        cuts = await self._workers.ask("drags", planner.place_now, choices)
        found = PlannedCase(
            plan=plan,
            document=document,
            choices=choices,
            inputs=inputs,
            cuts=cuts,
            access=access,
        )
        if wish == self._wished:
            self.planned = found
        return self.planned or found

    def _inputs_of(self, prepared: Prepared | None, choices: Choices) -> Inputs:
        """What a plan is computed from: the outlines as measured, drawn on since or not."""
        self.folder.take_in(*OTHER_SCAN)
        inputs = self.folder.inputs(choices).as_dict()
        inputs.pop("drawn", None)
        if prepared is not None and prepared.drawn_hash:
            inputs["drawn"] = prepared.drawn_hash
        return Inputs.of(inputs)

    def save_sheet(self) -> PlanReport:
        """Write plan.json and the planning sheet of the plan on the screen.

        Returns
        -------
        PlanReport
            Where the files lie.

        Raises
        ------
        InputError
            If there is no plan of the choices as they are, or the disk refuses.
        """
        planned, prepared = self.planned, self.prepared
        if self.has_moved_on:
            raise InputError("outlines were drawn on since: measure again, then write the sheet")
        fits = planned is not None and planned.choices == self.choices
        if planned is None or prepared is None or not fits:
            raise InputError(
                "the plan is not computed yet: wait until it is, then write the sheet"
            )
        scene = make_scene(prepared, planned.plan, planned.choices, self.ct)
        return save_plan(
            self.folder,
            dict(planned.document),
            scene,
            (prepared, planned.access),
            inputs=planned.inputs,
        )

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
            renew_copy(self.folder)

    def close(self) -> None:
        """Let the workers go, and the case."""
        self.hold.release()
        self._workers.close()

    def _forget(self) -> None:
        """A worker was stopped: what it held is measured anew when it is needed next."""
        self.prepared = None

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
        renew_copy(self.folder, role_sheets=False)
