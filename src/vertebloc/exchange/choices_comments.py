"""Comments of the team in the choices file: kept when the program writes the file anew.

A comment belongs to the entry or table that it stands above, or on whose line it ends. If that is
no longer in the file, it goes to the table around it, or to the end: none is lost.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator

from vertebloc.errors import InputError
from vertebloc.exchange.choices_entries import split_rib
from vertebloc.exchange.choices_lines import statements

_Anchor = tuple[str, ...]
_END: _Anchor = ("",)  #: after the last entry
_OUT_OF_USE = re.compile(
    r"#(height_mm|tilt_deg|roll_deg) = 0\.0|#\[cuts\.(cranial|caudal)\.(left|right)\]"
)
_OWN = re.compile(rf"# (Allowed|Default|This value): .*|{_OUT_OF_USE.pattern}")
_QUOTES = ('"""', "'" * 3, '"', "'")


def with_comments(before: str, plain: str) -> str:
    """Write the team's comments of one choices file into another.

    Parameters
    ----------
    before : str
        The file as it was, with comments; TOML.
    plain : str
        The file as the program writes it now.

    Returns
    -------
    str
        ``plain`` with every comment that is not the program's own, at the same entry; those that
        ended an entry's line end it again.
    """
    before = before.removeprefix("\ufeff").replace("\r\n", "\n")
    own = frozenset(row for row in plain.splitlines() if row.startswith("#"))
    above, behind = _comments_in(before, own)
    places = dict(_anchors(plain))
    at = {anchor: place for place, anchor in reversed(places.items())}
    rows = plain.splitlines()
    added: dict[int, list[str]] = {}
    for anchor, comments in above.items():
        added.setdefault(_place(at, anchor, len(rows)), []).extend(comments)
    for anchor, comment in behind.items():
        place = at.get(anchor)
        if place is None or rows[place].startswith("#"):
            added.setdefault(_place(at, anchor, len(rows)), []).append(comment)
        else:
            rows[place] += f"  {comment}"
    written = []
    for place, row in enumerate([*rows, None]):
        written += added.get(place, [])
        written += [row] if row is not None else []
    return "\n".join(written) + "\n"


def comments_of(statement: str) -> tuple[str, list[str]]:
    """Part a statement from the comments in it and behind it.

    Parameters
    ----------
    statement : str
        One TOML statement, such as ``kerf_mm = 1.0  # our saw``; may have several lines.

    Returns
    -------
    tuple of (str, list of str)
        The statement without comments, and each comment with its ``#``.
    """
    kept, comments, at, quote = "", [], 0, ""
    while at < len(statement):
        if not quote and statement[at] == "#":
            comment = statement[at:].split("\n")[0]
            comments.append(comment.rstrip())
            at += len(comment)
            continue
        taken = statement[at]
        if quote and statement.startswith(quote, at):
            taken, quote = quote, ""
        elif not quote:
            quote = next((mark for mark in _QUOTES if statement.startswith(mark, at)), "")
            taken = quote or taken
        elif taken == "\\" and quote.startswith('"'):
            taken = statement[at : at + 2]
        kept += taken
        at += len(taken)
    return kept.rstrip(), comments


def _place(at: dict[_Anchor, int], anchor: _Anchor, end: int) -> int:
    while anchor and anchor not in at:
        anchor = anchor[:-1]
    return at.get(anchor, end)


def _comments_in(
    text: str, own: frozenset[str]
) -> tuple[dict[_Anchor, list[str]], dict[_Anchor, str]]:
    """The team's comments: above each anchor, and the one behind it."""
    above: dict[_Anchor, list[str]] = {}
    behind: dict[_Anchor, str] = {}
    rows, seen = text.split("\n"), 0
    for place, anchor in _anchors(text):
        above.setdefault(anchor, []).extend(_team_rows(rows, seen, place, own))
        statement = _statement_at(rows, place)
        _, comments = comments_of(statement) if not statement.startswith("#") else ("", [])
        if len(comments) == 1 and statement.count("\n") <= 1 and anchor not in behind:
            behind[anchor] = comments[0]
        else:
            above[anchor].extend(comments)
        seen = place + statement.count("\n")
    above.setdefault(_END, []).extend(_team_rows(rows, seen, len(rows), own))
    return above, behind


def _team_rows(rows: list[str], start: int, end: int, own: frozenset[str]) -> Iterator[str]:
    for place in range(start, end):
        row = rows[place].strip()
        if not row.startswith("#") or row in own or _OWN.fullmatch(row):
            continue
        following = rows[place + 1] if place + 1 < len(rows) else ""
        former = rows[place - 1] if place else ""
        if following.startswith("# Allowed: ") and former not in own:
            continue  # the meaning of an entry, as another version of the program put it
        yield row


def _statement_at(rows: list[str], place: int) -> str:
    if rows[place].startswith("#"):
        return rows[place] + "\n"
    _, statement = next(statements("\n".join(rows[place:])))
    return statement


def _anchors(text: str) -> Iterator[tuple[int, _Anchor]]:
    """Row, from 0, and name of every table and entry; those out of use too."""
    found: list[tuple[int, str]] = [(line - 1, said) for line, said in statements(text)]
    taken = {place for place, said in found for place in range(place, place + said.count("\n"))}
    for place, row in enumerate(text.split("\n")):
        if place not in taken and _OUT_OF_USE.fullmatch(row):
            found.append((place, row[1:]))
    table: _Anchor = ()
    overrides = iter(tomllib.loads(text).get("override", []))
    for place, said in sorted(found):
        parsed, said = tomllib.loads(said), said.lstrip()
        if said.startswith("[[override]]"):
            one: dict[str, object] = next(overrides, {})
            table = ("override", str(one.get("what", "")))
            yield place, table
        elif said.startswith("["):
            table = _path(parsed)
            yield place, table
        elif table[:1] == ("override",):
            yield place, table
        else:
            yield place, _named((*table, *_path(parsed)))


def _path(parsed: object) -> _Anchor:
    """The keys down to a value, or to a table without entries."""
    if isinstance(parsed, list):
        parsed = parsed[0] if parsed else {}
    if not isinstance(parsed, dict) or len(parsed) != 1:
        return ()
    ((key, value),) = parsed.items()
    return (key, *_path(value))


def _named(path: _Anchor) -> _Anchor:
    """A rib is the same rib however it is written."""
    if path[:1] != ("ribs",) or len(path) < 2:
        return path
    try:
        level, side = split_rib(path[1])
    except InputError:
        return path
    return ("ribs", f"{level} {side.value}")
