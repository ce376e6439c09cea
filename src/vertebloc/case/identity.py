"""Who the patient is: kept apart from everything computed, printed on every page."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from vertebloc.errors import InputError


@dataclass(frozen=True, slots=True)
class Identity:
    """What the scanner wrote about the person; an empty string where it wrote nothing."""

    name: str = ""  #: as people write it: ``Family, Given Middle``
    birth_date: str = ""  #: ISO 8601, such as 1961-04-30, or empty
    number: str = ""  #: the hospital's number for the person

    def __post_init__(self) -> None:
        """Refuse a birth date that is not written as a date."""
        if self.birth_date and not is_iso_date(self.birth_date):
            raise InputError(
                f"a birth date is written YYYY-MM-DD or left empty, got {self.birth_date!r}"
            )

    @property
    def is_blank(self) -> bool:
        """Whether nothing is known about the person."""
        return not (self.name or self.birth_date or self.number)

    @property
    def words(self) -> str:
        """The person in one line, saying what is not known."""
        return ", ".join(
            (
                self.name or "name not given",
                f"born {self.birth_date or 'date not given'}",
                f"number {self.number or 'not given'}",
            )
        )


def is_iso_date(text: str) -> bool:
    """Whether a text is a day of the calendar written YYYY-MM-DD.

    Parameters
    ----------
    text : str
        Any text.

    Returns
    -------
    bool
        False for other ways of writing a day, and for days there are not.
    """
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False
