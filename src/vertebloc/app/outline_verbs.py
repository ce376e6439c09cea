"""What a page can do to the whole outline that is drawn on, one verb each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from vertebloc.app.drawing_desk import DrawingDesk
from vertebloc.errors import InputError, VertBlocError
from vertebloc.outlining.spreading import SpreadLimits
from vertebloc.outlining.tidying import SOFTEN_MM
from vertebloc.reports import outline_words as words
from vertebloc.space.grids import Volume
from vertebloc.workflow import outline_tools
from vertebloc.workflow.drawing import Drawing
from vertebloc.workflow.first_drafts import DRAFT_MAKERS
from vertebloc.workflow.open_case import OpenCase


class OutlineVerbs:
    """Verbs of the page of outlines, and their settings.

    Parameters
    ----------
    at : DrawingDesk
        The outlines.
    case_of : callable
        The open case; None: none yet.
    refuse : callable
        Shows one line that says why something could not be done.
    """

    def __init__(
        self,
        at: DrawingDesk,
        case_of: Callable[[], OpenCase | None],
        refuse: Callable[[str], None],
    ) -> None:
        self._at, self._case_of, self._refuse = at, case_of, refuse
        self.soften_mm = SOFTEN_MM
        self.wanted_draft = ""  #: which first draft is chosen, in words
        self._typed: dict[str, float] = {}  #: limits that were typed, for one outline
        self._typed_for: object = None
        self._suggested: SpreadLimits | None = None
        self._suggested_for: object = None

    @property
    def limits(self) -> SpreadLimits | None:
        """Where the outline may spread to; None until something is drawn."""
        drawing, case = self._at.drawing, self._case_of()
        if drawing is None or case is None:
            return None
        if self._typed_for != self._at.active:
            self._typed, self._typed_for = {}, self._at.active
        mask = drawing.outline(self._at.active).mask
        if mask.is_empty:
            return None
        if self._suggested is None or self._suggested_for is not mask:
            self._suggested = outline_tools.suggested_limits(drawing, self._at.active, case.ct)
            self._suggested_for = mask
        try:
            return replace(self._suggested, **self._typed)
        except VertBlocError:
            return self._suggested  # what was typed no longer fits

    def set_limit(self, name: str, typed: str) -> None:
        """Take a limit that was typed.

        Parameters
        ----------
        name : str
            ``low``, ``high`` or ``reach_mm``.
        typed : str
            Its new value; empty: as the outline suggests.
        """
        limits = self.limits
        try:
            value = _number(typed) if typed.strip() else None
            if limits is not None and value is not None:
                replace(limits, **{name: value})
        except VertBlocError as error:
            self._refuse(str(error))
            return
        self._typed.pop(name, None)
        if value is not None:
            self._typed[name] = value
        self._refuse("")

    def set_soften(self, typed: str) -> None:
        """Take the distance by which an edge may move.

        Parameters
        ----------
        typed : str
            In mm.
        """
        try:
            self.soften_mm = _number(typed)
        except VertBlocError as error:
            self._refuse(str(error))

    async def bridge(self, normal: Sequence[float]) -> None:
        """Bridge the gaps between drawn slices that lie as the picture does.

        Parameters
        ----------
        normal : sequence of float
            Of the picture.
        """
        at = self._at
        await at.act(
            lambda drawing: outline_tools.bridge(drawing, at.active, normal, by=at.by),
            doing=words.DOING["bridge"],
        )

    async def spread(self) -> None:
        """Let the outline spread inside its limits."""
        at, limits = self._at, self.limits

        def act(drawing: Drawing) -> None:
            if limits is None:
                raise InputError(words.DRAW_FIRST)
            outline_tools.spread(drawing, at.active, self._images(), limits, by=at.by)

        await at.act(act, doing=words.DOING["spread"])

    async def finish(self) -> None:
        """Finish the outline from the strokes drawn so far."""
        at = self._at
        await at.act(
            lambda drawing: outline_tools.finish(drawing, at.active, self._images(), by=at.by),
            doing=words.DOING["finish"],
        )

    async def crumbs(self) -> None:
        """Drop small pieces that lie apart."""
        at = self._at
        await at.act(lambda drawing: outline_tools.crumbs(drawing, at.active, by=at.by))

    async def soften(self) -> None:
        """Soften the outline's edge."""
        at = self._at
        await at.act(
            lambda drawing: outline_tools.soften(drawing, at.active, self.soften_mm, by=at.by),
            doing=words.DOING["soften"],
        )

    async def draft(self, number: int, places: Sequence[Sequence[float]]) -> None:
        """Have a first draft made.

        Parameters
        ----------
        number : int
            Which of the makers.
        places : sequence of (3,) float, mm
            What was pointed at, patient LPS.
        """
        at, maker = self._at, DRAFT_MAKERS[number]

        def act(drawing: Drawing) -> None:
            outline_tools.first_draft(drawing, maker, self._images(), places, by=at.by)

        await at.act(act, doing=words.drafting(maker.words))

    def _images(self) -> Volume:
        case = self._case_of()
        if case is None:
            raise InputError(words.NO_IMAGES)
        return case.ct


def _number(typed: str) -> float:
    try:
        return float(typed.replace(",", "."))
    except ValueError as error:
        raise InputError(f"{typed!r} is no number: type digits, such as 12.5") from error
