"""What the open windows share: the case, its latest plan, and who holds it."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from vertebloc.app.behind import Behind
from vertebloc.app.c_arm_desk import CArmDesk
from vertebloc.app.changes import changed_choices
from vertebloc.app.counting import Counting
from vertebloc.app.drawing_desk import DrawingDesk
from vertebloc.app.hearing import Heard, Hearing, Listener
from vertebloc.app.holding import Holding
from vertebloc.app.outline_verbs import OutlineVerbs
from vertebloc.app.role_desk import RoleDesk
from vertebloc.app.series import SeriesChoice
from vertebloc.app.way_desk import WayDesk
from vertebloc.app.wish import Wish
from vertebloc.case.choices import Choices
from vertebloc.errors import VertBlocError
from vertebloc.reports import page_words as words
from vertebloc.reports.page_views import Card, empty_view, print_header
from vertebloc.reports.screen_scene import cut_marks, weakest_mark
from vertebloc.resection import FaceKind, FaceMargin
from vertebloc.resection.piece import Cuts
from vertebloc.workflow.case_pictures import describe_pictures
from vertebloc.workflow.compute_plan import same_resection
from vertebloc.workflow.demo import make_case_of_demo
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.planned_case import PlannedCase
from vertebloc.workflow.pulled_cut import read_halves


class Desk:
    """One case and its windows; a window hears of every change."""

    def __init__(self, case_dir: Path) -> None:
        self.case_dir = case_dir
        self.case: OpenCase | None = None
        self.document: dict[str, Any] | None = None
        self.pictures = empty_view()
        self.doing = ""  #: what is being computed now; empty: nothing
        self.error = ""  #: one line: why the last step could not be done
        self._pulled: object = None  #: cut and halves as measured last while they were pulled
        self.faces: tuple[FaceMargin, ...] = ()  #: as measured last, in a drag too
        self.drawn: tuple[Card, ...] = ()  #: cards that take time, of the last plan
        self.marks: list[dict[str, Any]] = []
        self.weakest: Mapping[str, Any] | None = None
        self.wish = Wish(lambda: self.case, self.change, self._refuse)
        self.series = SeriesChoice(case_dir, self.say, self._refuse, self._images_arrived)
        self.counting = Counting(lambda: self.case, self.change, self._refuse)
        self.outlines = DrawingDesk(lambda: self.case, self.tell, self._refuse)
        self.verbs = OutlineVerbs(self.outlines, lambda: self.case, self._refuse)
        self.roles = RoleDesk(lambda: self.case, self.say, self._refuse)
        self.behind = Behind(lambda: self.case, self._arrived, self._refuse)
        self._acting = asyncio.Lock()  #: one change after the other
        self.c_arm = CArmDesk(lambda: self.case, self.tell, self._refuse)
        self.holder = ""  #: the window that may change the case
        self.holding = Holding(lambda: self.case, lambda: self.is_busy, self._read_anew, self.tell)
        self._hearing = Hearing()
        self.way = WayDesk(lambda: self.case, self._hearing, self.replan, self.change)
        self._starting: asyncio.Task[None] | None = None

    def listen(self, window: str, heard: Listener | Heard) -> None:
        """Have a window told of changes; the first window holds the case.

        Parameters
        ----------
        window : str
            The window's name.
        heard : callable or Heard
            Called after each change.
        """
        self._hearing.add(window, heard if isinstance(heard, Heard) else Heard(heard))
        if self.holder not in self._hearing:
            self.holder = window

    def leave(self, window: str) -> None:
        """Forget a window that was closed; the next one may hold the case.

        Parameters
        ----------
        window : str
            Its name.
        """
        self._hearing.drop(window)
        if self.holder == window:
            self.holder = self._hearing.newest  # older ones may be closed, not yet found to be
            self.tell()

    def take(self, window: str) -> None:
        """Let a window hold the case from now on.

        Parameters
        ----------
        window : str
            Its name.
        """
        self.holder = window
        try:
            self.holding.take_over()
        except VertBlocError as error:
            return self._refuse(str(error))
        self.tell()

    def may_change(self, window: str) -> bool:
        """Whether a window may change the case: it holds it, and no other program does.

        Parameters
        ----------
        window : str
            Its name.
        """
        return self.holder == window and not self.holding.other

    def _read_anew(self) -> None:
        """What another program may have changed is read from the folder, not guessed."""
        self._let_case_go()
        self.case, self.document, self.error = None, None, ""
        self.faces, self.drawn, self.marks, self.weakest = (), (), [], None
        self.start()

    def tell(self) -> None:
        """Tell all windows that something changed."""
        self._hearing.tell()

    def say(self, words: str) -> None:
        """Show what is being done now; empty: nothing any more.

        Parameters
        ----------
        words : str
            In a few words.
        """
        self.doing = words
        if words and self.document is not None:
            self._hearing.tell_doing()
        else:
            self.tell()

    def start(self) -> None:
        """Begin to read the case, once, unless it is read or being read."""
        if self.document is None and not self.error and not self.is_busy:
            self._starting = asyncio.get_running_loop().create_task(self._prepare())
        self.holding.watch()

    async def _prepare(self) -> None:
        try:
            self.pictures = describe_pictures(self.case_dir)
            if self.is_empty:
                return
            if self.case is None:
                self.case = OpenCase.open(self.case_dir)
                self.holding.begin()
            if self.case.has_contours:
                await self.case.prepare(self.say)
                await self.replan()
        except VertBlocError as error:
            self.error = str(error)
        finally:
            self._starting = None
            self.say("")

    async def replan(self) -> None:
        """Compute the plan anew; the last one stays, with the reason, if that cannot be done."""
        if self.case is None:
            return
        self.wish.forget()
        self.say(words.PLANNING)
        before = self.case.planned
        try:
            planned = await self.case.replan()
            self.document, self.error = dict(planned.document), ""
            self._show_faces(planned.plan.faces, planned.cuts)
            self._hearing.tell_planned()
            if not (self.drawn and before and same_resection(before.choices, planned.choices)):
                self.drawn = await self.case.draw_cards() or self.drawn
        except VertBlocError as error:
            self.error = str(error)
        finally:
            self.say("")
        self.behind.begin()  # of the plan before, if the new one was refused
        self.roles.renew()  # once everything is on the screen

    def _arrived(self, planned: PlannedCase) -> None:
        """Ring and front of the plan on the screen are there."""
        self.document = dict(planned.document)
        self._hearing.tell_behind()

    def _show_faces(self, faces: tuple[FaceMargin, ...], cuts: Cuts) -> None:
        assert self.case is not None and self.case.prepared is not None
        prepared, choices = self.case.prepared, self.case.choices
        self.faces = tuple(face for face in faces if face.kind is FaceKind.BONE)
        self.marks = cut_marks(
            cuts, self.faces, prepared.anatomy.vertebrae[prepared.level], choices.wanted_margin_mm
        )
        self.weakest = weakest_mark(self.faces)

    async def pull(self, pulled: Mapping[str, Any]) -> bool:
        """Measure a cut that is being pulled; nothing is saved.

        Parameters
        ----------
        pulled : mapping
            ``cut`` and ``halves``, as the picture sends them.

        Returns
        -------
        bool
            Whether it could be measured; if not, ``error`` says why and the last state stays.
        """
        self._pulled = None
        if self.case is None:
            return False
        try:
            faces, cuts = await self.case.measure_drag(
                cranial=pulled["cut"] == "cranial", halves=read_halves(pulled["halves"])
            )
        except VertBlocError as error:
            self.error = str(error)
            return False
        self.error = ""
        self._show_faces(faces, cuts)
        self._pulled = (pulled["cut"], pulled["halves"])
        return True

    async def let_go(self, pulled: Mapping[str, Any]) -> None:
        """Take a pulled cut as it lies, save it, plan anew.

        Parameters
        ----------
        pulled : mapping
            ``cut`` and ``halves``, as the picture sends them.
        """
        self.say(words.PLANNING)
        known = self._pulled == (pulled["cut"], pulled["halves"])  # measured as it was pulled
        if not (known or await self.pull(pulled)):
            if self.case is not None and self.case.planned is not None:  # the last good one
                self._show_faces(self.case.planned.plan.faces, self.case.planned.cuts)
            self.say("")
            return
        halves, cranial = read_halves(pulled["halves"]), pulled["cut"] == "cranial"
        await self._change(lambda case: case.move_cut(cranial=cranial, halves=halves))

    def _refuse(self, why: str) -> None:
        self.error = why
        self.tell()

    async def change(self, choices: Choices, what: str) -> None:
        """Take new choices, save them, plan anew.

        Parameters
        ----------
        choices : Choices
            All choices as they shall be.
        what : str
            The change in words.
        """
        await self._change(lambda case: case.change(choices, what))

    async def _change(self, act: Callable[[OpenCase], Any]) -> None:
        """Change the choices; what cannot be planned is taken back: the plan stays true."""
        before = self.choices
        await self._after(act)
        case = self.case
        refused = case is not None and bool(self.error) and case.choices != before
        if refused and case is not None and case.planned and case.planned.choices == before:
            why = self.error
            await self._after(lambda case: case.undo())
            self._refuse(why)

    async def undo(self) -> None:
        """Take the last change back, plan anew."""
        await self._after(lambda case: case.undo())

    async def redo(self) -> None:
        """Make a change again, plan anew."""
        await self._after(lambda case: case.redo())

    async def save_sheet(self) -> None:
        """Write plan.json and the sheet of the plan on the screen."""
        self.say(words.WRITING_SHEET)
        await self.behind.wait()  # they are on it
        await self._after(lambda case: case.save_sheet(), replan=False)

    async def _after(self, act: Callable[[OpenCase], Any], *, replan: bool = True) -> None:
        if self.case is None:
            return
        try:
            async with self._acting:  # beside the pages: a disk may take its time
                await asyncio.to_thread(act, self.case)
            self.error = ""
        except VertBlocError as error:
            self.error = str(error)
            self.say("")
            return
        if replan:
            await self.replan()
        else:
            self.say("")

    async def try_made_up(self) -> None:
        """Make the lead made-up patient in the empty folder, and open it."""
        self.say(words.MAKING_DEMO)
        try:
            await asyncio.to_thread(make_case_of_demo, self.case_dir)
            self.pictures = describe_pictures(self.case_dir)
        except VertBlocError as error:
            self.error = str(error)
        self.say("")
        self.start()

    async def _images_arrived(self) -> None:
        """Images were brought in: read the case anew."""
        self._let_case_go()
        self.case = None
        try:
            self.pictures = describe_pictures(self.case_dir)
        except VertBlocError as error:
            self.error = str(error)
        self.start()
        self.tell()

    def close(self) -> None:
        """Let go of the case."""
        self.way.stop()
        self.holding.close()
        self._let_case_go()

    def _let_case_go(self) -> None:
        self.behind.forget()
        if self.case is not None:
            self.case.close()

    @property
    def is_busy(self) -> bool:
        """Whether something is being read or computed."""
        return self._starting is not None or bool(self.doing)

    @property
    def is_empty(self) -> bool:
        """Whether there is no case yet."""
        return self.pictures == empty_view()

    @property
    def why_no_plan(self) -> str:
        """One line; empty while it is only not there yet."""
        lacks = self.case is not None and not self.case.has_contours
        return words.NO_CONTOURS if lacks and not self.error else self.error

    @property
    def choices(self) -> Choices:
        """The team's choices as they are now."""
        return self.case.choices if self.case is not None else Choices()

    def person_words(self) -> str:
        """Who the person is, for the top of every page."""
        identity = self.case.identity if self.case is not None else None
        return "" if identity is None or identity.is_blank else identity.words

    def print_words(self) -> str:
        """Name, level, side and code, for the top of every printed page."""
        return print_header(self.person_words(), self.document, self.stale_words())

    def stale_words(self) -> tuple[str, ...]:
        """Why the sheet in the folder is out of date."""
        return tuple(map(words.sheet_is_old, self.case.stale_reasons if self.case else ()))

    async def change_part(self, part: str, typed: str) -> None:
        """Take a number or word that was changed in the paragraph.

        Parameters
        ----------
        part : str
            Which.
        typed : str
            Its new value.
        """
        case = self.case
        if case is None or case.prepared is None:
            return
        try:
            choices = changed_choices(case, part, typed)
        except VertBlocError as error:
            return self._refuse(str(error))
        await self.change(choices, words.part_changed(part))
