"""Choosing among the series of a scanner's folder, on the first page."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from pathlib import Path

from vertebloc.errors import InputError, VertBlocError
from vertebloc.reports import page_words as words
from vertebloc.workflow.import_case import ImportSettings, import_case
from vertebloc.workflow.list_series import SeriesReport, list_series


class SeriesChoice:
    """The folder somebody named, what it holds, and taking one series of it into the case.

    Parameters
    ----------
    case_dir : Path
        Where the images shall go.
    say : callable
        Shows what is being done; empty: nothing any more.
    refuse : callable
        Shows one line that says why something could not be done.
    arrived : callable
        Called once images are in the case.
    """

    def __init__(
        self,
        case_dir: Path,
        say: Callable[[str], None],
        refuse: Callable[[str], None],
        arrived: Callable[[], Awaitable[None]],
    ) -> None:
        self._case_dir, self._say, self._refuse = case_dir, say, refuse
        self._arrived = arrived
        self.source = ""  #: the folder as it was typed
        self.found: SeriesReport | None = None
        self._busy = False

    def name(self, source: str) -> None:
        """Keep the folder's name; what another folder held is forgotten.

        Parameters
        ----------
        source : str
            As typed.
        """
        if source.strip() != self.source:
            self.source, self.found = source.strip(), None

    async def look(self) -> None:
        """List what the folder holds, with a picture of each series."""
        await self._do(words.LISTING, self._list)

    async def take(self, number: int) -> None:
        """Bring one series into the case.

        Parameters
        ----------
        number : int
            As the list numbers it.
        """
        source = self._path()
        settings = ImportSettings(series_uid=str(number))
        done = await self._do(
            words.IMPORTING, lambda: import_case(source, self._case_dir, settings=settings)
        )
        if done:
            self.found = None
            await self._arrived()

    def _path(self) -> Path:
        if not self.source:
            raise InputError(words.NO_SOURCE)
        return Path(self.source).expanduser()

    def _list(self) -> None:
        self.found = None
        self.found = list_series(self._path(), pictures=True)

    async def _do(self, doing: str, act: Callable[[], object]) -> bool:
        """Do something beside the page; a refusal is one line."""
        if self._busy:
            return False
        self._busy = True
        self._refuse("")
        self._say(doing)
        try:
            await asyncio.to_thread(act)
        except VertBlocError as error:
            self._refuse(str(error))
            return False
        finally:
            self._busy = False
            self._say("")
        return True
