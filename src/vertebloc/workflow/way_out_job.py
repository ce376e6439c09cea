"""The way out computed in a process of its own: it says how far it is, and can be stopped."""

from __future__ import annotations

import asyncio
import multiprocessing
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from vertebloc.errors import InputError, VertBlocError
from vertebloc.workflow.saying import Say
from vertebloc.workflow.way_out_case import compute_way_out

STOPPED = "the way out was stopped: the last one and the case are as they were"
_SAID, _FOUND, _WRONG = "said", "found", "wrong"


class WayOutJob:
    """One computation at a time."""

    def __init__(self) -> None:
        self._process: multiprocessing.process.BaseProcess | None = None

    @property
    def is_running(self) -> bool:
        """Whether it is being computed now."""
        return self._process is not None

    async def run(self, case_dir: Path, say: Say) -> dict[str, Any]:
        """Compute the way out of a case as it lies there; nothing is saved.

        Parameters
        ----------
        case_dir : Path
            The case.
        say : callable
            Called in this thread with each step, in words.

        Returns
        -------
        dict
            To be kept with ``put_way_out``.

        Raises
        ------
        InputError
            If it cannot be computed, or was stopped.
        """
        spawn = multiprocessing.get_context("spawn")
        heard, told = spawn.Pipe(duplex=False)
        self._process = spawn.Process(target=_work, args=(told, case_dir), daemon=True)
        self._process.start()
        told.close()
        try:
            while True:
                what, content = await asyncio.to_thread(_hear, heard)
                if what == _SAID:
                    say(content)
                elif what == _FOUND:
                    return dict(content)
                else:
                    raise InputError(content)
        finally:
            self._process = None
            heard.close()

    def stop(self) -> None:
        """Stop it: nothing of it is saved before it is whole."""
        if self._process is not None:
            self._process.kill()


def _hear(heard: Connection) -> tuple[str, Any]:
    try:
        what, content = heard.recv()
    except (EOFError, OSError):
        return _WRONG, STOPPED
    return str(what), content


def _work(told: Connection, case_dir: Path) -> None:
    try:
        told.send((_FOUND, compute_way_out(case_dir, lambda line: told.send((_SAID, line)))))
    except VertBlocError as error:
        told.send((_WRONG, str(error)))
