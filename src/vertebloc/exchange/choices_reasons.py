"""Why a value in a choices file is what it is: the reasons, read back from its comments."""

from __future__ import annotations

import re

from vertebloc.exchange.choices_comments import comments_of

_TABLE = re.compile(r"^#?\[([^\[\]]+)\]\s*$")
_REASON = re.compile(r"^# This value: (.+?)\s*$")
_ENTRY = re.compile(r"^#?([A-Za-z_]+) = (.*)$")


def reasons_in(text: str) -> dict[str, tuple[str, str]]:
    """Read the reasons that stand before entries.

    Parameters
    ----------
    text : str
        Content of ``choices.toml``.

    Returns
    -------
    dict of str to (str, str)
        Full name of an entry, such as ``level.diseased`` -> its reason, and its value as written.
    """
    table, reason, found = "", "", {}
    for line in text.splitlines():
        if match := _TABLE.match(line):
            table, reason = match[1], ""
        elif match := _REASON.match(line):
            reason = match[1]
        elif (match := _ENTRY.match(line)) and reason:
            value, _ = comments_of(match[2])
            found[f"{table}.{match[1]}" if table else match[1]] = (reason, value)
            reason = ""
    return found


def reasons_that_hold(before: str, after: str) -> dict[str, str]:
    """Reasons of one file that still hold in another: those of values that are the same.

    Parameters
    ----------
    before : str
        The file with reasons.
    after : str
        The same entries, values perhaps changed.

    Returns
    -------
    dict of str to str
        Full name of an entry -> its reason.
    """
    values = {}
    table = ""
    for line in after.splitlines():
        if match := _TABLE.match(line):
            table = match[1]
        elif match := _ENTRY.match(line):
            values[f"{table}.{match[1]}" if table else match[1]] = match[2]
    return {
        name: reason
        for name, (reason, value) in reasons_in(before).items()
        if values.get(name) == value
    }
