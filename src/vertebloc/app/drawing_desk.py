"""What the windows share of the outlines: one is drawn on, by somebody, and saved at once."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from typing import Any

from vertebloc.anatomy.structures import Contour
from vertebloc.errors import InputError, VertBlocError
from vertebloc.outlining.model import OutlineMask
from vertebloc.outlining.record import DrawnOutline, OutlineState, fence_of
from vertebloc.outlining.strokes import stroke_from_numbers
from vertebloc.reports import outline_words as words
from vertebloc.reports.outline_view import (
    grid_numbers,
    ink_of,
    outline_bytes,
    outline_mark,
    outline_middle,
)
from vertebloc.workflow.drawing import OFFERED, Drawing
from vertebloc.workflow.open_case import OpenCase

Listener = Callable[[int], None]
#: After the last stroke, the words beside the picture follow; while the hand moves they wait.
WORDS_WAIT_S = 0.35


class DrawingDesk:
    """The outlines of the open case, and the one that is drawn on.

    Parameters
    ----------
    case_of : callable
        The open case; None: none yet.
    tell : callable
        Tells the windows that words changed.
    refuse : callable
        Shows one line that says why something could not be done.
    """

    def __init__(
        self,
        case_of: Callable[[], OpenCase | None],
        tell: Callable[[], None],
        refuse: Callable[[str], None],
    ) -> None:
        self._case_of, self._tell, self._refuse = case_of, tell, refuse
        self._case: OpenCase | None = None
        self._drawing: Drawing | None = None
        self._opening = False
        self._turn = asyncio.Lock()
        self._soon: asyncio.TimerHandle | None = None
        self._pictures: dict[str, Listener] = {}
        self._marks: dict[Contour, tuple[OutlineMask, str, list[float]]] = {}
        self.active: Contour = OFFERED[0]
        self.doing = ""  #: what is being computed now; empty: nothing
        self.by = ""  #: who draws; empty: nobody said
        self.confirms = ""  #: who would confirm

    @property
    def drawing(self) -> Drawing | None:
        """The outlines; None until they are read, or if another case was opened since."""
        return self._drawing if self._case is self._case_of() else None

    @property
    def have_moved_on(self) -> bool:
        """Whether outlines were drawn on since the plan on the screen was computed."""
        case = self._case_of()
        return case is not None and case.has_moved_on

    def listen(self, window: str, heard: Listener) -> None:
        """Have a picture told when outlines changed; called with the stroke that is answered.

        Parameters
        ----------
        window : str
            The window's name.
        heard : callable
            Takes the stroke's number, 0 for none.
        """
        self._pictures[window] = heard

    def leave(self, window: str) -> None:
        """Forget a window that was closed.

        Parameters
        ----------
        window : str
            Its name.
        """
        self._pictures.pop(window, None)

    async def open(self) -> None:
        """Read the outlines, once for each case."""
        case = self._case_of()
        if case is None or not case.folder.has("ct") or self._case is case or self._opening:
            return
        self._opening, self._drawing = True, None
        try:
            self._drawing = await asyncio.to_thread(self._read, case)
        except VertBlocError as error:
            self._refuse(str(error))
        finally:
            self._opening, self._case = False, case
        self._show()
        self._tell()

    def _read(self, case: OpenCase) -> Drawing:
        drawing = Drawing.open(case, case.ct.grid)
        self._mark_all(drawing)
        return drawing

    def _do(self, act: Callable[[Drawing], None], drawing: Drawing) -> None:
        act(drawing)
        self._mark_all(drawing)

    def _mark_all(self, drawing: Drawing) -> None:
        """Count and places of what is shown; for large outlines that takes a while."""
        for one in self._shown(drawing):
            self._marked(drawing, one)

    def _shown(self, drawing: Drawing) -> tuple[DrawnOutline, ...]:
        first = (drawing.outline(self.active), drawing.outline(fence_of(self.active)))
        return tuple({one.contour: one for one in (*first, *drawing.present())}.values())

    def _marked(self, drawing: Drawing, outline: DrawnOutline) -> tuple[str, list[float]]:
        mask, grid = outline.mask, drawing.grid
        known = self._marks.get(outline.contour)
        if known is None or known[0] is not mask:
            known = (mask, outline_mark(mask, grid), outline_middle(mask, grid))
            self._marks[outline.contour] = known
        return known[1], known[2]

    def choose(self, stem: str) -> None:
        """Draw on another structure from now on.

        Parameters
        ----------
        stem : str
            As ``names`` lists it.
        """
        self.active = self._contour(stem)
        self._show()
        self._tell()

    def names(self) -> list[tuple[str, str]]:
        """What can be drawn on, each with its name for people."""
        drawing = self.drawing
        return [] if drawing is None else [(_stem(c), c.words) for c in drawing.contours()]

    def outline(self) -> DrawnOutline | None:
        """The one that is drawn on."""
        return self.drawing.outline(self.active) if self.drawing is not None else None

    async def stroke(self, drawn: Mapping[str, Any]) -> None:
        """Take a stroke as the picture sends it, and save it.

        Parameters
        ----------
        drawn : mapping
            ``id``, ``points``, ``normal``, ``radius_mm``, ``rub_out`` and ``seq``.
        """

        def act(drawing: Drawing) -> None:
            stroke = stroke_from_numbers(drawn["points"], drawn["normal"], drawn["radius_mm"])
            contour = self._contour(str(drawn["id"]))
            drawing.stroke(contour, stroke, rub_out=bool(drawn["rub_out"]), by=self.by)

        await self.act(act, seq=int(drawn["seq"]))

    async def undo(self) -> None:
        """Take the last change of the active outline back."""
        await self.act(lambda drawing: drawing.undo(self.active))

    async def redo(self) -> None:
        """Make a change of the active outline again."""
        await self.act(lambda drawing: drawing.redo(self.active))

    async def confirm(self) -> None:
        """Have the named person stand for the active outline."""
        await self.act(lambda drawing: drawing.confirm(self.active, self.confirms))

    async def act(self, act: Callable[[Drawing], None], *, seq: int = 0, doing: str = "") -> None:
        """Change outlines beside the page, one change after the other, and show what came of it.

        Parameters
        ----------
        act : callable
            Does it.
        seq : int
            The stroke that this answers; 0: none.
        doing : str
            What to show while it takes its time; empty: it is done in a moment.
        """
        if doing:
            self.doing = doing
            self._tell()
        async with self._turn:
            drawing = self.drawing
            if drawing is None:
                return
            try:
                await asyncio.to_thread(self._do, act, drawing)
                said = ""
            except VertBlocError as error:
                said = str(error)
            finally:
                self.doing = "" if doing else self.doing
        self._show(seq)
        self._refuse_soon(said)

    def _refuse_soon(self, said: str) -> None:
        if said:
            self._refuse(said)
            return
        if self._soon is not None:
            self._soon.cancel()
        self._soon = asyncio.get_running_loop().call_later(WORDS_WAIT_S, self._refuse, "")

    def _show(self, seq: int = 0) -> None:
        for heard in tuple(self._pictures.values()):
            heard(seq)

    def state(self, *, may_draw: bool, seq: int = 0) -> dict[str, Any] | None:
        """The outlines as the picture takes them.

        Parameters
        ----------
        may_draw : bool
            Whether that window may change the case.
        seq : int
            The stroke that this answers; 0: none.

        Returns
        -------
        dict or None
            None until they are read.
        """
        drawing = self.drawing
        if drawing is None:
            return None
        return {
            "grid": grid_numbers(drawing.grid),
            "active": _stem(self.active),
            "fence": _stem(fence_of(self.active)),
            "may_draw": may_draw,
            "seq": seq,
            "outlines": [self._sent(drawing, one) for one in self._shown(drawing)],
        }

    def _sent(self, drawing: Drawing, outline: DrawnOutline) -> dict[str, Any]:
        mark, middle = self._marked(drawing, outline)
        stem = _stem(outline.contour)
        return {
            "id": stem,
            "words": outline.contour.words,
            "ink": ink_of(outline.contour),
            "middle": middle,
            "mark": mark,
            "url": f"/data/outline/{stem}?mark={mark}",
        }

    def voxels(self, stem: str) -> bytes:
        """An outline's voxels for the picture.

        Parameters
        ----------
        stem : str
            Which.

        Returns
        -------
        bytes
            As ``reports.outline_view.outline_bytes`` writes them; none if there is no such one.
        """
        drawing = self.drawing
        if drawing is None:
            return b""
        try:
            return outline_bytes(drawing.outline(self._contour(stem)).mask)
        except InputError:
            return b""

    def drafts(self) -> tuple[str, ...]:
        """The outlines that nobody has confirmed, in words."""
        drawing = self.drawing
        present = drawing.present() if drawing is not None else ()
        return tuple(one.contour.words for one in present if one.state is OutlineState.DRAFT)

    def _contour(self, stem: str) -> Contour:
        drawing = self.drawing
        known = drawing.contours() if drawing is not None else ()
        for contour in (*known, *map(fence_of, known)):
            if _stem(contour) == stem:
                return contour
        raise InputError(f"{words.STRUCTURE} {stem!r} is not known here: choose one of the list")


def _stem(contour: Contour) -> str:
    return contour.words.replace(" ", "-").replace(",", "")
