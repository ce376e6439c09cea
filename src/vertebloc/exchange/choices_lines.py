"""Read a choices file as TOML, and know on which line every entry stands."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import Any

from vertebloc.errors import InputError
from vertebloc.exchange.choices_entries import ENTRIES

FILE = "choices.toml"

Lines = dict[tuple[str, ...], int]


def mistake(line: int, what: str) -> InputError:
    """Make the error for a mistake in the choices file.

    Parameters
    ----------
    line : int
        Line number, from 1.
    what : str
        Key, value found, and what is allowed.

    Returns
    -------
    InputError
        To be raised.
    """
    return InputError(f"{FILE}, line {line}: {what}")


def parse_toml(text: str) -> dict[str, Any]:
    """Parse the file, or name the line that cannot be read.

    Parameters
    ----------
    text : str
        Content of the file.

    Returns
    -------
    dict
        Tables and values.

    Raises
    ------
    InputError
        If it is no TOML.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
    rows = text.splitlines() or [""]
    found = re.search(r"at line (\d+)", message)
    line = int(found[1]) if found else len(rows)
    while line > 1 and not (line <= len(rows) and rows[line - 1].strip()):
        line -= 1
    reason = re.sub(r"\s*\(at .*\)$", "", message)
    row = rows[line - 1].strip()
    raise mistake(
        line,
        f"{row} cannot be read ({reason[:1].lower()}{reason[1:]}): {_allowed_in(row)}",
    )


def find_lines(text: str) -> Lines:
    """Find the line of every table and entry of a text that is TOML.

    Parameters
    ----------
    text : str
        Content of the file; ``parse_toml`` accepts it.

    Returns
    -------
    dict
        Path of a table or an entry -> line number from 1. Tables of a list are numbered:
        ``("override", "0", "who")``.

    Notes
    -----
    A line that is no TOML by itself goes on in the next: no beginning of a longer value is a
    whole value.
    """
    lines: Lines = {}
    table: tuple[str, ...] = ()
    counts: dict[tuple[str, ...], int] = {}
    for line, statement in statements(text):
        parsed = tomllib.loads(statement)
        if not statement.lstrip().startswith("["):
            for path in _paths(parsed):
                lines.setdefault((*table, *path), line)
            continue
        table = max(_paths(parsed), key=len)
        if statement.lstrip().startswith("[["):
            table = table[:-1]  # the path ends in the number of the only item
            counts[table] = counts.get(table, -1) + 1
            table = (*table, str(counts[table]))
        for depth in range(1, len(table) + 1):
            lines.setdefault(table[:depth], line)
    return lines


def line_of(lines: Lines, path: tuple[str, ...]) -> int:
    """Line of an entry, or of the nearest table that should hold it.

    Parameters
    ----------
    lines : dict
        As ``find_lines`` returns it.
    path : tuple of str
        Path of the entry.

    Returns
    -------
    int
        Line number, from 1.
    """
    while path and path not in lines:
        path = path[:-1]
    return lines.get(path, 1)


def statements(text: str) -> Iterator[tuple[int, str]]:
    """Part a text that is TOML into its statements, without what stands between them.

    Parameters
    ----------
    text : str
        Content of the file; ``parse_toml`` accepts it.

    Yields
    ------
    tuple of (int, str)
        Line number from 1, and the statement with its comments and the end of its last line.
    """
    start, held = 0, ""
    for number, row in enumerate(text.split("\n"), start=1):
        if not held:
            start = number
            if not row.strip() or row.lstrip().startswith("#"):
                continue
        held += row + "\n"
        try:
            tomllib.loads(held)
        except tomllib.TOMLDecodeError:
            continue
        yield start, held
        held = ""


def _paths(parsed: object) -> Iterator[tuple[str, ...]]:
    if isinstance(parsed, dict):
        for key, value in parsed.items():
            yield (key,)
            for path in _paths(value):
                yield (key, *path)
    elif isinstance(parsed, list):
        for number, value in enumerate(parsed):
            if isinstance(value, dict):
                yield (str(number),)
                for path in _paths(value):
                    yield (str(number), *path)


def _allowed_in(row: str) -> str:
    key = re.match(r'\s*(?:[\w-]+\.)*"?([\w -]+?)"?\s*=', row)
    allowed = {e.allowed.allowed for e in ENTRIES if key is not None and e.path[-1] == key[1]}
    if len(allowed) == 1:
        return f"use {allowed.pop()}"
    return 'write  key = value  on a line of its own, words in "quotes"'
