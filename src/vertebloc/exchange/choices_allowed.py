"""What an entry of the choices file may hold: words, lists, numbers, names of vertebrae."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from typing import Generic, TypeVar

from vertebloc.anatomy.levels import Level
from vertebloc.case.choices import LIMITS, MOST_LEVELS
from vertebloc.case.level_choice import LARGEST_COUNT, check_count, check_moment
from vertebloc.case.one_line_text import clean_text
from vertebloc.errors import InputError

_Word = TypeVar("_Word", bound=Enum)
_UNITS = {"deg": "degrees", "mm": "mm", "cm": "cm", "kg": "kg", "percent": "%"}


@dataclass(frozen=True, slots=True)
class OneOf(Generic[_Word]):
    """One of a few words."""

    words: type[_Word]

    @property
    def allowed(self) -> str:
        """The words, for people."""
        quoted = [f'"{member.value}"' for member in self.words]
        return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"

    def take(self, found: object) -> _Word:
        """Take a found value, or raise ``ValueError``."""
        if not isinstance(found, str):
            raise ValueError
        return self.words(found.strip().lower())


@dataclass(frozen=True, slots=True)
class ListOf(Generic[_Word]):
    """Words in an order; may be empty."""

    words: type[_Word]
    empty: str = "by rule"  #: what an empty list means

    @property
    def allowed(self) -> str:
        """The words, for people."""
        return f"a list of {OneOf(self.words).allowed}; [] = {self.empty}"

    def take(self, found: object) -> tuple[_Word, ...]:
        """Take a found list, or raise ``ValueError``."""
        if not isinstance(found, list):
            raise ValueError
        return tuple(OneOf(self.words).take(one) for one in found)


@dataclass(frozen=True, slots=True)
class Number:
    """A number within limits, in a unit."""

    limits: str  #: key of ``LIMITS``, whose ending is the unit

    @property
    def allowed(self) -> str:
        """The limits with their unit, for people."""
        low, high = LIMITS[self.limits]
        unit = _UNITS[self.limits.rpartition("_")[2]]
        return f"a number from {low:g} to {high:g} {unit}"

    def take(self, found: object) -> float:
        """Take a found value, or raise ``ValueError``."""
        low, high = LIMITS[self.limits]
        if isinstance(found, bool) or not isinstance(found, int | float):
            raise ValueError
        if not (math.isfinite(found) and low <= found <= high):
            raise ValueError
        return float(found)


@dataclass(frozen=True, slots=True)
class Text:
    """A name or a reason; may be empty."""

    allowed: str = 'one line of text in "quotes"'

    def take(self, found: object) -> str:
        """Take a found value, or raise ``ValueError``."""
        if not isinstance(found, str):
            raise ValueError
        return clean_text(found)


@dataclass(frozen=True, slots=True)
class Moment:
    """A point in time with its zone offset; may be empty."""

    allowed: str = (
        'date, time and zone offset in "quotes", such as "2026-03-02T14:05:00+01:00", or ""'
    )

    def take(self, found: object) -> str:
        """Take a found value, or raise ``ValueError``."""
        if not isinstance(found, str):
            raise ValueError
        try:
            return check_moment(found) if found.strip() else ""
        except InputError as error:
            raise ValueError from error


@dataclass(frozen=True, slots=True)
class Count:
    """A number that was counted to; 0 = not counted."""

    allowed: str = f"a whole number from 1 to {LARGEST_COUNT}, or 0 if nobody counted"

    def take(self, found: object) -> int:
        """Take a found value, or raise ``ValueError``."""
        try:
            return check_count(found)
        except InputError as error:
            raise ValueError from error


@dataclass(frozen=True, slots=True)
class Vertebra:
    """The name of a vertebra; empty if none is chosen yet."""

    allowed: str = 'a vertebra such as "T10" (C1-C7, T1-T13, L1-L6), or "" if not chosen yet'

    def take(self, found: object) -> str:
        """Take a found value, or raise ``ValueError``."""
        if not isinstance(found, str):
            raise ValueError
        if not found.strip():
            return ""
        level = Level.parse(found)
        if level.region == "S":
            raise ValueError
        return level.name


@dataclass(frozen=True, slots=True)
class Vertebrae:
    """Names of vertebrae from head to feet; may be empty."""

    allowed: str = (
        f'a list of one to {MOST_LEVELS} vertebrae from head to feet, such as ["T10", "T11"]; '
        "[] = the diseased one"
    )

    def take(self, found: object) -> tuple[str, ...]:
        """Take a found list, or raise ``ValueError``."""
        if not isinstance(found, list) or len(found) > MOST_LEVELS:
            raise ValueError
        names = tuple(Vertebra().take(one) for one in found)
        levels = [Level(name) for name in names]  # an empty name is no vertebra
        if levels != sorted(set(levels)):
            raise ValueError
        return names
