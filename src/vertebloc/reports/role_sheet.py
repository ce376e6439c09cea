"""One page for one person: sections of lines, tables, drawings, and fields to fill in by hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Any

from vertebloc.errors import InputError
from vertebloc.reports.sheet_pages import SheetPicture

#: In place of words: an empty line that somebody fills in by hand.
BLANK = "____"


class Role(Enum):
    """Whose sheet it is. The value is its file's name and the name on the page."""

    CUT_CARDS = "cut cards"
    ACTS = "order of acts"
    BAIL_OUTS = "what to do when"
    ANAESTHETIST = "anaesthetist"
    NEUROPHYSIOLOGIST = "neurophysiologist"
    NURSE = "theatre nurse"
    RADIOLOGIST = "interventional radiologist"
    PATHOLOGIST = "pathologist"
    RADIATION = "radiation oncologist"
    FAMILY = "person and family"
    NOTE = "operation note"


class SheetSize(Enum):
    """The paper; the value is the typesetter's name."""

    A4 = "a4"
    A5 = "a5"


@dataclass(frozen=True, slots=True, kw_only=True)
class RoleTable:
    """Rows under headings; a cell that is ``BLANK`` is an empty field."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...] = ()  #: shares of the width; empty: as the words need

    def __post_init__(self) -> None:
        """Refuse rows of another length than the headings."""
        wrong = [row for row in self.rows if len(row) != len(self.headings)]
        if wrong or (self.widths and len(self.widths) != len(self.headings)):
            raise InputError(
                f"a role sheet's table has {len(self.headings)} headings, but not each row and "
                f"the widths have as many cells: {wrong[:1] or self.widths}"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A part of a sheet: its title, then lines, a table, fields and a drawing, as given."""

    title: str
    lines: tuple[str, ...] = ()
    table: RoleTable | None = None
    fields: tuple[str, ...] = ()  #: labels of fields to fill in by hand
    picture: SheetPicture | None = None
    note: str = ""  #: source or caution, small
    half: bool = False  #: shares its row with the next half section
    big: tuple[tuple[str, str], ...] = ()  #: few numbers to be read from afar: number, meaning
    beside: bool = False  #: the title stands beside its lines: short, for cards
    must: bool = False  #: its lines must not be overlooked


@dataclass(frozen=True, slots=True, kw_only=True)
class RoleSheet:
    """One page."""

    role: Role
    title: str
    answer: str
    sections: tuple[Section, ...]
    size: SheetSize = SheetSize.A4
    plain: bool = False  #: for people outside the team: no cautions in trade terms
    draft: str = ""  #: word across the page, such as DRAFT
    labels: Mapping[str, Any] = field(default_factory=dict)  #: of head and foot, if translated

    def __post_init__(self) -> None:
        """Refuse a sheet without title, answer or content."""
        if not self.title.strip() or not self.answer.strip() or not self.sections:
            raise InputError(f"the sheet {self.role.value!r} needs a title, an answer and content")

    @property
    def words(self) -> tuple[str, ...]:
        """Every text on it, for those who search or check it."""
        said = [self.title, self.answer]
        for one in self.sections:
            said += [one.title, *one.lines, *one.fields, one.note]
            said += [word for pair in one.big for word in pair]
            if one.table is not None:
                said += [*one.table.headings, *(cell for row in one.table.rows for cell in row)]
            if one.picture is not None:
                said.append(one.picture.words)
        return tuple(word for word in said if word)
