"""Masks that may overlap as one label map, and a label map as masks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.contours import LabelMap
from vertebloc.anatomy.structures import Contour
from vertebloc.errors import InputError
from vertebloc.space.grids import Grid, Volume

Start = tuple[int, int, int]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoxedMask:
    """A mask on a part of a grid."""

    start: Start  #: first index of the box
    inside: NDArray[np.bool_]  #: (ni, nj, nk) of the box


def join_masks(grid: Grid, masks: Sequence[tuple[Contour, BoxedMask | None]]) -> LabelMap:
    """Lay masks over each other; where they overlap, a number stands for all of them.

    Parameters
    ----------
    grid : Grid
        Where they lie.
    masks : sequence of (Contour, BoxedMask or None)
        Each outline's mask; None if it has no voxel.

    Returns
    -------
    LabelMap
        uint8 or uint16: every outline has a number of its own, each overlap a further one.

    Raises
    ------
    InputError
        If there are more than 65535 kinds of overlap.
    """
    labels: NDArray[Any] = np.zeros(grid.shape, dtype=np.uint16)
    names: dict[int, tuple[Contour, ...]] = {n: (c,) for n, (c, _) in enumerate(masks, start=1)}
    numbers: dict[tuple[int, ...], int] = {(n,): n for n in names}
    parts: dict[int, tuple[int, ...]] = {0: (), **{n: (n,) for n in names}}
    for own, (_, mask) in enumerate(masks, start=1):
        if mask is None:
            continue
        box = tuple(
            slice(low, low + size) for low, size in zip(mask.start, mask.inside.shape, strict=True)
        )
        here = labels[box]
        below = here[mask.inside]
        renamed = np.zeros(len(parts), dtype=np.uint16)
        for old in np.unique(below).tolist():
            key = (*parts[old], own)
            if key not in numbers:
                number = len(parts)
                if number > 65535:
                    raise InputError("the outlines overlap in more than 65535 different ways")
                numbers[key], parts[number] = number, key
                names[number] = tuple(masks[n - 1][0] for n in key)
            renamed[old] = numbers[key]
        here[mask.inside] = renamed[below]
    if len(parts) <= 256:
        labels = labels.astype(np.uint8)
    return LabelMap(Volume(grid, labels), names)


def split_masks(label_map: LabelMap) -> Mapping[Contour, BoxedMask | None]:
    """Each outline of a label map as a mask of its own.

    Parameters
    ----------
    label_map : LabelMap
        Outlines, possibly overlapping.

    Returns
    -------
    mapping of Contour to BoxedMask or None
        In the order of the names; None for an outline without a voxel.
    """
    boxes = label_map.boxes()
    found: dict[Contour, BoxedMask | None] = {}
    for contour in dict.fromkeys(c for named in label_map.names.values() for c in named):
        values = sorted(set(label_map.values_of(contour)) & boxes.keys())
        if not values:
            found[contour] = None
            continue
        start = np.min([[r.start for r in boxes[v]] for v in values], axis=0)
        stop = np.max([[r.stop for r in boxes[v]] for v in values], axis=0)
        box = tuple(slice(int(a), int(b)) for a, b in zip(start, stop, strict=True))
        inside = np.isin(label_map.volume.values[box], values)
        found[contour] = BoxedMask(
            start=(int(start[0]), int(start[1]), int(start[2])), inside=inside
        )
    return found


def boxed(inside: NDArray[np.bool_]) -> BoxedMask | None:
    """Cut a mask to its own box; None if it is empty."""
    ranges = []
    for axis in range(3):
        where = np.flatnonzero(inside.any(axis=tuple(a for a in range(3) if a != axis)))
        if not len(where):
            return None
        ranges.append(slice(int(where[0]), int(where[-1]) + 1))
    start = (ranges[0].start, ranges[1].start, ranges[2].start)
    return BoxedMask(start=start, inside=np.ascontiguousarray(inside[tuple(ranges)]))
