"""What a result was computed from, and what has changed since."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from enum import Enum

from vertebloc.case.choices import Choices
from vertebloc.errors import InputError

#: What each input is called in a sentence, in the order in which changes are told.
INPUT_WORDS: Mapping[str, str] = {
    "ct": "the CT was",
    "labels": "the contours were",
    "names": "the names of the contours were",
    "surfaces": "the contour surfaces were",
    "drawn": "the drawn outlines were",
    "second": "the other scan was",
    "second_place": "what is known of where the other scan lies was",
    "choices": "the team's choices were",
    "way_out": "the way out was",
    "package_version": "the version of vertebloc was",
    "schema": "the schema of the case folder was",
}
_SAID_AS_IS = ("package_version", "schema")  # short values people can read; the rest are hashes


@dataclass(frozen=True, slots=True)
class Inputs:
    """What a result was computed from: one hash, or short value, for each input.

    Holds nothing of the person, not even a hash: a hash of a name can be found by trying.
    """

    entries: tuple[tuple[str, str], ...]

    def __post_init__(self) -> None:
        """Bring the entries into the one order.

        Raises
        ------
        InputError
            If an input is unknown, named twice, or empty.
        """
        order = tuple(INPUT_WORDS)
        names = [name for name, _ in self.entries]
        for name, value in self.entries:
            if name not in order:
                raise InputError(f"{name!r} is no input of a plan: use {', '.join(order)}")
            if not value:
                raise InputError(f"the input {name!r} has no hash")
        if len(set(names)) != len(names):
            raise InputError(f"an input is named twice: {', '.join(names)}")
        ordered = tuple(sorted(self.entries, key=lambda entry: order.index(entry[0])))
        object.__setattr__(self, "entries", ordered)

    @staticmethod
    def of(hashes: Mapping[str, str]) -> Inputs:
        """Make inputs from a mapping of input name to hash.

        Parameters
        ----------
        hashes : mapping of str to str
            Keys as in ``INPUT_WORDS``.

        Returns
        -------
        Inputs
            The same, in the one order.
        """
        return Inputs(tuple(hashes.items()))

    def as_dict(self) -> dict[str, str]:
        """Copy into a plain dict, in order."""
        return dict(self.entries)


def what_changed(before: Inputs, now: Inputs) -> tuple[str, ...]:
    """Say what changed between a result's inputs and the inputs of today.

    Parameters
    ----------
    before : Inputs
        What the result was computed from.
    now : Inputs
        What it would be computed from today.

    Returns
    -------
    tuple of str
        One sentence each, such as ``the contours were changed after this plan was computed``;
        empty if nothing changed.
    """
    old, new = before.as_dict(), now.as_dict()
    reasons = []
    for name, words in INPUT_WORDS.items():
        if old.get(name) == new.get(name):
            continue
        if name not in old:
            verb = "added"
        elif name not in new:
            verb = "removed"
        else:
            verb = "changed"
        shown = ""
        if verb == "changed" and name in _SAID_AS_IS:
            shown = f" from {old[name]} to {new[name]}"
        reasons.append(f"{words} {verb}{shown} after this plan was computed")
    return tuple(reasons)


def hash_of_meaning(choices: Choices) -> str:
    """Hash of what the choices mean, blind to comments, spaces and the order of a file.

    Parameters
    ----------
    choices : Choices
        The team's choices, as read.

    Returns
    -------
    str
        SHA-256, 64 hexadecimal digits.
    """
    return hashlib.sha256(canonical_bytes(choices)).hexdigest()


def canonical_bytes(value: object, leave_out: tuple[str, ...] = ()) -> bytes:
    """Write a value down in exactly one way, so that equal values have equal bytes.

    Parameters
    ----------
    value : object
        Text, number, truth value, None, enum, dataclass, or a mapping or sequence of these.
    leave_out : tuple of str
        Keys of the outermost mapping that do not count, such as ``stale``.

    Returns
    -------
    bytes
        The same for mappings of any order, and for 5 and 5.0.

    Raises
    ------
    InputError
        If a number is not finite, or the value is of another kind.
    """
    if leave_out and isinstance(value, Mapping):
        value = {key: item for key, item in value.items() if key not in leave_out}
    return _canonical(value).encode("utf-8", "surrogatepass")


def _canonical(value: object) -> str:
    if value is None or isinstance(value, bool):
        return f"={value}"
    if isinstance(value, Enum):
        return f"enum {type(value).__name__}.{value.name}"
    if isinstance(value, str):
        return f"text {len(value)}:{value}"
    if isinstance(value, int | float):
        return _canonical_number(value)
    if is_dataclass(value) and not isinstance(value, type):
        inner = ",".join(f"{f.name}:{_canonical(getattr(value, f.name))}" for f in fields(value))
        return f"{type(value).__name__}({inner})"
    if isinstance(value, Mapping):
        pairs = sorted(f"{_canonical(key)}:{_canonical(item)}" for key, item in value.items())
        return "{" + ",".join(pairs) + "}"
    if isinstance(value, list | tuple):
        return "[" + ",".join(_canonical(item) for item in value) + "]"
    raise InputError(f"a {type(value).__name__} cannot be hashed: use text, numbers and lists")


def _canonical_number(value: int | float) -> str:
    if not math.isfinite(value):
        raise InputError(f"{value} cannot be hashed: a result must be a finite number")
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return f"number {value!r}" if type(value) is int else f"number {float(value)!r}"
