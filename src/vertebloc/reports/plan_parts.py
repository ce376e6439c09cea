"""Words, numbers and choices that a person changes in place, and what was typed into them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from typing import TypeVar

from vertebloc.errors import InputError

_Word = TypeVar("_Word", bound=Enum)


@dataclass(frozen=True, slots=True)
class Words:
    """Plain words of the paragraph."""

    words: str
    begins: bool = False  #: a word that begins a line, and says what the line is about


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """A number that can be typed or dragged."""

    part: str  #: such as ``cranial.both.height``
    label: str  #: said by a screen reader
    value: float | None  #: None: nothing typed, it goes by the rule
    unit: str
    low: float
    high: float
    step: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A word that can be chosen among a few."""

    part: str
    label: str
    value: str
    allowed: tuple[tuple[str, str], ...]  #: value and words of each


Part = Words | Number | Choice


def read_number(name: str, typed: str, limits: tuple[float, float], unit: str) -> float:
    """What was typed, with or without its own unit, within what can be meant.

    Parameters
    ----------
    name : str
        The number's name as people say it.
    typed : str
        As typed.
    limits : tuple of (float, float)
        Least and most that can be meant, in the unit.
    unit : str
        Such as ``mm``.

    Returns
    -------
    float
        In the unit.

    Raises
    ------
    InputError
        If it is no number, or outside the limits.
    """
    low, high = limits
    allowed = f"use a number from {low:g} to {high:g} {unit}"
    said = typed.strip().replace("\N{MINUS SIGN}", "-").replace(",", ".")
    try:
        value = float(said.removesuffix(unit))
    except ValueError as error:
        raise InputError(f"{typed!r} is no number for {name}: {allowed}") from error
    if not (math.isfinite(value) and low <= value <= high):
        raise InputError(f"{name} is {value:g} {unit}: {allowed}")
    return value


def read_word(words_of: type[_Word], typed: str) -> _Word:
    """The word that was chosen.

    Parameters
    ----------
    words_of : type of Enum
        All words that may be.
    typed : str
        As chosen.

    Returns
    -------
    Enum
        The word.

    Raises
    ------
    InputError
        If it is none of them.
    """
    try:
        return words_of(typed)
    except ValueError as error:
        allowed = ", ".join(repr(word.value) for word in words_of)
        raise InputError(f"{typed!r} cannot be chosen: use one of {allowed}") from error
