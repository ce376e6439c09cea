"""Predicted pictures of an open case: made when they are looked at, kept while the plan stays."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from vertebloc.case.choices import Choices
from vertebloc.errors import VertBlocError
from vertebloc.fluoroscopy import CArmPlan, Projector
from vertebloc.fluoroscopy.shown import ShownView
from vertebloc.resection import ResectionPlan
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.planned_case import PlannedCase
from vertebloc.workflow.predict_fluoroscopy import pictures_of, plan_c_arm, predict_picture

FIRST = "c-arm-side"


class CArmDesk:
    """Which predicted picture is looked at, and the pictures made so far."""

    def __init__(
        self,
        case: Callable[[], OpenCase | None],
        tell: Callable[[], None],
        refuse: Callable[[str], None],
    ) -> None:
        self._case, self._tell, self._refuse = case, tell, refuse
        self.key = FIRST
        self.plan: CArmPlan | None = None
        self.is_busy = False
        self._of: tuple[ResectionPlan, Choices] | None = None  #: what the pictures are of
        self._projector: Projector | None = None
        self._drawn: dict[str, str] = {}
        self._last = ""

    @property
    def pictures(self) -> tuple[ShownView, ...]:
        """Those that can be looked at; none until the first was."""
        return pictures_of(self.plan) if self.plan is not None else ()

    @property
    def shown(self) -> ShownView | None:
        """The one that is looked at."""
        return next((one for one in self.pictures if one.key == self.key), None)

    @property
    def is_current(self) -> bool:
        """Whether the picture is of the plan on the screen."""
        case = self._case()
        planned = case.planned if case is not None else None
        return planned is not None and self._is_of(planned) and self.key in self._drawn

    def _is_of(self, planned: PlannedCase) -> bool:
        """Whether the pictures are of a plan; ring and front may have come to it since."""
        if self._of is None:
            return False
        plan, choices = self._of
        return planned.plan is plan and planned.choices == choices

    @property
    def drawing(self) -> str:
        """The picture as SVG; while a new one is made, the one before; empty: none yet."""
        return self._drawn.get(self.key, self._last)

    async def choose(self, key: str) -> None:
        """Look at another picture.

        Parameters
        ----------
        key : str
            Of one of ``pictures``.
        """
        self.key = key
        self._tell()
        await self.open()

    async def open(self) -> None:
        """Predict the picture that is looked at, unless that was done or is being done."""
        if self.is_busy:
            return
        case = self._case()
        if case is None or case.planned is None or case.prepared is None or self.is_current:
            return
        self.is_busy = True
        self._tell()
        try:
            await self._predict(case, case.planned)
        except VertBlocError as error:
            # not tried again until the plan changes
            self._of = case.planned.plan, case.planned.choices
            self._drawn[self.key] = ""
            self._refuse(str(error))
        finally:
            self.is_busy = False
        self._tell()  # a plan that was changed meanwhile is predicted by the windows' next look

    async def _predict(self, case: OpenCase, planned: PlannedCase) -> None:
        prepared = case.prepared
        assert prepared is not None
        if self.plan is None or not self._is_of(planned):
            self.plan = await asyncio.to_thread(
                plan_c_arm, prepared.anatomy, prepared.solids, planned.plan, planned.choices
            )
            self._of, self._drawn = (planned.plan, planned.choices), {}
            if self.shown is None:
                self.key = FIRST
        if self._projector is None:
            self._projector = Projector.of(await asyncio.to_thread(lambda: case.ct))
        key = self.key
        drawn = await asyncio.to_thread(predict_picture, self._projector, self.plan, key)
        self._drawn[key] = self._last = drawn
