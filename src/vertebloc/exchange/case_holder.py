"""Who works on a case now: one window of one running program, named in a file of the case.

The file says which process wrote it. A process that has ended holds nothing any more, so a crash
locks nobody out; a process number that was given to another program is told by its start.
"""

from __future__ import annotations

import json
import os
import socket
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from vertebloc.exchange import atomic
from vertebloc.exchange.journal import time_in_words

HOLDER = ".holder"


@dataclass(frozen=True, slots=True, kw_only=True)
class Holder:
    """One window of one running program."""

    window: str  #: its name, different for each window
    process: int
    begun: str  #: when the process began, as its system counts it
    machine: str
    since: str  #: ISO 8601 with zone offset

    @property
    def words(self) -> str:
        """Who it is, for people."""
        return f"another program (process {self.process} on {self.machine}, since {self.since})"


def write_holder(case_dir: Path, window: str, now: datetime) -> Holder:
    """Name a window of this process as the one that works on a case, whoever did before.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    window : str
        The window's name.
    now : datetime
        The time, with its zone.

    Returns
    -------
    Holder
        As written.

    Raises
    ------
    InputError
        If the disk refuses.
    """
    holder = Holder(
        window=window,
        process=os.getpid(),
        begun=_begun(os.getpid()),
        machine=socket.gethostname(),
        since=time_in_words(now),
    )
    with atomic.say_plainly(f"write in {case_dir}"):
        atomic.write_whole(case_dir / HOLDER, json.dumps(asdict(holder)).encode())
    return holder


def read_holder(case_dir: Path) -> Holder | None:
    """Who works on a case now.

    Parameters
    ----------
    case_dir : Path
        The case folder.

    Returns
    -------
    Holder or None
        None if nobody does: no file, a file that says nothing, or a process that has ended. A
        process of another machine is taken to run: it cannot be looked at from here.
    """
    try:
        found = json.loads((case_dir / HOLDER).read_bytes())
        holder = Holder(
            window=str(found["window"]),
            process=int(found["process"]),
            begun=str(found["begun"]),
            machine=str(found["machine"]),
            since=str(found["since"]),
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None
    here = holder.machine == socket.gethostname()
    return None if here and _begun(holder.process) != holder.begun else holder


def drop_holder(case_dir: Path, window: str) -> None:
    """Name nobody any more, if it is this window that is named.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    window : str
        The window's name.
    """
    holder = read_holder(case_dir)
    if holder is not None and holder.window == window:
        with atomic.say_plainly(f"write in {case_dir}"):
            (case_dir / HOLDER).unlink(missing_ok=True)


def _begun(process: int) -> str:
    """When a process began, as its system counts it; empty if none of that number runs."""
    try:
        fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
        return "" if fields[0] in ("Z", "X") else fields[19]
    except OSError:
        return "" if Path("/proc/self/stat").exists() else _runs(process)


def _runs(process: int) -> str:
    """The same on a system that tells no start: only whether it runs."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return ""
    except PermissionError:
        pass  # it runs, for somebody else
    return "runs"
