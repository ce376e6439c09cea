"""Take, show and write single values of the choices file."""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum
from typing import TypeVar

from vertebloc.errors import InputError
from vertebloc.exchange.choices_entries import Path, key_in_words
from vertebloc.exchange.choices_lines import Lines, line_of, mistake

_T = TypeVar("_T")


def render_value(value: object) -> str:
    """Write one value as TOML.

    Parameters
    ----------
    value : object
        A word, text, number or tuple of these.

    Returns
    -------
    str
        As it stands behind the equals sign.
    """
    if isinstance(value, Enum):
        value = value.value
    if isinstance(value, float | int):
        return repr(value)
    if isinstance(value, tuple):
        return f"[{', '.join(map(render_value, value))}]"
    text = str(value).replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if ord(c) >= 32 else f"\\u{ord(c):04x}" for c in text) + '"'


def take_value(
    take: Callable[[object], _T], found: object, allowed: str, path: Path, lines: Lines
) -> _T:
    """Take a found value, or name its line and what is allowed.

    Parameters
    ----------
    take : callable
        Takes it, or raises ``ValueError``.
    found : object
        What the file says.
    allowed : str
        What it may say.
    path : tuple of str
        Which entry.
    lines : dict
        Where the entries stand.

    Returns
    -------
    object
        As taken.

    Raises
    ------
    InputError
        If it is not allowed.
    """
    try:
        return take(found)
    except ValueError as error:
        raise mistake(
            line_of(lines, path),
            f"{key_in_words(path)} = {shown(found)} is not allowed: use {allowed}",
        ) from error


def shown(value: object) -> str:
    """A found value for a message, near to how it was written.

    Parameters
    ----------
    value : object
        As parsed.

    Returns
    -------
    str
        On one line.
    """
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        inner = ", ".join(f"{key_in_words((k,))} = {shown(v)}" for k, v in value.items())
        return f"{{ {inner} }}" if inner else "{}"
    if isinstance(value, list):
        return f"[{', '.join(map(shown, value))}]"
    return str(value) if isinstance(value, int | float) else render_value(value)


def make_value(make: Callable[[], _T], path: Path, lines: Lines) -> _T:
    """Make a value of several entries; where they contradict, name the line.

    Parameters
    ----------
    make : callable
        Makes it.
    path : tuple of str
        The table they stand in.
    lines : dict
        Where the entries stand.

    Returns
    -------
    object
        As made.

    Raises
    ------
    InputError
        If they contradict.
    """
    try:
        return make()
    except InputError as error:
        raise mistake(line_of(lines, path), f"{key_in_words(path)}: {error}") from error
