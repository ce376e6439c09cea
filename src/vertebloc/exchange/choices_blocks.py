"""Blocks of the choices file that may come several times: warnings set aside, other counts."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, cast

from vertebloc.case.choices import Override
from vertebloc.case.level_choice import OtherCount
from vertebloc.exchange.choices_allowed import Text
from vertebloc.exchange.choices_entries import OTHER_COUNT, OVERRIDE_KEYS
from vertebloc.exchange.choices_lines import Lines, line_of, mistake
from vertebloc.exchange.choices_taking import make_value, shown, take_value


def read_overrides(found: object, lines: Lines) -> tuple[Override, ...]:
    """Read the warnings that are set aside.

    Parameters
    ----------
    found : object
        What the file says there.
    lines : dict
        Where the entries stand.

    Returns
    -------
    tuple of Override
        In the order of the file.

    Raises
    ------
    InputError
        At the first mistake: names its line.
    """
    if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
        raise mistake(
            line_of(lines, ("override",)),
            f"override = {shown(found)} is not allowed: write [[override]] blocks",
        )
    overrides = []
    for number, one in enumerate(found):
        path = ("override", str(number))
        for key, value in one.items():
            if key not in OVERRIDE_KEYS:
                raise mistake(
                    line_of(lines, (*path, key)),
                    f"there is no entry override.{key} = {shown(value)}: use what, who, reason",
                )
            take_value(Text().take, value, Text().allowed, (*path, key), lines)
        texts = {key: one.get(key, "") for key in OVERRIDE_KEYS}
        overrides.append(make_value(partial(Override, **texts), path, lines))
    return tuple(overrides)


def read_other_counts(found: object, lines: Lines) -> tuple[OtherCount, ...]:
    """Read the counts in other series.

    Parameters
    ----------
    found : object
        What the file says there.
    lines : dict
        Where the entries stand.

    Returns
    -------
    tuple of OtherCount
        In the order of the file.

    Raises
    ------
    InputError
        At the first mistake: names its line.
    """
    if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
        raise mistake(
            line_of(lines, ("other_count",)),
            f"other_count = {shown(found)} is not allowed: write [[other_count]] blocks",
        )
    counts = []
    for number, one in enumerate(found):
        path = ("other_count", str(number))
        given: dict[str, Any] = {"series": "", "level": ""}
        for key, value in one.items():
            if key not in OTHER_COUNT:
                raise mistake(
                    line_of(lines, (*path, key)),
                    f"there is no entry other_count.{key} = {shown(value)}: "
                    f"use {', '.join(OTHER_COUNT)}",
                )
            allowed = OTHER_COUNT[key]
            take = cast(Callable[[object], Any], allowed.take)
            given[key] = take_value(take, value, allowed.allowed, (*path, key), lines)
        counts.append(make_value(partial(OtherCount, **given), path, lines))
    return tuple(counts)
