"""Outlines as they come in: a label map, closed surfaces, or both."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.surfaces import TriangleSurface

Box = tuple[slice, slice, slice]  #: of indices i, j, k
_MOST_LABELS = 65535  #: above this a table of boxes by number would be wasteful


@dataclass(frozen=True, slots=True, eq=False)
class LabelMap:
    """Voxels with whole-number labels, and what each number stands for.

    One number may stand for several things: bone of T10 that is also tumour.
    Numbers that occur without a name, and names without a voxel, are both allowed;
    0 is always background.
    """

    volume: Volume
    names: Mapping[int, tuple[Contour, ...]]
    _boxes: dict[int, Box] = field(default_factory=dict, init=False, repr=False)

    def __post_init__(self) -> None:
        """Refuse labels that are not whole numbers."""
        if self.volume.values.dtype.kind not in "iu":
            raise InputError(f"a label map needs whole numbers, got {self.volume.values.dtype}")
        if any(value <= 0 for value in self.names):
            raise InputError(
                f"label numbers must be above 0, got a name for {min(self.names)}: "
                "0 is background; renumber the label"
            )
        object.__setattr__(self, "names", MappingProxyType(dict(self.names)))

    def boxes(self) -> Mapping[int, Box]:
        """The index box of every number that occurs, found in one pass and remembered."""
        if not self._boxes:
            self._boxes.update(_find_boxes(cast(NDArray[np.integer[Any]], self.volume.values)))
        return MappingProxyType(self._boxes)

    def values_of(self, contour: Contour) -> tuple[int, ...]:
        """The label numbers that stand for an outline."""
        return tuple(value for value, named in self.names.items() if contour in named)


@dataclass(frozen=True, slots=True, eq=False)
class ContourSet:
    """All outlines of one time point."""

    label_map: LabelMap | None = None
    surfaces: Mapping[Contour, TriangleSurface] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Freeze the surfaces."""
        object.__setattr__(self, "surfaces", MappingProxyType(dict(self.surfaces)))

    def contours(self) -> tuple[Contour, ...]:
        """Every named outline, each once, in the order of the names."""
        found: dict[Contour, None] = dict.fromkeys(self.surfaces)
        if self.label_map is not None:
            for named in self.label_map.names.values():
                found.update(dict.fromkeys(named))
        return tuple(found)

    def of(self, structure: Structure) -> tuple[Contour, ...]:
        """The outlines of one kind of structure."""
        return tuple(c for c in self.contours() if c.structure is structure)


def mask_on_box(
    label_map: LabelMap, contours: tuple[Contour, ...], pad_mm: float = 0.0
) -> Volume | None:
    """Mask of the given outlines together, cut to their own box.

    Parameters
    ----------
    label_map : LabelMap
        Where to look.
    contours : tuple of Contour
        Outlines to unite.
    pad_mm : float, mm
        Room to leave around them; the box never leaves the grid.

    Returns
    -------
    Volume or None
        Boolean volume on the cropped grid; None if no voxel carries any of the labels.
    """
    boxes = label_map.boxes()
    wanted = sorted({v for c in contours for v in label_map.values_of(c)} & boxes.keys())
    if not wanted:
        return None
    start = np.min([[r.start for r in boxes[v]] for v in wanted], axis=0)
    stop = np.max([[r.stop for r in boxes[v]] for v in wanted], axis=0)
    grid = label_map.volume.grid
    pad = np.ceil(pad_mm / grid.spacing_mm).astype(int)
    start, stop = np.maximum(0, start - pad), np.minimum(grid.shape, stop + pad)
    box = tuple(slice(int(a), int(b)) for a, b in zip(start, stop, strict=True))
    labels = label_map.volume.values[box]
    found = labels == wanted[0] if len(wanted) == 1 else np.isin(labels, wanted)
    return Volume(grid.crop(start, stop), np.ascontiguousarray(found))


def _find_boxes(labels: NDArray[np.integer[Any]]) -> dict[int, Box]:
    """Index boxes of all numbers above 0."""
    highest = int(labels.max())
    if highest < 1:
        return {}
    if highest <= _MOST_LABELS:
        found = ndimage.find_objects(labels)
        return {v: _box(r) for v, r in enumerate(found, start=1) if r is not None}
    # numbers such as 1 000 000 would need a table as long: rename them 1, 2, 3 ... first
    present, renamed = np.unique(labels, return_inverse=True)
    found = ndimage.find_objects(renamed.reshape(labels.shape) + 1)
    return {int(v): _box(r) for v, r in zip(present, found, strict=True) if v > 0 and r}


def _box(ranges: tuple[slice, ...]) -> Box:
    """Three ranges as a box."""
    return (ranges[0], ranges[1], ranges[2])


def crop_mask(mask: Volume, pad_mm: float) -> Volume | None:
    """Cut a mask to the box of its true voxels plus a pad.

    Parameters
    ----------
    mask : Volume
        Boolean volume.
    pad_mm : float, mm
        Room to leave around them; the box never leaves the grid.

    Returns
    -------
    Volume or None
        None if the mask has no true voxel.
    """
    ranges: list[NDArray[np.int64]] = []
    values = mask.values
    for axis in range(3):
        others = tuple(a for a in range(3) if a != axis)
        ranges.append(np.flatnonzero(values.any(axis=others)))
    if min(len(r) for r in ranges) == 0:
        return None
    pad = np.ceil(pad_mm / mask.grid.spacing_mm).astype(int)
    start = np.maximum(0, [int(r[0]) - p for r, p in zip(ranges, pad, strict=True)])
    last = [int(r[-1]) + 1 + p for r, p in zip(ranges, pad, strict=True)]
    stop = np.minimum(mask.grid.shape, last)
    box = tuple(slice(int(a), int(b)) for a, b in zip(start, stop, strict=True))
    grid: Grid = mask.grid.crop(start, stop)
    return Volume(grid, np.ascontiguousarray(values[box]))
