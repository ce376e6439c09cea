"""Further pages of a sheet: a title, a sentence, a picture, a table.

The sheet gives each page the head and the foot of the first: the person, level and side, code
and time, cautions, and which page of how many it is.
"""

from __future__ import annotations

import base64
import struct
from dataclasses import dataclass
from typing import Any

from vertebloc.errors import InputError

#: Picture formats by their first bytes.
_PNG_STARTS = b"\x89PNG\r\n\x1a\n"
_SVG_STARTS = ("<svg", "<?xml")

#: The widest picture that fits the narrower paper between its margins.
WIDEST_MM = 190.0

#: The highest picture that leaves a page its head, title, sentence, a few rows and its foot.
HIGHEST_MM = 170.0
#: Likewise of a page that holds nothing else below.
HIGHEST_ALONE_MM = 212.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetTable:
    """Rows of words under their headings; the last column takes the width that is left."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def __post_init__(self) -> None:
        """Refuse a row that has more or fewer cells than there are headings."""
        if not self.headings:
            raise InputError("a sheet's table needs headings, got none: name its columns")
        for row in self.rows:
            if len(row) != len(self.headings):
                raise InputError(
                    f"a sheet's table has {len(self.headings)} headings, but the row "
                    f"{', '.join(row)!r} has {len(row)} cells: give one for each heading"
                )


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPicture:
    """A drawing with its printed size; the sheet never scales it, so its words keep theirs."""

    drawing: bytes  #: PNG, or SVG as UTF-8
    width_mm: float  #: on paper
    height_mm: float  #: on paper
    words: str  #: what it shows, for those who do not see it

    def __post_init__(self) -> None:
        """Refuse a size that no page holds, a drawing of another kind, or one without words."""
        if not (0 < self.width_mm <= WIDEST_MM and 0 < self.height_mm <= HIGHEST_ALONE_MM):
            raise InputError(
                f"a sheet's picture is {self.width_mm:g} x {self.height_mm:g} mm: a page holds "
                f"more than 0 and at most {WIDEST_MM:g} x {HIGHEST_ALONE_MM:g} mm; draw it for "
                "that"
            )
        if not self.words.strip():
            raise InputError("a sheet's picture needs words for those who do not see it")
        as_svg(self.drawing)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPage:
    """One further page: its title and answer, then what there is to see and to look up."""

    title: str
    sentence: str  #: the page's answer
    must_not_be_overlooked: bool = False  #: washes the sentence
    picture: SheetPicture | None = None
    table: SheetTable | None = None
    notes: str = ""  #: small print below: how to read it, with what it was computed; never washed

    def __post_init__(self) -> None:
        """Refuse a page without title or answer."""
        if not self.title.strip() or not self.sentence.strip():
            raise InputError(
                f"a sheet's page needs a title and a sentence, got {self.title!r} and "
                f"{self.sentence!r}"
            )


def page_content(page: SheetPage, picture_name: str) -> dict[str, Any]:
    """A page as the template prints it.

    Parameters
    ----------
    page : SheetPage
        The page.
    picture_name : str
        Under which name the template finds its picture.

    Returns
    -------
    dict
        Strings, lists and dictionaries; no picture and no table are empty dictionaries.
    """
    picture, table = page.picture, page.table
    return {
        "title": page.title,
        "sentence": page.sentence,
        "must_not_be_overlooked": page.must_not_be_overlooked,
        "picture": {}
        if picture is None
        else {
            "name": picture_name,
            "width_mm": picture.width_mm,
            "height_mm": picture.height_mm,
            "words": picture.words,
        },
        "table": {}
        if table is None
        else {"headings": list(table.headings), "rows": [list(row) for row in table.rows]},
        "notes": page.notes,
    }


def as_svg(drawing: bytes) -> str:
    """A drawing as SVG text, since the typesetter takes text as data, no bytes.

    Parameters
    ----------
    drawing : bytes
        PNG, or SVG as UTF-8.

    Returns
    -------
    str
        SVG; a PNG is wrapped at its own size.

    Raises
    ------
    InputError
        If it is neither.
    """
    if drawing.startswith(_PNG_STARTS):
        width, height = struct.unpack(">II", drawing[16:24])  # the header of every PNG
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}">'
            f'<image width="{width}" height="{height}" href="data:image/png;base64,'
            f'{base64.b64encode(drawing).decode("ascii")}"/></svg>'
        )
    try:
        written = drawing.decode("utf-8-sig").lstrip()
    except UnicodeDecodeError:
        written = ""
    if not written.startswith(_SVG_STARTS):
        raise InputError(
            f"a sheet's picture starts with {drawing[:8]!r}: give a PNG, or an SVG as UTF-8"
        )
    return written
