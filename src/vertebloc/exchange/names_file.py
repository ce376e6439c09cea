"""Names files (JSON): what the numbers of a label map, or a set of surface files, stand for.

``{"about": "...", "labels": [{"value": 34, "structure": "vertebra", "level": "T10"}, ...]}``
with ``level``, ``side``, ``part`` and ``also`` (further meanings of the same voxels) where they
apply, or ``{"surfaces": [{"file": "tumour.ply", "structure": "tumour"}, ...]}``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.exchange.aside import write_file_aside
from vertebloc.space.frames import Side

_MEANING = ("structure", "level", "side", "part")
_HIGHEST = 2**31 - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class NamesFile:
    """What a names file says."""

    about: str = ""
    labels: Mapping[int, tuple[Contour, ...]] = field(default_factory=dict)
    surfaces: tuple[tuple[str, Contour], ...] = ()  #: file name beside the names file, meaning
    notes: tuple[str, ...] = ()  #: words nobody here knows: kept, shown, not used

    def __post_init__(self) -> None:
        """Freeze the labels."""
        object.__setattr__(self, "labels", MappingProxyType(dict(self.labels)))


def read_names_file(path: Path) -> NamesFile:
    """Read a names file.

    Parameters
    ----------
    path : Path
        A JSON file in UTF-8.

    Returns
    -------
    NamesFile
        Labels, surfaces, and notes on structures that are not known.

    Raises
    ------
    InputError
        If it is no JSON, or an entry is not as described; names the entry.
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8-sig"), object_pairs_hook=_no_twice)
    except FileNotFoundError as error:
        raise InputError(f"{path} is not there: give the file that names the labels") from error
    except InputError as error:
        raise InputError(f"{path}: {error}") from error
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path} is not JSON in UTF-8: {error}") from error
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}") from error
    return _Reader(str(path)).file(data)


def write_names_file(path: Path, names: NamesFile) -> None:
    """Write a names file; the same names give the same bytes.

    Parameters
    ----------
    path : Path
        Where to; a file that is there is replaced.
    names : NamesFile
        What to say. Notes are not written.
    """
    with write_file_aside(path) as file:
        file.write(names_bytes(names))


def names_bytes(names: NamesFile) -> bytes:
    """A names file's bytes.

    Parameters
    ----------
    names : NamesFile
        What to say. Notes are not written.

    Returns
    -------
    bytes
        JSON in UTF-8.
    """
    data: dict[str, Any] = {"about": names.about} if names.about else {}
    if names.labels:
        data["labels"] = [
            {"value": value, **contour_entry(meanings[0])}
            | ({"also": [contour_entry(more) for more in meanings[1:]]} if meanings[1:] else {})
            for value, meanings in sorted(names.labels.items())
        ]
    if names.surfaces:
        data["surfaces"] = [{"file": file, **contour_entry(what)} for file, what in names.surfaces]
    return (json.dumps(data, indent=1, ensure_ascii=False) + "\n").encode()


def contour_entry(contour: Contour) -> dict[str, str]:
    """What an outline is of, as names files write it.

    Parameters
    ----------
    contour : Contour
        Structure, and level, side and part where they apply.

    Returns
    -------
    dict of str to str
        Plain text.
    """
    part = contour.part
    entry = {"structure": contour.structure.value}
    if contour.structure is Structure.OTHER and part:  # its own word, as it came in
        entry["structure"], _, part = part.partition(", ")
    if contour.level is not None:
        entry["level"] = contour.level.name
    if contour.side is not None:
        entry["side"] = contour.side.value
    if part:
        entry["part"] = part
    return entry


def contour_of_entry(entry: Mapping[str, Any], path: str, where: str) -> Contour:
    """What an entry written by ``contour_entry`` is of.

    Parameters
    ----------
    entry : mapping
        Parsed JSON; other keys are not looked at.
    path, where : str
        File and entry, for messages.

    Returns
    -------
    Contour
        The outline's meaning.

    Raises
    ------
    InputError
        If it is not as described.
    """
    meaning = {key: entry[key] for key in _MEANING if key in entry}
    return _Reader(path).contour(meaning, where)


def _no_twice(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise InputError(f"the key {twice!r} stands twice in one entry")
    return found


class _Reader:
    """Turns parsed JSON into meanings; every message begins with file and entry."""

    def __init__(self, path: str) -> None:
        self._path = path
        self._unknown: dict[str, None] = {}

    def file(self, data: Any) -> NamesFile:
        """Read the whole file."""
        self._object(data, "the file", ("about", "labels", "surfaces"))
        about = self._text(data, "about", "the file") or ""
        labels: dict[int, tuple[Contour, ...]] = {}
        for where, entry in self._list(data, "labels"):
            self._object(entry, where, ("value", *_MEANING, "also"))
            value = entry.get("value")
            if type(value) is not int or not 1 <= value <= _HIGHEST:
                raise self._wrong(where, "value", value, f"a whole number from 1 to {_HIGHEST}")
            where = f"{where} (value {value})"
            if value in labels:
                raise InputError(f"{self._path}: {where}: the value is named twice")
            labels[value] = (self.contour(entry, where), *self._also(entry, where))
        surfaces = []
        for where, entry in self._list(data, "surfaces"):
            self._object(entry, where, ("file", *_MEANING))
            file = self._text(entry, "file", where)
            if not file or Path(file).is_absolute() or ".." in Path(file).parts:
                raise self._wrong(where, "file", file, "a file name beside the names file")
            surfaces.append((file, self.contour(entry, where)))
        if not labels and not surfaces:
            raise InputError(f"{self._path} names nothing: it needs a list 'labels' or 'surfaces'")
        notes = (
            (f"structures that are not known, kept but not used: {', '.join(self._unknown)}",)
            if self._unknown
            else ()
        )
        return NamesFile(about=about, labels=labels, surfaces=tuple(surfaces), notes=notes)

    def _also(self, entry: Mapping[str, Any], where: str) -> list[Contour]:
        found = []
        for number, (_, more) in enumerate(self._list(entry, "also"), 1):
            place = f"{where}, also {number}"
            self._object(more, place, _MEANING)
            found.append(self.contour(more, place))
        return found

    def contour(self, entry: Mapping[str, Any], where: str) -> Contour:
        """Read what one outline is of."""
        word = self._text(entry, "structure", where)
        if not word:
            raise self._wrong(where, "structure", word, f"one of {_words(Structure)}")
        part = self._text(entry, "part", where)
        try:
            structure = Structure(word)
        except ValueError:
            self._unknown[word] = None
            structure, part = Structure.OTHER, f"{word}, {part}" if part else word
        level = self._text(entry, "level", where)
        side = self._text(entry, "side", where)
        try:
            parsed = Level.parse(level) if level else None
        except InputError as error:
            raise InputError(f"{self._path}: {where}: level: {error}") from error
        if side and side not in [known.value for known in Side]:
            raise self._wrong(where, "side", side, f"one of {_words(Side)}")
        return Contour(structure, parsed, Side(side) if side else None, part or None)

    def _list(self, data: Mapping[str, Any], key: str) -> list[tuple[str, Any]]:
        found = data.get(key, [])
        if not isinstance(found, list):
            raise self._wrong("the file", key, found, "a list in [ ]")
        return [(f"{key} entry {number}", entry) for number, entry in enumerate(found, 1)]

    def _object(self, data: Any, where: str, allowed: Sequence[str]) -> None:
        if not isinstance(data, dict):
            raise InputError(f"{self._path}: {where} must be an entry in {{ }}, got {data!r}")
        for key in data:
            if key not in allowed:
                raise InputError(
                    f"{self._path}: {where}: the key {key!r} is not known; allowed: "
                    f"{', '.join(allowed)}"
                )

    def _text(self, data: Mapping[str, Any], key: str, where: str) -> str | None:
        value = data.get(key)
        if value is not None and not isinstance(value, str):
            raise self._wrong(where, key, value, "text in quotation marks")
        return value.strip() if value else value

    def _wrong(self, where: str, key: str, found: object, allowed: str) -> InputError:
        got = "it is missing" if found is None else f"got {found!r}"
        return InputError(f"{self._path}: {where}: {key} must be {allowed}; {got}")


def _words(kind: type[Structure] | type[Side]) -> str:
    return ", ".join(member.value for member in kind)
