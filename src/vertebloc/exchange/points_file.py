"""Pairs of points from a text file: the same places in the CT and in a second scan."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

from vertebloc.errors import InputError

COLUMNS = ("ct_x", "ct_y", "ct_z", "second_x", "second_y", "second_z")

Pair = tuple[tuple[float, ...], tuple[float, ...]]


def read_point_pairs(path: Path) -> tuple[Pair, ...]:
    """Read pairs of points.

    Parameters
    ----------
    path : Path
        Text with commas: a first line with the six names of ``COLUMNS``, then a line a pair,
        mm, patient LPS (+x left, +y back, +z head).

    Returns
    -------
    tuple of ((3 floats), (3 floats)), mm
        Point in the CT, point in the second scan.

    Raises
    ------
    InputError
        If the file is not there, a name is missing, or a line holds something else.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError as error:
        raise InputError(f"{path} is not there: give a file of point pairs") from error
    except (UnicodeDecodeError, OSError) as error:
        raise InputError(f"{path} cannot be read as UTF-8 text: {error}") from error
    rows = [row for row in csv.reader(io.StringIO(text)) if any(cell.strip() for cell in row)]
    head = tuple(cell.strip() for cell in rows[0]) if rows else ()
    if head != COLUMNS:
        raise InputError(
            f"{path.name}: the first line must be {','.join(COLUMNS)}, found {','.join(head)!r}"
        )
    return tuple(_pair(path.name, place, row) for place, row in enumerate(rows[1:], start=2))


def _pair(name: str, line: int, row: list[str]) -> Pair:
    try:
        numbers = tuple(float(cell) for cell in row)
    except ValueError:
        numbers = ()
    if len(numbers) != len(COLUMNS) or not all(map(math.isfinite, numbers)):
        raise InputError(f"{name}, line {line}: six numbers in mm are wanted, found {row!r}")
    return numbers[:3], numbers[3:]
