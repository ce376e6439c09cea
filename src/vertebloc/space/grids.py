"""Voxel grids with any affine, and arrays that lie on them.

Arrays are indexed [i, j, k] exactly as in ``lps_from_ijk``; whole indices are voxel centres.
A left-handed affine, an oblique one and a sheared (tilted) one are all normal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.errors import FrameError, InputError
from vertebloc.space.frames import Frame
from vertebloc.space.transforms import Points, Transform


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Where voxels lie."""

    shape: tuple[int, int, int]
    lps_from_ijk: Transform

    def __post_init__(self) -> None:
        """Refuse an empty grid or a map between the wrong frames."""
        shape = tuple(int(n) for n in self.shape)
        if len(shape) != 3 or min(shape) < 1:
            raise InputError(f"a grid needs three sizes of at least 1, got {self.shape}")
        frames = (self.lps_from_ijk.target, self.lps_from_ijk.source)
        if frames != (Frame.PATIENT_LPS, Frame.IMAGE_IJK):
            raise FrameError(f"a grid needs lps_from_ijk, got {frames[0]} from {frames[1]}")
        object.__setattr__(self, "shape", shape)

    @staticmethod
    def from_matrix(shape: tuple[int, int, int], matrix: ArrayLike) -> Grid:
        """Build a grid from its size and its (4, 4) ``lps_from_ijk`` matrix."""
        return Grid(
            shape,
            Transform(
                np.asarray(matrix, dtype=np.float64),
                target=Frame.PATIENT_LPS,
                source=Frame.IMAGE_IJK,
            ),
        )

    @property
    def spacing_mm(self) -> NDArray[np.float64]:
        """Distance between neighbouring voxel centres along i, j and k, (3,)."""
        return np.asarray(np.linalg.norm(self.lps_from_ijk.matrix[:3, :3], axis=0))

    @property
    def voxel_volume_mm3(self) -> float:
        """Volume of one voxel."""
        return float(abs(np.linalg.det(self.lps_from_ijk.matrix[:3, :3])))

    @property
    def is_sheared(self) -> bool:
        """Whether the index axes are not perpendicular (a tilted stack)."""
        axes = self.lps_from_ijk.matrix[:3, :3] / self.spacing_mm
        return bool(np.max(np.abs(axes.T @ axes - np.eye(3))) > 1e-3)

    def crop(self, start: ArrayLike, stop: ArrayLike) -> Grid:
        """Same lattice from index ``start`` up to, not including, ``stop``.

        The box may reach beyond this grid, so that masks cut from one lattice can be united.

        Raises
        ------
        InputError
            If the box is empty.
        """
        low = np.asarray(start, dtype=np.int64)
        size = np.asarray(stop, dtype=np.int64) - low
        matrix = np.array(self.lps_from_ijk.matrix)
        matrix[:3, 3] = self.lps_from_ijk.points(low.astype(np.float64))[0]
        return Grid.from_matrix((int(size[0]), int(size[1]), int(size[2])), matrix)

    def centres(self) -> Points:
        """All voxel centres in patient LPS, (ni * nj * nk, 3), k fastest."""
        index = np.indices(self.shape, dtype=np.float64).reshape(3, -1).T
        return self.lps_from_ijk.points(index)

    def corners(self) -> Points:
        """The eight outermost voxel centres, (8, 3), patient LPS."""
        last = np.array(self.shape, dtype=np.float64) - 1.0
        index = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)]) * last
        return self.lps_from_ijk.points(index)

    def contains(self, points: ArrayLike) -> NDArray[np.bool_]:
        """Whether points lie within half a voxel of the grid, (n,)."""
        index = self.lps_from_ijk.inverse.points(points)
        upper = np.array(self.shape, dtype=np.float64) - 0.5
        return np.asarray(np.all((index >= -0.5) & (index <= upper), axis=1))


@dataclass(frozen=True, slots=True, eq=False)
class Volume:
    """An array on a grid, for example Hounsfield units, labels or a mask."""

    grid: Grid
    values: NDArray[np.generic]  #: (ni, nj, nk), read-only view

    def __post_init__(self) -> None:
        """Refuse an array that does not fit; hand out a read-only view of it."""
        if self.values.shape != self.grid.shape:
            raise InputError(
                f"the array has shape {self.values.shape}, its grid {self.grid.shape}: "
                "they must agree"
            )
        view = self.values.view()
        view.flags.writeable = False
        object.__setattr__(self, "values", view)
