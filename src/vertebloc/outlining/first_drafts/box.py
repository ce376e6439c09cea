"""A piece of CT on even voxels along the patient's axes, whatever the scanner's grid was."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from vertebloc.errors import InputError
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.transforms import Points

OUTSIDE_HU = -1024.0  #: what lies beyond the images reads as air


def cut_box(ct: Volume, low: ArrayLike, high: ArrayLike, spacing_mm: float) -> Volume:
    """Resample a box of the CT on even voxels along the patient's axes.

    Parameters
    ----------
    ct : Volume
        Hounsfield units on any grid.
    low, high : (3,) float64, mm, patient LPS
        Opposite corners; the box is cut to where the CT has voxels.
    spacing_mm : float, mm
        Size of the new voxels.

    Returns
    -------
    Volume
        float32; [i, j, k] grow to the left, the back and the head. Finer voxels are averaged
        first (a Gaussian of half the new size), coarser ones interpolated.

    Raises
    ------
    InputError
        If the box lies outside the CT.
    """
    ends = ct.grid.corners()
    first = np.maximum(np.asarray(low, dtype=np.float64), ends.min(axis=0))
    last = np.minimum(np.asarray(high, dtype=np.float64), ends.max(axis=0))
    if np.any(last - first < 2.0 * spacing_mm):
        raise InputError(
            "the place lies outside the images or at their very edge: click well inside them"
        )
    size = np.floor((last - first) / spacing_mm).astype(int) + 1
    matrix = np.diag([spacing_mm, spacing_mm, spacing_mm, 1.0])
    matrix[:3, 3] = first
    grid = Grid.from_matrix((int(size[0]), int(size[1]), int(size[2])), matrix)
    near, start = _piece(ct, grid)
    sigma = 0.5 * spacing_mm / ct.grid.spacing_mm
    sigma = np.where(ct.grid.spacing_mm < 0.9 * spacing_mm, sigma, 0.0)
    if np.any(sigma > 0.0):
        near = ndimage.gaussian_filter(near, sigma, mode="nearest", truncate=3.0)
    step = ct.grid.lps_from_ijk.inverse.matrix @ matrix
    return Volume(grid, _resample(near, step[:3, :3], step[:3, 3] - start, grid.shape))


def _resample(
    values: NDArray[np.float32],
    matrix: NDArray[np.float64],
    offset: NDArray[np.float64],
    shape: tuple[int, int, int],
) -> NDArray[np.float32]:
    """Linear interpolation; axis by axis where the axes are parallel, which is far quicker."""
    source = np.abs(matrix).argmax(axis=1)
    aligned = np.abs(matrix[np.arange(3), source])
    if np.abs(matrix).sum() - aligned.sum() > 1e-6 or len(set(source.tolist())) < 3:
        found = ndimage.affine_transform(
            values, matrix, offset, shape, order=1, cval=OUTSIDE_HU, output=np.float32
        )
        return np.asarray(found)
    out = values
    for axis in range(3):  # of the source; afterwards its axis counts the target's voxels
        target = int(source[axis])
        where = matrix[axis, target] * np.arange(shape[target]) + offset[axis]
        where = np.clip(where, 0.0, values.shape[axis] - 1.0)
        first = np.minimum(where.astype(np.int64), max(values.shape[axis] - 2, 0))
        part = (where - first).astype(np.float32)
        part = part.reshape([-1 if n == axis else 1 for n in range(3)])
        after = np.minimum(first + 1, values.shape[axis] - 1)
        out = np.take(out, first, axis) * (1.0 - part) + np.take(out, after, axis) * part
    return np.ascontiguousarray(np.transpose(out, np.argsort(source)))


def _piece(ct: Volume, grid: Grid) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """The CT's voxels that the new grid needs, and the index of the first."""
    index = ct.grid.lps_from_ijk.inverse.points(grid.corners())
    start = np.maximum(np.floor(index.min(axis=0)).astype(np.int64) - 3, 0)
    stop = np.minimum(np.ceil(index.max(axis=0)).astype(np.int64) + 4, ct.grid.shape)
    box = tuple(slice(int(a), int(b)) for a, b in zip(start, stop, strict=True))
    piece = np.asarray(ct.values[box], dtype=np.float32)
    return np.maximum(piece, np.float32(OUTSIDE_HU)), start


def read_at(box: Volume, points: Points) -> NDArray[np.float32]:
    """Values between voxel centres, linearly.

    Parameters
    ----------
    box : Volume
        Numbers or a mask.
    points : (..., 3) float64, mm, patient LPS
        Where; any number of leading axes.

    Returns
    -------
    (...) float32, -
        Beyond the box the value of its edge.
    """
    where = np.asarray(points, dtype=np.float64)
    index = box.grid.lps_from_ijk.inverse.points(where.reshape(-1, 3)).T
    values = np.asarray(box.values, dtype=np.float32)
    found = ndimage.map_coordinates(values, index, order=1, mode="nearest", output=np.float32)
    return np.asarray(found.reshape(where.shape[:-1]))


def on_grid(share: Volume, grid: Grid) -> Volume:
    """A draft from its box back on the CT's voxels.

    Parameters
    ----------
    share : Volume
        float32, 0 to 1: how far a voxel of the box belongs to the draft.
    grid : Grid
        The CT's grid.

    Returns
    -------
    Volume
        Boolean, on the piece of the CT's grid that the draft reaches; a voxel belongs to it if
        its centre has more than one half.

    Raises
    ------
    InputError
        If the draft holds no voxel.
    """
    inside = np.argwhere(np.asarray(share.values, dtype=np.float32) > 0.01)
    if not len(inside):
        raise InputError("nothing was found here: click inside the structure")
    low, high = inside.min(axis=0) - 1.0, inside.max(axis=0) + 1.0
    ends = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)])
    index = grid.lps_from_ijk.inverse.points(
        share.grid.lps_from_ijk.points(low + ends * (high - low))
    )
    start = np.maximum(np.floor(index.min(axis=0)).astype(int), 0)
    stop = np.minimum(np.ceil(index.max(axis=0)).astype(int) + 1, grid.shape)
    if np.any(stop <= start):
        raise InputError("nothing was found here: click inside the structure")
    piece = grid.crop(start, stop)
    step = share.grid.lps_from_ijk.inverse.matrix @ piece.lps_from_ijk.matrix
    values = ndimage.affine_transform(
        np.asarray(share.values, dtype=np.float32), step[:3, :3], step[:3, 3], piece.shape,
        order=1, cval=0.0,
    )  # fmt: skip
    return Volume(piece, np.asarray(values > 0.5))
