"""Names of vertebrae, in order from head to feet."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import total_ordering

from vertebloc.errors import InputError

_ORDER = tuple(
    f"{region}{number}"
    for region, count in (("C", 7), ("T", 13), ("L", 6), ("S", 5))
    for number in range(1, count + 1)
)


@total_ordering
@dataclass(frozen=True, slots=True)
class Level:
    """One vertebra's name, such as T10. Smaller = nearer to the head.

    T13 and L6 exist, since people with 13 ribs or six lumbar vertebrae do; whether the
    vertebra below T12 is T13 or L1 is a question of counting, answered elsewhere.
    """

    name: str

    def __post_init__(self) -> None:
        """Refuse a name that is no vertebra."""
        if self.name not in _ORDER:
            raise InputError(f"{self.name!r} is not a vertebra: use C1-C7, T1-T13, L1-L6 or S1-S5")

    @staticmethod
    def parse(text: str) -> Level:
        """Read a level from text such as ``t10`` or `` T 10``.

        Parameters
        ----------
        text : str
            Name in any case, blanks allowed.

        Returns
        -------
        Level
            The vertebra.
        """
        return Level(re.sub(r"\s+", "", text).upper())

    def __lt__(self, other: Level) -> bool:
        """Whether this vertebra lies nearer to the head."""
        return _ORDER.index(self.name) < _ORDER.index(other.name)

    def __str__(self) -> str:
        """Name, as people write it."""
        return self.name

    @property
    def region(self) -> str:
        """C, T, L or S."""
        return self.name[0]

    @property
    def number(self) -> int:
        """Number within the region."""
        return int(self.name[1:])
