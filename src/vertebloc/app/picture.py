"""The one large picture of a window, and what is sent to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from nicegui import ui

from vertebloc.app.widgets.viewer import Viewer
from vertebloc.app.window import WindowLike
from vertebloc.reports.page_words import Question

SCENE = "/data/scene.json"
LOOK = {
    Question.LEVEL: "behind",
    Question.CONTOURS: "across",
    Question.SPREAD: "across",
    Question.CUTS: "behind",
}


class Picture:
    """Slices and the solid picture; made once, then only moved."""

    def __init__(self, window: WindowLike) -> None:
        self._window = window
        self._viewer: Viewer | None = None
        self._shown: tuple[object, ...] = ()
        self._draws = False  #: outlines are shown to be drawn on, and cuts are not

    def show(self) -> None:
        """Lay it out, if there are images."""
        self._place = ui.element("div").classes("picture-place")
        self.refresh()

    def refresh(self) -> None:
        """Follow the desk: outlines, cuts, the side the surgeon stands at."""
        desk = self._window.desk
        if desk.case is None:
            return
        standing = desk.choices.standing_side.value
        if self._viewer is None:
            with self._place:
                look = LOOK.get(self._window.question, "behind")
                self._viewer = Viewer(scene_url=SCENE, standing=standing, look=look)
                self._viewer.on_pull(self._pulled, self._let_go)
                self._viewer.on_brush(self._brushed)
                self._viewer.on("loaded", self._send)
                self._viewer.on_stroke(self._stroked)
                self._viewer.on_pointed(self._pointed)
        planned = desk.case.planned
        plan = planned.plan if planned is not None else None  # not: ring and front arrived
        state = (desk.case.prepared, plan, self._window.holds)
        if state != self._shown:
            if self._shown:
                self._viewer.reload()
            self._shown = state
        desk.outlines.listen(self._window.id, self._send_outlines)
        self._viewer.set_standing(standing)
        self.show_pending()
        self._send()

    def show_pending(self) -> None:
        """Say whether what is shown is of the plan before."""
        desk = self._window.desk
        if self._viewer is not None and desk.case is not None:
            self._viewer.set_pending(bool(desk.doing) and desk.case.planned is not None)

    def _send_outlines(self, seq: int = 0) -> None:
        """Outlines to draw on, on their own page only."""
        if self._viewer is None:
            return
        shown = self._window.question is Question.CONTOURS
        if not shown and not self._draws:
            return
        self._draws = shown
        may = self._window.holds
        state = self._window.desk.outlines.state(may_draw=may, seq=seq) if shown else None
        self._viewer.set_drawing(state)

    async def _stroked(self, drawn: Mapping[str, Any]) -> None:
        if self._window.holds:
            await self._window.desk.outlines.stroke(drawn)
        else:
            self._send_outlines(int(drawn["seq"]))

    async def _pointed(self, pointed: Mapping[str, Any]) -> None:
        if self._window.holds:
            await self._window.desk.verbs.draft(int(pointed["number"]), pointed["points"])

    def ask_for_places(self, number: int, places: Sequence[str]) -> None:
        """Have places pointed at for a first draft.

        Parameters
        ----------
        number : int
            Which draft.
        places : sequence of str
            What to point at, in words.
        """
        if self._viewer is not None:
            self._viewer.ask_for_places(number, places)

    async def normal(self) -> list[float]:
        """The direction towards the viewer of the slice that is shown, patient LPS."""
        return await self._viewer.normal() if self._viewer is not None else [0.0, 0.0, 1.0]

    def turn_to(self, question: Question) -> None:
        """Look as suits a question.

        Parameters
        ----------
        question : Question
            The page that is shown now.
        """
        if self._viewer is not None and question in LOOK:
            self._viewer.look(LOOK[question])

    def look_at(self, point: Sequence[float]) -> None:
        """Centre the slice from behind on a place.

        Parameters
        ----------
        point : sequence of float, mm
            Patient LPS; empty: nowhere.
        """
        if self._viewer is not None and point:
            self._viewer.look("behind", point)

    def _send(self, seq: int = 0) -> None:
        desk = self._window.desk
        drawing = self._window.question is Question.CONTOURS
        if self._viewer is not None and not (drawing and self._draws):
            shown = self._window.question in (Question.CUTS,)
            self._viewer.show_cuts(
                desk.marks if shown else [],
                seq=seq if isinstance(seq, int) else 0,
                weakest=desk.weakest if shown else None,
            )
        self._send_outlines()

    async def _pulled(self, pulled: Mapping[str, Any]) -> None:
        if self._window.holds:
            await self._window.desk.pull(pulled)
        self._send(int(pulled["seq"]))
        self._window.show_bars()

    async def _brushed(self, swept: Mapping[str, Any]) -> None:
        if self._window.holds:
            await self._window.desk.change_part(f"arch.{swept['fate']}", str(swept["parts"]))

    async def _let_go(self, pulled: Mapping[str, Any]) -> None:
        if self._window.holds:
            await self._window.desk.let_go(pulled)
        self._send(int(pulled["seq"]))
