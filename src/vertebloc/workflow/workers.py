"""Processes that compute beside a page, each keeping what it was given."""

from __future__ import annotations

import asyncio
import multiprocessing
import os
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from typing import Any, TypeVar

from vertebloc.errors import InputError

_T = TypeVar("_T")


class Workers:
    """Named processes of their own; each answers one question after the other.

    Parameters
    ----------
    lost : callable
        Called when a process was stopped from outside and what it held is gone.
    """

    def __init__(self, lost: Callable[[], None]) -> None:
        self._processes: dict[str, ProcessPoolExecutor] = {}
        self._lost = lost

    async def ask(self, worker: str, call: Callable[..., _T], *given: Any) -> _T:
        """Have a worker compute something.

        Parameters
        ----------
        worker : str
            Its name; it is started at its first question.
        call : callable
            A function of a module, or a ``Call``.
        *given : object
            What it is given; must travel between processes.

        Returns
        -------
        object
            Its answer.

        Raises
        ------
        InputError
            If the process was stopped, most often for want of memory.
        """
        if worker not in self._processes:
            self._processes[worker] = ProcessPoolExecutor(
                max_workers=1, mp_context=_fresh_processes(), initializer=_end_with_parent
            )
        loop = asyncio.get_running_loop()
        try:
            return await loop.run_in_executor(self._processes[worker], call, *given)
        except BrokenProcessPool as error:
            self.close()
            self._lost()
            raise InputError(
                "the computing process was stopped (is there enough memory?): try again; "
                "nothing that was saved is lost"
            ) from error

    def close(self) -> None:
        """Let the processes go."""
        for process in self._processes.values():
            process.shutdown(wait=False, cancel_futures=True)
        self._processes.clear()


@dataclass(frozen=True, slots=True)
class Call:
    """A function with named arguments that can travel to a worker."""

    function: Callable[..., Any]
    named: Mapping[str, Any]

    def __init__(self, function: Callable[..., Any], **named: Any) -> None:
        object.__setattr__(self, "function", function)
        object.__setattr__(self, "named", named)

    def __call__(self, *given: Any) -> Any:
        """Call it."""
        return self.function(*given, **self.named)


def _fresh_processes() -> multiprocessing.context.BaseContext:
    """Processes that begin with nothing of this one: its threads and locks are not copied."""
    can = multiprocessing.get_all_start_methods()
    return multiprocessing.get_context("forkserver" if "forkserver" in can else "spawn")


def _end_with_parent() -> None:
    """See to it that a worker ends with the program it works for, even if that is killed."""

    def wait() -> None:
        parent = multiprocessing.parent_process()
        if parent is not None:
            parent.join()
            os._exit(0)

    threading.Thread(target=wait, daemon=True).start()
