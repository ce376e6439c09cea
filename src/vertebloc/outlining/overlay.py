"""Drawn outlines laid over those that came in from a file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.contours import LabelMap
from vertebloc.anatomy.structures import Contour
from vertebloc.errors import InputError
from vertebloc.outlining.model import OutlineMask
from vertebloc.space.grids import Grid, Volume

_MOST = 65535


def lay_over(base: LabelMap | None, grid: Grid, drawn: Mapping[Contour, OutlineMask]) -> LabelMap:
    """A label map in which drawn outlines stand in the place of those of the same name.

    Parameters
    ----------
    base : LabelMap or None
        What came in from a file; None: nothing.
    grid : Grid
        Of the images and of ``base``.
    drawn : mapping of Contour to OutlineMask
        Drawn ones; an empty one leaves its structure without a voxel.

    Returns
    -------
    LabelMap
        All other outlines as they were; where outlines overlap, one number stands for all.

    Raises
    ------
    InputError
        If the label map lies on another grid, or there are more than 65535 kinds of overlap.
    """
    if base is not None and base.volume.grid.shape != grid.shape:
        raise InputError(
            f"the label map has {base.volume.grid.shape} voxels, the images {grid.shape}: import "
            "the outlines again"
        )
    labels, names = _without(base, grid, set(drawn))
    numbers = {held: value for value, held in names.items()}
    names[0] = ()
    for contour, mask in drawn.items():
        if mask.is_empty:
            continue
        box = tuple(slice(a, b) for a, b in zip(mask.start, mask.stop, strict=True))
        here = labels[box]
        for old in np.unique(here[mask.inside]).tolist():
            held = (*names[old], contour)
            if held not in numbers:
                number = max(names) + 1
                if number > _MOST:
                    raise InputError(f"the outlines overlap in more than {_MOST} different ways")
                names[number], numbers[held] = held, number
            here[mask.inside & (here == old)] = numbers[held]
    del names[0]
    if max(names, default=0) < 256:
        labels = labels.astype(np.uint8)
    return LabelMap(Volume(grid, labels), names)


def _without(
    base: LabelMap | None, grid: Grid, taken: set[Contour]
) -> tuple[NDArray[Any], dict[int, tuple[Contour, ...]]]:
    """Labels renumbered 1, 2, 3 ..., with some outlines taken out."""
    if base is None:
        return np.zeros(grid.shape, dtype=np.uint16), {}
    names: dict[int, tuple[Contour, ...]] = {}
    numbers: dict[tuple[Contour, ...], int] = {}
    present = sorted(base.boxes())
    table = np.zeros(max(present, default=0) + 1, dtype=np.uint16)
    for value in {*present, *base.names}:
        held = tuple(c for c in base.names.get(value, ()) if c not in taken)
        if not held:
            continue
        if held not in numbers:
            number = len(numbers) + 1
            if number > _MOST:
                raise InputError(f"the outlines overlap in more than {_MOST} different ways")
            numbers[held], names[number] = number, held
        if value < len(table):
            table[value] = numbers[held]
    return table[np.asarray(base.volume.values)], names


def mask_of(base: LabelMap | None, contour: Contour) -> OutlineMask:
    """The voxels of an outline that came in from a file.

    Parameters
    ----------
    base : LabelMap or None
        Where to look.
    contour : Contour
        Which.

    Returns
    -------
    OutlineMask
        Empty if it is not there.
    """
    if base is None:
        return OutlineMask.empty()
    boxes = base.boxes()
    values = sorted(set(base.values_of(contour)) & boxes.keys())
    if not values:
        return OutlineMask.empty()
    low = np.min([[r.start for r in boxes[v]] for v in values], axis=0)
    high = np.max([[r.stop for r in boxes[v]] for v in values], axis=0)
    box = tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))
    return OutlineMask.of(low, np.isin(base.volume.values[box], values))
