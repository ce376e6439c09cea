"""Whether a label map lies on its CT's grid, and putting its axes in the CT's order."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.space.grids import Grid, Volume

#: Voxel centres may lie this share of the shortest voxel edge apart.
_SHARE = 0.05

_AXES = "ijk"


def check_same_grid(ct_grid: Grid, label_grid: Grid) -> None:
    """Make sure that two grids have the same voxels in the same order.

    Parameters
    ----------
    ct_grid : Grid
        The CT's grid.
    label_grid : Grid
        The label map's grid.

    Raises
    ------
    InputError
        If they differ; the message says in what.
    """
    if found := _difference(ct_grid, label_grid):
        raise InputError(
            f"the label map does not lie on the CT's grid: {found}; outline on this CT, or "
            "resample the label map onto it (nearest neighbour)"
        )


def lay_on_grid(ct_grid: Grid, labels: Volume) -> tuple[Volume, tuple[str, ...]]:
    """Put a label map's axes in the order of the CT's, if that is all that differs.

    Parameters
    ----------
    ct_grid : Grid
        The CT's grid.
    labels : Volume
        The label map.

    Returns
    -------
    labels : Volume
        The same voxels on the CT's grid.
    notes : tuple of str
        What was reordered; empty if nothing had to be.

    Raises
    ------
    InputError
        If the voxels themselves differ.

    Notes
    -----
    No value is interpolated: axes are exchanged and reversed only.
    """
    if not _difference(ct_grid, labels.grid):
        return Volume(ct_grid, np.asarray(labels.values)), ()
    for order, flips in product(permutations(range(3)), product((False, True), repeat=3)):
        if _difference(ct_grid, _reordered(labels.grid, order, flips)):
            continue
        values = np.asarray(labels.values).transpose(order)
        values = np.flip(values, tuple(axis for axis in range(3) if flips[axis]))
        words = " ".join(("-" if f else "+") + _AXES[a] for a, f in zip(order, flips, strict=True))
        note = f"the label map's axes were put in the CT's order ({words} of the label map)"
        return Volume(ct_grid, values), (note,)
    check_same_grid(ct_grid, labels.grid)
    raise AssertionError("unreachable: the grids differ")  # pragma: no cover


def _reordered(grid: Grid, order: tuple[int, ...], flips: tuple[bool, ...]) -> Grid:
    matrix = np.array(grid.lps_from_ijk.matrix)
    shape = tuple(grid.shape[axis] for axis in order)
    columns = matrix[:3, list(order)]
    for axis in range(3):
        if flips[axis]:
            matrix[:3, 3] += columns[:, axis] * (shape[axis] - 1)
            columns[:, axis] *= -1
    matrix[:3, :3] = columns
    return Grid.from_matrix((shape[0], shape[1], shape[2]), matrix)


def _difference(ct_grid: Grid, label_grid: Grid) -> str:
    """What differs, in words; empty if nothing does."""
    if ct_grid.shape != label_grid.shape:
        return f"it has {_sizes(label_grid)} voxels, the CT has {_sizes(ct_grid)}"
    apart = np.linalg.norm(ct_grid.corners() - label_grid.corners(), axis=1)
    allowed = _SHARE * float(ct_grid.spacing_mm.min())
    if apart.max() <= allowed:
        return ""
    ours, theirs = ct_grid.spacing_mm, label_grid.spacing_mm
    if np.abs(ours - theirs).max() * max(ct_grid.shape) > allowed:
        return f"its voxels measure {_mm(theirs)}, the CT's {_mm(ours)}"
    return (
        f"its corner voxels lie {apart.min():.2f} to {apart.max():.2f} mm from the CT's "
        f"({allowed:.2f} mm allowed): origin or orientation differ"
    )


def _sizes(grid: Grid) -> str:
    return " x ".join(map(str, grid.shape))


def _mm(spacing: NDArray[np.float64]) -> str:
    return " x ".join(f"{mm:.4g}" for mm in spacing) + " mm"
