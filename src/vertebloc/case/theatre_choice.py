"""What the team says for the day of the operation: roots, muscles, what blood is reckoned from."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from vertebloc.case.choice_words import SexChoice
from vertebloc.case.one_line_text import clean_text
from vertebloc.errors import InputError

_ROOT = re.compile(r"C[1-8]|T(?:[1-9]|1[0-3])|L[1-6]|S[1-5]")
_SIDES = ("left", "right")


def read_root(text: str) -> str:
    """Read the name of a root.

    Parameters
    ----------
    text : str
        Such as ``t10``.

    Returns
    -------
    str
        Such as ``T10``.

    Raises
    ------
    InputError
        If it names no root.
    """
    name = re.sub(r"\s+", "", text).upper()
    if not _ROOT.fullmatch(name):
        raise InputError(f"{text!r} names no root: use C1-C8, T1-T13, L1-L6 or S1-S5")
    return name


def read_roots(text: str) -> tuple[tuple[str, str], ...]:
    """Read roots with their sides.

    Parameters
    ----------
    text : str
        Such as ``T10 left, T10 right``; may be empty.

    Returns
    -------
    tuple of (str, str)
        Root and side of the patient, each once.

    Raises
    ------
    InputError
        If a part names no root or no side.
    """
    found = []
    for part in filter(None, (one.strip() for one in text.split(","))):
        words = part.split()
        if len(words) != 2 or words[1].lower() not in _SIDES:
            raise InputError(f"{part!r} names no root with its side: write such as 'T10 left'")
        found.append((read_root(words[0]), words[1].lower()))
    return tuple(dict.fromkeys(found))


@dataclass(frozen=True, slots=True, kw_only=True)
class TheatreChoice:
    """What only the team can say; empty or 0 where nobody said it, and then it prints so."""

    roots_given_up: str = ""  #: such as ``T10 left, T10 right``
    muscles: Mapping[str, str] = field(default_factory=dict)  #: the team's own, by root
    sex: SexChoice = SexChoice.NOT_SAID
    height_cm: float = 0.0
    weight_kg: float = 0.0
    haematocrit_percent: float = 0.0
    haematocrit_least_percent: float = 0.0

    def __post_init__(self) -> None:
        """Bring roots into one form; refuse a least haematocrit above the one before.

        Raises
        ------
        InputError
            If a root or side is not known, or the two haematocrits contradict each other.
        """
        roots = ", ".join(f"{root} {side}" for root, side in read_roots(self.roots_given_up))
        object.__setattr__(self, "roots_given_up", roots)
        muscles = {read_root(root): clean_text(words) for root, words in self.muscles.items()}
        object.__setattr__(self, "muscles", {r: w for r, w in muscles.items() if w})
        before, least = self.haematocrit_percent, self.haematocrit_least_percent
        if before and least > before:
            raise InputError(
                f"haematocrit_least_percent is {least:g}, more than haematocrit_percent "
                f"{before:g}: give less"
            )

    @property
    def roots(self) -> tuple[tuple[str, str], ...]:
        """Roots that are given up, each with its side."""
        return read_roots(self.roots_given_up)
