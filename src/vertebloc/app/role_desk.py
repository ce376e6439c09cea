"""The role sheets as the page shows them: which one is chosen, drawn when it is looked at."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from vertebloc.errors import VertBlocError
from vertebloc.reports import role_page_words as words
from vertebloc.reports.role_sheet import RoleSheet
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.role_sheets import renew_role_sheets, write_sheets_of
from vertebloc.workflow.role_view import (
    RoleView,
    draw_role_sheet,
    print_role_sheet,
    read_role_view,
)


class RoleDesk:
    """Sheets of the plan in the folder; all windows look at the same one."""

    def __init__(
        self,
        case: Callable[[], OpenCase | None],
        say: Callable[[str], None],
        refuse: Callable[[str], None],
    ) -> None:
        self._case, self._say, self._refuse = case, say, refuse
        self.view: RoleView | None = None
        self.chosen = 0  #: place in the list
        self.drawing = ""  #: SVG of the chosen sheet; empty until it is drawn
        self.saved = ""  #: where all sheets were written last
        self._failed = ""  #: why the sheets could not be made, as it was said last
        self._one_at_a_time = asyncio.Lock()
        self._renewing: asyncio.Task[None] | None = None
        self._drawn: tuple[str, tuple[str, ...], int] | None = None

    @property
    def sheet(self) -> RoleSheet | None:
        """The chosen sheet."""
        if self.view is None:
            return None
        return self.view.sheets[min(self.chosen, len(self.view.sheets) - 1)]

    async def open(self) -> None:
        """Read the plan in the folder and draw the chosen sheet, unless that is done."""
        case = self._case()
        if case is None:
            return
        try:
            self.view = await asyncio.to_thread(read_role_view, case.folder)
            if self.view is None or self.sheet is None:
                return
            wanted = (self.view.code, self.view.stale, self.chosen)
            if wanted != self._drawn:
                self.drawing = await asyncio.to_thread(draw_role_sheet, case.folder, self.sheet)
                self._drawn = wanted
                self._say("")
            self._failed = ""
        except VertBlocError as error:
            if str(error) != self._failed:  # said once: saying it makes the page ask again
                self._failed = str(error)
                self._refuse(self._failed)

    async def choose(self, place: int) -> None:
        """Show another sheet.

        Parameters
        ----------
        place : int
            In the list.
        """
        self.chosen = place
        self._say(words.DRAWING)
        await self.open()
        self._say("")

    async def save_all(self) -> None:
        """Write all sheets into the case folder."""
        case = self._case()
        if case is None:
            return
        self._say(words.SAVING)
        try:
            report = await asyncio.to_thread(write_sheets_of, case.folder)
            self.saved = words.saved_in(str(report.folder), len(report.files))
        except VertBlocError as error:
            self._refuse(str(error))
        self._say("")

    def renew(self) -> None:
        """Begin to mark sheets that were saved before as the plan in the folder is marked."""
        self._renewing = asyncio.get_running_loop().create_task(self.renewed())

    async def renewed(self) -> None:
        """Mark them, one renewal after the other."""
        case = self._case()
        if case is None:
            return
        try:
            async with self._one_at_a_time:
                await asyncio.to_thread(renew_role_sheets, case.folder)
        except VertBlocError as error:
            self._refuse(str(error))

    def pdf(self, place: int) -> bytes:
        """One sheet for the printer.

        Parameters
        ----------
        place : int
            In the list.

        Returns
        -------
        bytes
            PDF; empty if there is none.
        """
        case = self._case()
        if case is None or self.view is None or not 0 <= place < len(self.view.sheets):
            return b""
        return print_role_sheet(case.folder, self.view.sheets[place])
