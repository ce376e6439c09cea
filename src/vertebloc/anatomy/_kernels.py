"""Array loops of the anatomy room: arrays in, arrays out."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray


@njit(cache=True)
def count_crossings(
    corners: NDArray[np.float64], shape: tuple[int, int, int]
) -> NDArray[np.uint8]:
    """Mark, per column of voxels, where triangles are crossed; their running parity is inside.

    ``corners`` (m, 3, 3) are in index units. A column is the line (i, j) = const; a crossing
    between the centres k-1 and k flips voxel k. Doubly hit edges are avoided by the caller,
    who shifts the corners by an odd fraction of a voxel.
    """
    flips = np.zeros(shape, dtype=np.uint8)
    for m in range(corners.shape[0]):
        a, b, c = corners[m, 0], corners[m, 1], corners[m, 2]
        det = (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])
        if det == 0.0:
            continue
        low_i = max(0, int(np.ceil(min(a[0], b[0], c[0]))))
        top_i = min(shape[0] - 1, int(np.floor(max(a[0], b[0], c[0]))))
        low_j = max(0, int(np.ceil(min(a[1], b[1], c[1]))))
        top_j = min(shape[1] - 1, int(np.floor(max(a[1], b[1], c[1]))))
        for i in range(low_i, top_i + 1):
            for j in range(low_j, top_j + 1):
                u = ((i - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (j - a[1])) / det
                v = ((b[0] - a[0]) * (j - a[1]) - (i - a[0]) * (b[1] - a[1])) / det
                if u < 0.0 or v < 0.0 or u + v > 1.0:
                    continue
                height = a[2] + u * (b[2] - a[2]) + v * (c[2] - a[2])
                k = max(0, int(np.ceil(height)))
                if k < shape[2]:
                    flips[i, j, k] ^= 1
    return flips
