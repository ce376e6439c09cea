"""The case folder's journal: one line for each change, only ever added to."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from vertebloc.errors import InputError
from vertebloc.exchange.atomic import append_line

JOURNAL = "journal.jsonl"


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One change of a case: when, what, by which program, and the hashes before and after."""

    number: int  #: 1 for the making of the case, then counted up
    time: str  #: ISO 8601 with zone offset
    what: str
    who: str  #: program and version
    before: Mapping[str, str]  #: step -> SHA-256, for the steps that changed
    after: Mapping[str, str]

    @staticmethod
    def from_json(found: Mapping[str, Any]) -> Change:
        """Take a change from a parsed line.

        Parameters
        ----------
        found : mapping
            A parsed JSON object.

        Returns
        -------
        Change
            The same as a value.

        Raises
        ------
        InputError
            If a key is missing or of the wrong kind.
        """
        try:
            return Change(
                number=int(found["number"]),
                time=str(found["time"]),
                what=str(found["what"]),
                who=str(found["who"]),
                before=_hashes(found["before"]),
                after=_hashes(found["after"]),
            )
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise InputError(f"not a change of a case: {error!r}") from error


@dataclass(frozen=True, slots=True)
class Journal:
    """What the journal says, and what could not be read in it."""

    changes: tuple[Change, ...]
    notes: tuple[str, ...]


def time_in_words(now: datetime) -> str:
    """Write a time down with its zone offset.

    Parameters
    ----------
    now : datetime
        A time that knows its zone.

    Returns
    -------
    str
        ISO 8601 to the second, such as ``2025-11-25T09:37:12+01:00``.

    Raises
    ------
    InputError
        If it does not know its zone.
    """
    if now.utcoffset() is None:
        raise InputError(f"the time {now.isoformat()} has no zone offset: give one")
    return now.isoformat(timespec="seconds")


def append_change(folder: Path, change: Change) -> None:
    """Add one line to the journal: a single write, then a flush.

    Parameters
    ----------
    folder : Path
        The case folder.
    change : Change
        What to add.
    """
    line = json.dumps(asdict(change), ensure_ascii=False, allow_nan=False)
    append_line(folder / JOURNAL, line.encode())


def read_journal(folder: Path) -> Journal:
    """Read the journal, leaving out torn lines and saying so.

    Parameters
    ----------
    folder : Path
        The case folder.

    Returns
    -------
    Journal
        Changes in the order of their lines; a note for each line that could not be read.
    """
    try:
        text = (folder / JOURNAL).read_bytes().decode(errors="replace")
    except FileNotFoundError:
        return Journal((), (f"{JOURNAL} is missing",))
    changes, notes = [], []
    lines = text.split("\n")
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            changes.append(Change.from_json(json.loads(line)))
        except ValueError:
            reason = (
                "was being written when the program was stopped"
                if _looks_torn(line)
                else ("is not a change of a case")
            )
            notes.append(f"{JOURNAL}, line {number} {reason}: left out")
    return Journal(tuple(changes), tuple(notes))


def _looks_torn(line: str) -> bool:
    return line.startswith("{") and not line.endswith("}")


def _hashes(found: Mapping[str, Any]) -> dict[str, str]:
    return {str(step): str(digest) for step, digest in found.items()}
