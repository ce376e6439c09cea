"""The way out on the desk: computed only when asked for, stopped at will, kept when whole."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from vertebloc.app.changes import changed_way_out
from vertebloc.app.hearing import Hearing
from vertebloc.case.choices import Choices
from vertebloc.errors import VertBlocError
from vertebloc.reports import way_out_text as words
from vertebloc.reports.travel_data import travel_data
from vertebloc.way_out.answer import SO_FAR
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.way_out import kept_way_out, key_of_way_out, put_way_out
from vertebloc.workflow.way_out_case import COMPUTED
from vertebloc.workflow.way_out_job import WayOutJob


class WayDesk:
    """Asks for the way out and keeps it; every window hears how far it is."""

    def __init__(
        self,
        case: Callable[[], OpenCase | None],
        hearing: Hearing,
        replan: Callable[[], Any],
        change: Callable[[Choices, str], Any],
    ) -> None:
        self._case = case
        self._hearing = hearing
        self._replan = replan
        self._change = change
        self._job = WayOutJob()
        self._read: tuple[str, dict[str, Any]] = ("", {})
        self.doing = ""  #: what is being computed now
        self.steps = 0  #: how many steps were said so far
        self.so_far = ""  #: the best bracket known while it is computed
        self.error = ""  #: why there is none

    async def compute(self) -> None:
        """Compute the way out of the case as it is saved now, and keep it."""
        case = self._case()
        if case is None or self._job.is_running:
            return
        self.doing, self.steps, self.error = words.BEGINNING, 0, ""
        self.so_far = ""
        self._hearing.tell()
        try:
            found = await self._job.run(case.folder.path, self._hear)
            inputs = case.folder.inputs(case.choices)
            if found["key"] != key_of_way_out(inputs, case.choices):
                self.error = words.CHANGED_MEANWHILE
            else:
                case.put(COMPUTED, lambda change: put_way_out(change, found))
        except VertBlocError as error:
            self.error = str(error)
        self.doing = ""
        self._hearing.tell()
        if not self.error:
            await self._replan()

    def stop(self) -> None:
        """Stop computing; what was kept before stays."""
        self._job.stop()

    def _hear(self, line: str) -> None:
        if line.startswith(SO_FAR):
            self.so_far = line
        else:
            self.doing, self.steps = line, self.steps + 1
        self._hearing.tell_doing()

    def kept(self) -> dict[str, Any]:
        """What the case keeps, whether or not it still holds; empty if there is nothing."""
        case = self._case()
        if case is None or not case.folder.has("way_out"):
            return {}
        seen = case.folder.hash_of("way_out")
        if self._read[0] != seen:
            try:
                self._read = (seen, kept_way_out(case.folder) or {})
            except VertBlocError as error:
                self.error = str(error)
                return {}
        return self._read[1]

    @property
    def words(self) -> str:
        """How far it is, for the foot of every page."""
        return words.doing(self.doing, self.steps, self.so_far)

    @property
    def mark(self) -> str:
        """Stands for the content of what is kept."""
        case = self._case()
        return case.folder.hash_of("way_out")[:16] if case and self.kept() else ""

    def data(self, way: int, standing: str) -> dict[str, Any]:
        """One plan of the ledger as it is played; empty if there is none.

        Parameters
        ----------
        way : int
            Which, as kept.
        standing : str
            ``left``, ``right`` or ``head up``.
        """
        case, kept = self._case(), self.kept()
        if case is None or case.prepared is None or not 0 <= way < len(kept.get("ways", ())):
            return {}
        frame = case.prepared.anatomy.vertebrae[case.prepared.level].lps_from_vertebra
        return travel_data(kept, way, standing, frame)

    async def change(self, part: str, typed: str) -> None:
        """Take a setting of the way out, or the order of what to spare.

        Parameters
        ----------
        part : str
            Which.
        typed : str
            Its new value.
        """
        case = self._case()
        if case is None:
            return
        try:
            choices = replace(
                case.choices, way_out=changed_way_out(case.choices.way_out, part, typed)
            )
        except VertBlocError as error:
            self.error = str(error)
            self._hearing.tell()
            return
        self.error = ""
        await self._change(choices, words.setting_changed(part))
