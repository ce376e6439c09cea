"""A case that is being worked on: read once, changed in small steps, each saved at once."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from time import monotonic

from vertebloc.case.choices import Choices, HalfPlacement
from vertebloc.case.identity import Identity
from vertebloc.case.provenance import Inputs
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.choices_history import ChoicesHistory
from vertebloc.reports.page_views import Card
from vertebloc.resection import FaceMargin, ResectionPlan
from vertebloc.resection.piece import Cuts
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume
from vertebloc.workflow import planner
from vertebloc.workflow.behind_job import BehindJobs
from vertebloc.workflow.beside import kept_beside
from vertebloc.workflow.compute_plan import Prepared
from vertebloc.workflow.drawn_state import drawn_hash_of
from vertebloc.workflow.load_case import load_ct, load_identity
from vertebloc.workflow.other_scan_state import OTHER_SCAN
from vertebloc.workflow.plan_case import PlanReport, make_scene, save_plan
from vertebloc.workflow.planned_case import PlannedCase
from vertebloc.workflow.saved_choices import SavedChoices
from vertebloc.workflow.saying import Say, say_nothing
from vertebloc.workflow.workers import Call, Workers

CALM_AFTER_S = 0.4  #: a hand that pulled so long ago is still


class OpenCase(SavedChoices):
    """One case under work: choices with undo, drags answered, plans computed beside the page."""

    def __init__(self, folder: CaseFolder, choices: Choices, history: ChoicesHistory) -> None:
        super().__init__(folder, choices, history)
        self.prepared: Prepared | None = None
        self.planned: PlannedCase | None = None
        self._ct: Volume | None = None
        self._workers = Workers(lost=self._forget)
        self._behind = BehindJobs(self._workers)
        self._wished = 0
        self._pulls, self._pulled_at = 0, -CALM_AFTER_S  #: under way; when the last one ended

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
        await asyncio.gather(
            self._workers.ask("drags", planner.keep, self.prepared),
            self._behind.keep(self.prepared),
        )

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
        self._pulls += 1
        try:
            return await self._workers.ask("drags", call, self.choices)
        finally:
            self._pulls, self._pulled_at = self._pulls - 1, monotonic()

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
        places = asyncio.ensure_future(self._workers.ask("drags", planner.place_now, choices))
        try:
            plan, document = await self._workers.ask(
                "plans", planner.plan_kept, choices, inputs, beside
            )
        except BaseException:
            await asyncio.gather(places, return_exceptions=True)  # refused too, or of no use
            raise
        cuts = await places
        found = PlannedCase(
            plan=plan,
            document=document,
            choices=choices,
            inputs=inputs,
            beside=beside,
            cuts=cuts,
        )
        if wish == self._wished:
            self.planned = found
        return self.planned or found

    async def draw_cards(self) -> tuple[Card, ...]:
        """Draw the cards of the newest plan that take time.

        Returns
        -------
        tuple of Card
            The piece opened out, and the depths; none without a plan, or if it was overtaken.

        Raises
        ------
        InputError
            If the process was stopped.
        """
        if self.planned is None or self.prepared is None:
            return ()
        return await self._behind.draw(self.prepared, self.planned)

    async def map_piece(self, plan: ResectionPlan) -> bytes:
        """The piece with its distances to tumour, for the picture.

        Parameters
        ----------
        plan : ResectionPlan
            Holds the piece.

        Returns
        -------
        bytes
            As ``reports.piece_scene.mapped_mesh_bytes`` writes them.

        Raises
        ------
        InputError
            If the process was stopped.
        """
        return await self._workers.ask("plans", planner.map_kept, plan.piece, plan.faces)

    async def measure_access(self) -> bool:
        """Measure ring and front of the newest plan, behind it; a newer plan ends that.

        Returns
        -------
        bool
            Whether they are there; the plan is then kept anew as ``planned``, with its code.

        Raises
        ------
        InputError
            If the process was stopped.
        """
        planned, prepared, wish = self.planned, self.prepared, self._wished
        if planned is None or prepared is None or planned.access is not None:
            return planned is not None and planned.access is not None
        found = await self._behind.measure(
            prepared,
            planned,
            is_wanted=lambda: self._wished == wish and self.planned is planned,
            is_calm=lambda: not self._pulls and monotonic() - self._pulled_at > CALM_AFTER_S,
        )
        if found is not None:
            self.planned = found
        return found is not None

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
        if planned.access is None:
            raise InputError(
                "ring and front are still being measured: wait until they are, then write the "
                "sheet"
            )
        scene = make_scene(prepared, planned.plan, planned.choices, self.ct)
        return save_plan(
            self.folder,
            dict(planned.document),
            scene,
            (prepared, planned.access),
            inputs=planned.inputs,
        )

    def close(self) -> None:
        """Let the workers go, and the case."""
        self.hold.release()
        self._workers.close()

    def _forget(self) -> None:
        """A worker was stopped: what it held is measured anew when it is needed next."""
        self.prepared = None
        self._behind.forget()
