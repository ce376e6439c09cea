"""The team's choices one after the other, so that each change can be taken back."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from vertebloc.errors import InputError
from vertebloc.exchange.case_manifest import render_json

SCHEMA = 1
MOST_ENTRIES = 200  #: older ones are let go


@dataclass(frozen=True, slots=True)
class HistoryEntry:
    """One state of the choices file, and the change that led to it."""

    what: str  #: in words, such as ``cranial cut moved``
    choices: str  #: text of ``choices.toml``


@dataclass(frozen=True, slots=True)
class ChoicesHistory:
    """States of the choices file, and the one that holds now."""

    entries: tuple[HistoryEntry, ...]
    at: int

    def __post_init__(self) -> None:
        """Refuse a history without a present.

        Raises
        ------
        InputError
            If there is no entry, or the present is none of them.
        """
        if not 0 <= self.at < len(self.entries):
            raise InputError(
                f"entry {self.at} of a history of {len(self.entries)} choices does not exist"
            )

    @property
    def now(self) -> HistoryEntry:
        """The state that holds now."""
        return self.entries[self.at]

    @property
    def can_undo(self) -> bool:
        """Whether there is a change to take back."""
        return self.at > 0

    @property
    def can_redo(self) -> bool:
        """Whether a change was taken back and can be made again."""
        return self.at + 1 < len(self.entries)

    def with_change(self, what: str, choices: str) -> ChoicesHistory:
        """Add a change; what was taken back before it is let go.

        Parameters
        ----------
        what : str
            The change in words.
        choices : str
            Text of the choices file after it.

        Returns
        -------
        ChoicesHistory
            At the new entry.
        """
        entries = (*self.entries[: self.at + 1], HistoryEntry(what, choices))[-MOST_ENTRIES:]
        return ChoicesHistory(entries, len(entries) - 1)

    def undone(self) -> ChoicesHistory:
        """Take the last change back.

        Returns
        -------
        ChoicesHistory
            One entry earlier.

        Raises
        ------
        InputError
            If there is none.
        """
        if not self.can_undo:
            raise InputError("there is no change to take back")
        return ChoicesHistory(self.entries, self.at - 1)

    def redone(self) -> ChoicesHistory:
        """Make a change again that was taken back.

        Returns
        -------
        ChoicesHistory
            One entry later.

        Raises
        ------
        InputError
            If there is none.
        """
        if not self.can_redo:
            raise InputError("no change was taken back: there is none to make again")
        return ChoicesHistory(self.entries, self.at + 1)


def render_history(history: ChoicesHistory) -> bytes:
    """Write a history down.

    Parameters
    ----------
    history : ChoicesHistory
        All states.

    Returns
    -------
    bytes
        JSON.
    """
    entries = [{"what": entry.what, "choices": entry.choices} for entry in history.entries]
    return render_json({"schema": SCHEMA, "at": history.at, "entries": entries})


def read_history(document: Mapping[str, Any]) -> ChoicesHistory:
    """Read a history.

    Parameters
    ----------
    document : mapping
        As ``render_history`` wrote it.

    Returns
    -------
    ChoicesHistory
        All states.

    Raises
    ------
    InputError
        If it was written by a newer vertebloc, or is damaged.
    """
    schema = document.get("schema")
    if schema != SCHEMA:
        raise InputError(
            f"the history of choices has schema {schema}, {SCHEMA} is read: use a newer vertebloc"
        )
    try:
        entries = tuple(
            HistoryEntry(str(entry["what"]), str(entry["choices"]))
            for entry in document["entries"]
        )
        return ChoicesHistory(entries, int(document["at"]))
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(f"the history of choices is damaged ({error})") from error


def holds_choices(history: bytes, choices: bytes) -> bool:
    """Whether a written history holds a choices file, byte for byte.

    Parameters
    ----------
    history : bytes
        As ``render_history`` wrote it.
    choices : bytes
        Content of a choices file.

    Returns
    -------
    bool
        False also if the history cannot be read: then nothing may rely on it.
    """
    try:
        entries = json.loads(history)["entries"]
        return any(entry["choices"].encode() == choices for entry in entries)
    except (ValueError, KeyError, TypeError, AttributeError):
        return False
