"""What the team says of the diseased vertebra: which, who counted, from where, how far."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from vertebloc.case.choice_words import CountedFrom, RibPairs, Transitional
from vertebloc.case.one_line_text import clean_text
from vertebloc.errors import InputError

#: From either end of the movable spine no vertebra has a larger number than this.
LARGEST_COUNT = 26


def check_moment(text: str) -> str:
    """Check a point in time for its zone offset, so that nobody has to guess where it was said.

    Parameters
    ----------
    text : str
        Such as ``2026-03-02T14:05:00+01:00``.

    Returns
    -------
    str
        The same, to the second.

    Raises
    ------
    InputError
        If it is no point in time, or names no offset.
    """
    wanted = "use date, time and zone offset, such as 2026-03-02T14:05:00+01:00"
    try:
        moment = datetime.fromisoformat(clean_text(text))
    except ValueError as error:
        raise InputError(f"{text!r} is no point in time: {wanted}") from error
    if moment.utcoffset() is None:
        raise InputError(f"{text!r} says no zone offset: {wanted}")
    return moment.isoformat(timespec="seconds")


def check_count(count: object) -> int:
    """Check a number that was counted to.

    Parameters
    ----------
    count : object
        As it was given.

    Returns
    -------
    int
        The number; 0 = not counted.

    Raises
    ------
    InputError
        If it is no whole number that a count along the spine can reach.
    """
    if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count <= LARGEST_COUNT:
        raise InputError(f"count is {count!r}: use a whole number from 0 to {LARGEST_COUNT}")
    return count


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelChoice:
    """The diseased vertebra, who confirmed it by counting, from which end and to which number."""

    diseased: str = ""  #: such as ``T10``; empty: not chosen yet
    confirmed_by: str = ""
    confirmed_at: str = ""  #: date, time and zone offset of the confirmation
    counted_from: CountedFrom = CountedFrom.NOT_COUNTED
    count: int = (
        0  #: said at the diseased vertebra, the end's own vertebra being 1; 0: not counted
    )
    marker_at: str = ""  #: the vertebra that carries the placed marker
    rib_pairs: RibPairs = RibPairs.NOT_ANSWERED
    transitional: Transitional = Transitional.NOT_ANSWERED

    def __post_init__(self) -> None:
        """Refuse a confirmation of nothing, and a time that means nothing.

        Raises
        ------
        InputError
            If somebody confirmed a level that is not named, or the time has no zone offset.
        """
        for name in ("diseased", "confirmed_by", "marker_at"):
            object.__setattr__(self, name, clean_text(getattr(self, name)))
        check_count(self.count)
        if self.confirmed_at:
            object.__setattr__(self, "confirmed_at", check_moment(self.confirmed_at))
        if self.confirmed_by and not self.diseased:
            raise InputError(
                f"confirmed_by is {self.confirmed_by!r} but diseased is empty: name the vertebra"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherCount:
    """How the diseased vertebra was counted in another series of the same person."""

    series: str  #: which series, in words
    level: str  #: what the diseased vertebra is called there
    counted_from: CountedFrom = CountedFrom.NOT_COUNTED
    count: int = 0  #: said there at the diseased vertebra; 0: not counted
    who: str = ""

    def __post_init__(self) -> None:
        """Refuse a count that does not say of which series and vertebra, and by whom.

        Raises
        ------
        InputError
            If one of the three is empty, or a number comes without its end.
        """
        for name in ("series", "level", "who"):
            object.__setattr__(self, name, clean_text(getattr(self, name)))
            if not getattr(self, name):
                raise InputError(
                    f"{name} is empty: a count in another series needs series, level and who"
                )
        check_count(self.count)
        if (self.count > 0) != (self.counted_from is not CountedFrom.NOT_COUNTED):
            raise InputError(
                f"count is {self.count} and counted_from {self.counted_from.value!r}: give both, "
                "or neither"
            )
