"""Letters that the sheet's fonts can print, and what is said in place of others."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import matplotlib
import typst
from matplotlib.ft2font import FT2Font

from vertebloc.reports import sheet_text


def printable(content: Any) -> Any:
    """The same content with every letter that the sheet cannot print counted and named.

    Parameters
    ----------
    content : str, list, dict or number
        What the template is to print.

    Returns
    -------
    same kind
        Runs of letters without a glyph are replaced by words that say how many there were.
    """
    if isinstance(content, str):
        return printable_text(content)
    if isinstance(content, Mapping):
        return {key: printable(value) for key, value in content.items()}
    if isinstance(content, list | tuple):
        return [printable(value) for value in content]
    return content


def printable_text(words: str) -> str:
    """One text, with blanks and line ends made single blanks."""
    known = _printable_letters()
    shown: list[str] = []
    lost = 0
    for letter in (*" ".join(words.split()), ""):
        if letter and ord(letter) not in known:
            lost += 1
            continue
        if lost:
            shown.append(sheet_text.not_printable(lost))
            lost = 0
        shown.append(letter)
    return "".join(shown)


@cache
def _printable_letters() -> frozenset[int]:
    """Code points for which the sheet's sans-serif has a glyph, plain and bold."""
    plain, bold = (
        FT2Font(str(_font_folder() / name)).get_charmap()
        for name in ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
    )
    return frozenset(plain) & frozenset(bold)


@cache
def sheet_fonts() -> typst.Fonts:
    """The same fonts on every machine: what the typesetter and the plotting library bring."""
    return typst.Fonts(include_system_fonts=False, font_paths=[_font_folder()])


def _font_folder() -> Path:
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf"
