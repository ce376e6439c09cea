"""Words of the sheet's head, foot and tables; part of the catalogue, see ``text``."""

from __future__ import annotations

import re

from vertebloc.reports.text import sentence
from vertebloc.resection.model import NO_BARRIER


def not_printable(count: int) -> str:
    """In place of letters that the sheet's fonts do not have."""
    return f"[{count} character{'' if count == 1 else 's'} this sheet cannot print]"


def name_not_printable() -> str:
    """A caution beside such a name."""
    return "The name cannot be printed whole: match the person by birth date and number."


def born(date: str) -> str:
    """Date of birth."""
    return f"born {date or 'date not given'}"


def number(value: str) -> str:
    """The hospital's number."""
    return f"number {value or 'not given'}"


_PLACE = re.compile(
    r"(?:(?P<across>\d+ mm (?:left|right)) of|in) the midline, "
    r"(?P<along>\d+ mm (?:behind|in front of)) the (?P<wall>front|back) wall, "
    r"(?P<height>\d+ mm (?:above|below)) mid-body"
)


def short_place(words: str) -> str:
    """A place for the table, whose heading says from where it is measured; else unchanged.

    ``17 mm left of the midline, 14 mm behind the front wall, 18 mm below mid-body`` becomes
    ``17 left, 14 behind front wall, 18 below``.
    """
    found = _PLACE.fullmatch(words)
    if found is None:
        return words
    across = found["across"] or "midline"
    short = f"{across}, {found['along']} {found['wall']} wall, {found['height']}"
    return short.replace(" mm ", " ")


def short_face(name: str) -> str:
    """A face's name for the table."""
    return name.replace(" of the ", " of ")


def short_barrier(words: str) -> str:
    """What lies between tumour and cut, for the table."""
    if words == NO_BARRIER:
        return ""
    return words.replace("both endplates and disc", "endplates, disc")


def joined_by_semicolon(*parts: str) -> str:
    """Words joined by semicolons, empty ones left out."""
    return "; ".join(part for part in parts if part)


def tumour_on(side: str) -> str:
    """The tumour's side, at the level's name on every page."""
    return "tumour BOTH SIDES" if side == "both" else f"tumour {side.upper()}"


def page_of(page: str, pages: str) -> str:
    """Which page of how many; the typesetter knows the numbers."""
    return f"page {page} of {pages}"


def bars_read(end_mm: float, hand: str) -> str:
    """How to read the bars in the table."""
    return f"Bars: margin, full at {end_mm:g} mm. {sentence(hand)}"
