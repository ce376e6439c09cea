"""Text that people type: one line, printable."""

from __future__ import annotations

import unicodedata

from vertebloc.errors import InputError


def clean_text(text: str) -> str:
    """Check a text for one line and take the spaces off its ends.

    Parameters
    ----------
    text : str
        A name or a reason, as typed.

    Returns
    -------
    str
        The text without spaces at its ends.

    Raises
    ------
    InputError
        If it holds a line break or another character that cannot be printed.
    """
    for character in text:
        if unicodedata.category(character) in {"Cc", "Cs", "Zl", "Zp"}:
            raise InputError(
                f"{text!r} holds the unprintable character {character!r}: use one line of text"
            )
    return text.strip()
