"""What an outline's name and code in a foreign file stand for, and the other way round."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from vertebloc.anatomy import structures
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.space.frames import Side

_LEVEL = re.compile(r"(?<![A-Z0-9])([CTLS])\s?(\d{1,2})(?![A-Z0-9])")
#: words that other people's files use, beside our own; the longest that fits is taken
_ALSO = {
    "gtv": Structure.TUMOUR,
    "tumor": Structure.TUMOUR,
    "neoplasm": Structure.TUMOUR,
    "thecal sac": Structure.SAC,
    "dural sac": Structure.SAC,
    "dura mater": Structure.SAC,
    "cord": Structure.CORD,
    "spinalcord": Structure.CORD,
    "spinalcanal": Structure.CANAL,
    "esophagus": Structure.OESOPHAGUS,
    "intervertebral disc": Structure.DISC,
    "biopsy track": Structure.TRACT,
    "nerveroot": Structure.ROOT,
}
_WORDS = {**{s.value: s for s in Structure if s is not Structure.OTHER}, **_ALSO}
_LONGEST_FIRST = sorted(_WORDS, key=len, reverse=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class ForeignName:
    """What a file says about one outline."""

    label: str
    description: str = ""
    code: str = ""  #: SNOMED CT
    side: Side | None = None


def contours_of(
    names: Mapping[int, ForeignName],
) -> tuple[dict[int, Contour], tuple[str, ...]]:
    """Find what foreign outlines are of, and say where that was read from foreign words.

    Parameters
    ----------
    names : mapping of int to ForeignName
        What the file says, by its number.

    Returns
    -------
    contours : dict of int to Contour
        By the same number.
    notes : tuple of str
        Each outline whose own words were not ours, and what it is taken for: to be looked at.
    """
    found = {number: contour_of(name) for number, name in names.items()}
    taken, unknown = [], []
    for number, contour in found.items():
        said = names[number].label.strip()
        if contour.words in (said, names[number].description.strip()):
            continue
        if contour.structure is Structure.OTHER:
            unknown.append(repr(said))
        else:
            taken.append(f"{said!r} for {contour.words}")
    notes = [f"taken by their names or codes, check them: {'; '.join(taken)}"] if taken else []
    if unknown:
        notes.append(f"not known here, kept under their own names: {', '.join(unknown)}")
    return found, tuple(notes)


def contour_of(name: ForeignName) -> Contour:
    """Find what a foreign outline is of.

    Parameters
    ----------
    name : ForeignName
        What the file says.

    Returns
    -------
    Contour
        Our own words first (a file that we wrote), then the SNOMED CT code, then words in the
        label; what nobody here knows is kept as other, under its own name.
    """
    for text in (name.description, name.label):
        own = _own_words(text)
        if own is not None:
            return own
    said = f"{name.label} {name.description}"
    side, level = name.side or _side(said), _level(said)
    by_code = structures.by_code(name.code)
    if by_code is not None:
        return Contour(by_code.structure, by_code.level or level, side)
    plain = re.sub(r"[_\-.,;]+", " ", said).casefold()
    for word in _LONGEST_FIRST:
        if re.search(rf"(?<![a-z]){re.escape(word)}s?(?![a-z])", plain):
            return Contour(_WORDS[word], level, side)
    if level is not None and re.fullmatch(r"\s*[CTLS]\s?\d{1,2}\s*", name.label.upper()):
        return Contour(Structure.VERTEBRA, level)  # a bare level means the whole vertebra
    return Contour(Structure.OTHER, part=name.label.strip() or "no name")


def _own_words(text: str) -> Contour | None:
    """The outline whose words these are, exactly."""
    found = re.fullmatch(r"(?:(left|right) )?([^,]+?)(?:, (.+?))?(?: of ([CTLS]\d{1,2}))?", text)
    if found is None:
        return None
    side, word, part, level = found.groups()
    try:
        structure = Structure(word)
        contour = Contour(
            structure, Level(level) if level else None, Side(side) if side else None, part
        )
    except (ValueError, InputError):
        return None
    return contour if contour.words == text else None


def _side(text: str) -> Side | None:
    words = set(re.split(r"[^a-z]+", text.casefold()))
    sides = [s for s, known in ((Side.LEFT, {"left", "lt"}), (Side.RIGHT, {"right", "rt"})) if
             words & known]  # fmt: skip
    return sides[0] if len(sides) == 1 else None


def _level(text: str) -> Level | None:
    found = {m.group(1) + m.group(2) for m in _LEVEL.finditer(re.sub("_", " ", text.upper()))}
    if len(found) != 1:
        return None
    try:
        return Level(found.pop())
    except InputError:
        return None
