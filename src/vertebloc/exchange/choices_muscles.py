"""The team's own muscles in the choices file: one line a root."""

from __future__ import annotations

from vertebloc.case.theatre_choice import read_root
from vertebloc.errors import InputError
from vertebloc.exchange.choices_allowed import Text
from vertebloc.exchange.choices_lines import Lines, line_of, mistake

MUSCLES_HEAD = """\
# Muscles in which a root is looked for, where the team uses others than is common practice.
# One line a root: C1-C8, T1-T13, L1-L6, S1-S5; the sheet marks them as the team's own.
# Allowed: one line of text in "quotes"
[muscles]
#L3 = "vastus medialis, both sides"
"""


def read_muscles(found: object, lines: Lines) -> dict[str, str]:
    """Read the team's own muscles.

    Parameters
    ----------
    found : object
        What the file says there.
    lines : dict
        Where the entries stand.

    Returns
    -------
    dict of str to str
        By root.

    Raises
    ------
    InputError
        At the first mistake: names its line.
    """
    if not isinstance(found, dict):
        raise mistake(line_of(lines, ("muscles",)), "muscles is not allowed: write [muscles]")
    muscles: dict[str, str] = {}
    for key, value in found.items():
        path = ("muscles", key)
        try:
            root = read_root(key)
        except InputError as error:
            raise mistake(line_of(lines, path), f"muscles: {error}") from error
        if root in muscles:
            raise mistake(line_of(lines, path), f"muscles.{key} is there twice")
        try:
            muscles[root] = Text().take(value)
        except ValueError as error:
            raise mistake(
                line_of(lines, path), f"muscles.{key} is not allowed: use {Text().allowed}"
            ) from error
    return muscles
