"""Lay the second scan on in a process of its own, which can be stopped at any moment."""

from __future__ import annotations

import asyncio
import multiprocessing
from multiprocessing.connection import Connection
from pathlib import Path

from vertebloc.errors import InputError, VertBlocError
from vertebloc.workflow.lay_second import Pairs, lay_second

STOPPED = "stopped: the case is as it was"


class SecondJob:
    """One computation at a time."""

    def __init__(self) -> None:
        self._process: multiprocessing.process.BaseProcess | None = None

    async def run(self, case_dir: Path, pairs: Pairs) -> None:
        """Lay the second scan on, and save the answer.

        Parameters
        ----------
        case_dir : Path
            The case.
        pairs : sequence of pairs of points, mm, patient LPS
            Where to start; empty: as the header says.

        Raises
        ------
        InputError
            If it cannot be done, or was stopped; the case is then as it was.
        """
        spawn = multiprocessing.get_context("spawn")
        heard, told = spawn.Pipe(duplex=False)
        self._process = spawn.Process(
            target=_work, args=(told, case_dir, tuple(pairs)), daemon=True
        )
        self._process.start()
        told.close()
        try:
            said = await asyncio.to_thread(_hear, heard)
        finally:
            self._process = None
        if said:
            raise InputError(said)

    def stop(self) -> None:
        """Stop it: what is saved is whole at every moment."""
        if self._process is not None:
            self._process.kill()


def _hear(heard: Connection) -> str:
    try:
        return str(heard.recv())
    except EOFError:
        return STOPPED


def _work(told: Connection, case_dir: Path, pairs: Pairs) -> None:
    try:
        lay_second(case_dir, pairs=pairs)
        told.send("")
    except VertBlocError as error:
        told.send(str(error))
