"""Ring and front on the pages: they follow behind the plan, and say so until they are there."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from typing import Any

from vertebloc.errors import VertBlocError
from vertebloc.reports.page_words import Question
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.planned_case import PlannedCase


class Behind:
    """What is measured once the plan is on the screen.

    Parameters
    ----------
    case_of : callable
        The open case; None: none yet.
    arrived : callable
        Called with the plan once ring and front are in it.
    refuse : callable
        Shows one line that says why something could not be done.
    """

    def __init__(
        self,
        case_of: Callable[[], OpenCase | None],
        arrived: Callable[[PlannedCase], None],
        refuse: Callable[[str], None],
    ) -> None:
        self._case_of, self._arrived, self._refuse = case_of, arrived, refuse
        self.document: Mapping[str, Any] = {}  #: the last one that held ring and front
        self.large: Mapping[Question, str] = {}  #: drawings that are a page's one large picture
        self._under_way: asyncio.Task[None] | None = None

    @property
    def is_pending(self) -> bool:
        """Whether ring and front of the plan on the screen are still to come."""
        case = self._case_of()
        return case is not None and case.planned is not None and case.planned.access is None

    def begin(self) -> None:
        """Begin, unless they are there; what was begun for a plan before ends by itself."""
        if self.is_pending:
            self._under_way = asyncio.get_running_loop().create_task(self._measure())

    async def wait(self) -> None:
        """Wait until they are there, or cannot be."""
        while self._under_way is not None and not self._under_way.done():
            await asyncio.wait([self._under_way])

    def forget(self) -> None:
        """Nothing is known any more: another case, or the same one read anew."""
        if self._under_way is not None:
            self._under_way.cancel()
        self.document, self.large, self._under_way = {}, {}, None

    async def _measure(self) -> None:
        case = self._case_of()
        if case is None:
            return
        try:
            if not await case.measure_access():
                return  # a newer plan has begun its own
        except VertBlocError as error:
            self._refuse(str(error))
            return
        planned = case.planned
        assert planned is not None
        self.document, self.large = planned.document, planned.large
        self._arrived(planned)
