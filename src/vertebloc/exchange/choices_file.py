"""The team's choices as a commented text file: writing it, and reading it with care."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import Any, cast

from vertebloc.case.choice_words import ArchPart, Placement, RibFateChoice, SoftFace
from vertebloc.case.choices import (
    ArchChoice,
    Choices,
    CuffChoice,
    CutChoice,
    HalfPlacement,
    Override,
    RibChoice,
    SidesChoice,
)
from vertebloc.case.level_choice import LevelChoice
from vertebloc.case.theatre_choice import TheatreChoice
from vertebloc.case.way_out_choice import WayOutChoice
from vertebloc.errors import InputError
from vertebloc.exchange.choices_blocks import read_other_counts, read_overrides
from vertebloc.exchange.choices_entries import (
    ENTRIES,
    OTHER_COUNT,
    OVERRIDE_KEYS,
    RIB_ALLOWED,
    RIB_FATE,
    RIB_LENGTH,
    Entry,
    Path,
    Value,
    key_in_words,
    split_rib,
    values_of,
)
from vertebloc.exchange.choices_lines import Lines, find_lines, line_of, mistake, parse_toml
from vertebloc.exchange.choices_muscles import MUSCLES_HEAD, read_muscles
from vertebloc.exchange.choices_taking import make_value, render_value, shown, take_value
from vertebloc.space.frames import Side

SCHEMA = 1
_BY_PATH = {entry.path: entry for entry in ENTRIES}
_TABLES = {entry.path[:depth] for entry in ENTRIES for depth in range(1, len(entry.path))}
#: Lists of the team's making.
_BLOCKS = ("ribs", "muscles", "override", "other_count")

_HEAD = """\
# The team's choices for this case. Change what you decide otherwise, then plan again.
# Lines that begin with # are for people; one such as #height_mm = 0.0 is an entry out of use:
# take its # away to use it. An entry that is left out or out of use takes its default.
# mm = millimetres. Left and right are the patient's. Words go in "quotes".
# Comments of your own are kept, above an entry or behind it, when the program writes it anew.
# The program never writes over this file without keeping yours under its date and time.
"""
_RIBS_HEAD = f"""\
# Ribs that do not go by the rule: one line a rib, by the vertebra it belongs to.
# length_mm is measured along the rib from its head outwards, mm; left out: by rule.
# Allowed: {RIB_ALLOWED}
[ribs]
#"T10 left" = {{ fate = "removed", length_mm = 35.0 }}
"""
_OVERRIDE_HEAD = """\
# Warnings that a named person sets aside for a reason; both are printed. One block each:
#[[override]]
#what = "the warning, as it was printed"
#who = "name"
#reason = "why it may be set aside"
"""
_OTHER_COUNT_HEAD = """\
# How the diseased vertebra was counted in other series of the same person. One block each.
#[[other_count]]
#series = "which series"
#level = "T10"
#counted_from = "last rib"
#count = 3
#who = "name"
"""


def render_choices(choices: Choices, reasons: Mapping[str, str]) -> str:
    """Write the choices file.

    Parameters
    ----------
    choices : Choices
        What it shall say.
    reasons : mapping of str to str
        Full name of an entry, such as ``level.diseased`` -> why it has the value it has here.

    Returns
    -------
    str
        TOML; before every entry stand its meaning, what is allowed, and why its value.

    Raises
    ------
    InputError
        If a reason is given for an entry that does not exist.
    """
    unknown = sorted(set(reasons) - {entry.key for entry in ENTRIES})
    if unknown:
        raise InputError(f"no entry of the choices file is called {unknown[0]!r}")
    values, defaults = values_of(choices), values_of(Choices())
    parts = [_HEAD, f"schema = {SCHEMA}\n"]
    table: Path = ()
    for entry in ENTRIES:
        is_given = entry.path in values
        mark = "" if is_given else "#"
        if entry.path[:-1] != table:
            table = entry.path[:-1]
            parts.append(f"\n{mark}[{key_in_words(table)}]\n")
        why = reasons.get(entry.key, "")
        parts.append("\n" + "".join(f"# {line}\n" for line in _comment(entry, defaults, why)))
        value = render_value(values.get(entry.path, 0.0))
        parts.append(f"{mark}{key_in_words(entry.path[-1:])} = {value}\n")
    parts.append(f"\n{_RIBS_HEAD}")
    parts += [f"{line}\n" for line in _rib_lines(choices)]
    parts.append(f"\n{MUSCLES_HEAD}")
    parts += [f"{root} = {render_value(said)}\n" for root, said in choices.theatre.muscles.items()]
    parts.append(f"\n{_OVERRIDE_HEAD}")
    for override in choices.overrides:
        parts.append("\n[[override]]\n")
        parts += [f"{k} = {render_value(getattr(override, k))}\n" for k in OVERRIDE_KEYS]
    parts.append(f"\n{_OTHER_COUNT_HEAD}")
    for other in choices.other_counts:
        parts.append("\n[[other_count]]\n")
        parts += [f"{k} = {render_value(getattr(other, k))}\n" for k in OTHER_COUNT]
    return "".join(parts)


def read_choices(text: str) -> Choices:
    """Read the choices file; entries left out take their defaults.

    Parameters
    ----------
    text : str
        Content of the file.

    Returns
    -------
    Choices
        The team's choices.

    Raises
    ------
    InputError
        At the first mistake: names line, key, value found and what is allowed.
    """
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    document = parse_toml(text)
    lines = find_lines(text)
    schema = document.pop("schema", SCHEMA)
    if type(schema) is not int or not 1 <= schema <= SCHEMA:
        raise mistake(
            line_of(lines, ("schema",)),
            f"schema = {shown(schema)} is not read by this vertebloc: use schema = {SCHEMA}, "
            "or the newer vertebloc that wrote it",
        )
    ribs = _read_ribs(document.pop("ribs", {}), lines)
    muscles = read_muscles(document.pop("muscles", {}), lines)
    overrides = read_overrides(document.pop("override", []), lines)
    other_counts = read_other_counts(document.pop("other_count", []), lines)
    values = dict(_read_entries(document, (), lines))
    choices = _choices_from(values, ribs, overrides, lines)
    theatre = replace(choices.theatre, muscles=muscles)
    return replace(choices, other_counts=other_counts, theatre=theatre)


def _comment(entry: Entry, defaults: Mapping[Path, Value], why: str) -> Iterator[str]:
    yield f"{entry.what}."
    yield f"Allowed: {entry.allowed.allowed}"
    if entry.path in defaults:
        because = f" ({entry.why})" if entry.why else ""
        yield f"Default: {render_value(defaults[entry.path])}{because}"
    if why:
        yield f"This value: {' '.join(why.split())}"


def _rib_lines(choices: Choices) -> Iterator[str]:
    for (level, side), rib in choices.ribs.items():
        fate = render_value(rib.fate)
        if rib.length_mm is not None:
            fate = f"{{ fate = {fate}, length_mm = {render_value(rib.length_mm)} }}"
        yield f'"{level} {side.value}" = {fate}'


def _read_entries(
    found: Mapping[str, Any], table: Path, lines: Lines
) -> Iterator[tuple[Path, Value]]:
    for key, value in found.items():
        path = (*table, key)
        if path in _TABLES and isinstance(value, dict):
            yield from _read_entries(value, path, lines)
        elif path in _BY_PATH:
            entry = _BY_PATH[path]
            allowed = entry.allowed
            yield path, cast(Value, take_value(allowed.take, value, allowed.allowed, path, lines))
        else:
            raise mistake(line_of(lines, path), _unknown(path, value))


def _unknown(path: Path, value: object) -> str:
    known = [
        *(entry.key for entry in ENTRIES),
        *map(key_in_words, _TABLES),
        *_BLOCKS,
    ]
    key = key_in_words(path)
    depth = len(path)
    here = {key_in_words(e.path[:depth]) for e in ENTRIES if e.path[: depth - 1] == path[:-1]}
    here |= set(_BLOCKS) if depth == 1 else set()
    if path in _TABLES:
        return f"{key} = {shown(value)} is not allowed: it is a table, written [{key}]"
    by_name = [k for k in known if k.rsplit(".", 1)[-1] == path[-1]]
    near = by_name or difflib.get_close_matches(key, known, n=1, cutoff=0.5)
    asked = f"did you mean {near[0]}? " if near else ""
    allowed = f"known here: {', '.join(sorted(here) or sorted(known))}"
    return f"there is no entry {key} = {shown(value)}: {asked}{allowed}"


def _read_ribs(found: object, lines: Lines) -> dict[tuple[str, Side], RibChoice]:
    if not isinstance(found, dict):
        raise mistake(
            line_of(lines, ("ribs",)), f"ribs = {shown(found)} is not allowed: write [ribs]"
        )
    ribs: dict[tuple[str, Side], RibChoice] = {}
    for key, value in found.items():
        path = ("ribs", key)
        try:
            rib = split_rib(key)
        except InputError as error:
            raise mistake(
                line_of(lines, path),
                f"ribs.{key_in_words((key,))} = {shown(value)} names no rib: "
                'use a vertebra T1-T13 and a side, such as "T10 left"',
            ) from error
        if rib in ribs:
            raise mistake(
                line_of(lines, path),
                f"ribs.{key_in_words((key,))} = {shown(value)} is there twice",
            )
        ribs[rib] = _read_rib(path, value, lines)
    return ribs


def _read_rib(path: Path, found: object, lines: Lines) -> RibChoice:
    if not isinstance(found, dict):
        return RibChoice(fate=_fate(found, RIB_ALLOWED, path, lines))
    for key, value in found.items():
        if key not in ("fate", "length_mm"):
            raise mistake(
                line_of(lines, (*path, key)),
                f"there is no entry {key_in_words((*path, key))} = {shown(value)}: "
                "use fate and length_mm",
            )
    fate_path, length_path = (*path, "fate"), (*path, "length_mm")
    if "fate" not in found:
        raise mistake(
            line_of(lines, path),
            f"{key_in_words(fate_path)} is missing from {shown(found)}: use {RIB_FATE.allowed}",
        )
    fate = _fate(found["fate"], RIB_FATE.allowed, fate_path, lines)
    length_mm = None
    if "length_mm" in found:
        allowed = RIB_LENGTH.allowed
        length_mm = take_value(RIB_LENGTH.take, found["length_mm"], allowed, length_path, lines)
    return make_value(partial(RibChoice, fate=fate, length_mm=length_mm), path, lines)


def _fate(found: object, allowed: str, path: Path, lines: Lines) -> RibFateChoice:
    return RibFateChoice(take_value(RIB_FATE.take, found, allowed, path, lines))


def _choices_from(
    values: Mapping[Path, Value],
    ribs: Mapping[tuple[str, Side], RibChoice],
    overrides: tuple[Override, ...],
    lines: Lines,
) -> Choices:
    def below(*table: str) -> dict[str, Any]:
        return {path[-1]: value for path, value in values.items() if path[:-1] == table}

    parts = {ArchPart(name): fate for name, fate in below("arch", "parts").items()}
    cuffs = {
        face: make_value(
            partial(CuffChoice, **below("cuff", face.value)), ("cuff", face.value), lines
        )
        for face in SoftFace
    }
    made = partial(
        Choices,
        **below(),
        level=make_value(partial(LevelChoice, **below("level")), ("level",), lines),
        cranial_cut=_cut_from("cranial", values, lines),
        caudal_cut=_cut_from("caudal", values, lines),
        arch=ArchChoice(**below("arch"), parts=parts),
        way_out=make_value(partial(WayOutChoice, **below("way_out")), ("way_out",), lines),
        ribs=ribs,
        cuffs=cuffs,
        sides=make_value(partial(SidesChoice, **below("sides")), ("sides",), lines),
        overrides=overrides,
        theatre=make_value(partial(TheatreChoice, **below("theatre")), ("theatre",), lines),
    )
    acts = values.get(("acts_order",), ())
    make_value(partial(Choices, acts_order=cast(Any, acts)), ("acts_order",), lines)
    return make_value(made, ("kind",), lines)


def _cut_from(cut: str, values: Mapping[Path, Any], lines: Lines) -> CutChoice:
    placed_path = ("cuts", cut, "placed")
    placed = values.get(placed_path, Placement.BY_RULE)
    halves = {}
    for side in Side:
        table = ("cuts", cut, side.value)
        found = {path[-1]: value for path, value in values.items() if path[:-1] == table}
        if placed is Placement.BY_RULE and found:
            path = (*table, next(iter(found)))
            raise mistake(
                line_of(lines, path),
                f"{key_in_words(path)} = {shown(values[path])} goes with "
                f'{key_in_words(placed_path)} = "by hand" only: set that, or take the line out',
            )
        if placed is Placement.BY_HAND:
            path = (*table, "height_mm")
            if path not in values:
                raise mistake(
                    line_of(lines, placed_path),
                    f'{key_in_words(placed_path)} = "by hand" needs {key_in_words(path)}, '
                    f"which is missing: give {_BY_PATH[path].allowed.allowed}",
                )
            halves[side] = HalfPlacement(**found)
    return CutChoice(placed=placed, halves=halves)
