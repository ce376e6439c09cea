"""How much lies on the ray of each detector pixel: fast, and exactly.

Everything is told as mm of water: the length of water that would attenuate as much.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from enum import Enum
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.errors import InputError
from vertebloc.fluoroscopy import _kernels
from vertebloc.fluoroscopy.model import CArmView
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.transforms import as_points

#: Hounsfield units of water over air: what is added so that air counts nothing.
_AIR = 1000.0
#: Pitch of the shared plane, in voxels: finer is slower and nearer to the exact sum. What is left
#: at 0.7 comes from the kinks between voxel centres; a smoother reading does not make it less.
_PITCH = 0.7
_RIM = 3  #: samples round what is seen, for the cubic


class Between(Enum):
    """What a CT says between its voxel centres."""

    BOXES = "each voxel is a box of one value"
    INTERPOLATED = "values change linearly from centre to centre"


@dataclass(slots=True, eq=False)
class Projector:
    """A CT made ready for predicted pictures: laid out along the axes that are looked along.

    Each axis is laid out when it is first needed, once.
    """

    grid: Grid
    _values: NDArray[np.generic]
    _planes: dict[int, NDArray[np.int16]] = field(default_factory=dict)

    @classmethod
    def of(cls, ct: Volume) -> Projector:
        """Make a CT ready.

        Parameters
        ----------
        ct : Volume
            Hounsfield units.

        Returns
        -------
        Projector
            Nothing is copied yet.

        Raises
        ------
        InputError
            If the values are no numbers.
        """
        if ct.values.dtype.kind not in "iuf":
            raise InputError(f"a CT holds numbers, got {ct.values.dtype}")
        return cls(ct.grid, ct.values)

    def prepare(self, axis: int) -> NDArray[np.int16]:
        """Planes square to an index axis, with a rim of air, laid out once.

        Parameters
        ----------
        axis : int
            0, 1 or 2: i, j or k.

        Returns
        -------
        (planes, rows + 2, columns + 2) int16
            Hounsfield units + 1000, nothing below 0.
        """
        if axis not in self._planes:
            order = _order(axis)
            size = [self.grid.shape[one] for one in order]
            planes = np.zeros((size[0], size[1] + 2, size[2] + 2), np.int16)
            fixed = (self._values, np.array(order), _AIR, planes)
            _side_by_side(_kernels.lay_planes, fixed, size[1], 2)
            self._planes[axis] = planes
        return self._planes[axis]

    def project(self, view: CArmView, *, parts: int = 2) -> NDArray[np.float32]:
        """Predict the picture of a view, fast.

        Parameters
        ----------
        view : CArmView
            Where tube and detector are.
        parts : int
            How many threads may work side by side.

        Returns
        -------
        (pixels, pixels) float32, mm of water
            Rows from the picture's top, columns from its left.

        Notes
        -----
        A volume that reaches as far as the tube or past the detector is not seen whole by any
        ray: it is integrated exactly instead, from tube to detector, which takes seconds.

        Planes of voxels square to the axis most along the beam are magnified copies of each
        other on a shared plane parallel to them, so that interpolation splits into one blend of
        two rows and one of two columns; the shared plane is read once for each pixel by a cubic.
        One sample a plane as Joseph's method takes them; against the exact integral see the
        benchmark.

        References
        ----------
        [joseph1982] one interpolated sample a plane of the main axis.
        """
        if not self._lies_between(view):
            return self.project_exactly(view).astype(np.float32)
        geometry = self._in_indices(view)
        step_mm = self.grid.lps_from_ijk.matrix[:3, :3]
        axis = self._main_axis(view)
        order = _order(axis)
        planes = self.prepare(axis)
        shared, rows, cols = self._shared_plane(geometry, axis, view.arm.pixels)
        share = (np.arange(len(planes)) - geometry[0, axis]) / (shared - geometry[0, axis])
        total = np.zeros((int(rows[2]), int(cols[2])), np.float32)
        at = [
            # + 1: the rim of air
            np.array([geometry[0, order[1 + n]] + 1.0, line[0] + 1.0, line[1]])
            for n, line in enumerate((rows, cols))
        ]
        fixed = (planes, share, at[0], at[1], total)
        _side_by_side(_kernels.add_slabs, fixed, len(total), parts)
        grid = np.array([shared, rows[0], rows[1], cols[0], cols[1]])
        picture = np.zeros((view.arm.pixels, view.arm.pixels), np.float32)
        read = (total, geometry, np.array(order), grid, step_mm, picture)
        _side_by_side(_kernels.onto_detector, read, len(picture), parts)
        return np.asarray(np.maximum(picture / np.float32(_AIR), np.float32(0.0)))

    def project_exactly(
        self, view: CArmView, between: Between = Between.INTERPOLATED
    ) -> NDArray[np.float64]:
        """Predict the picture of a view by exact integrals: the reference.

        Parameters
        ----------
        view : CArmView
            Where tube and detector are.
        between : Between
            What the CT says between voxel centres.

        Returns
        -------
        (pixels, pixels) float64, mm of water
            As ``project``.
        """
        ends = view.pixel_points()
        starts = np.broadcast_to(view.source, ends.shape)
        found = self.along(starts, ends, between)
        return found.reshape(view.arm.pixels, view.arm.pixels)

    def along(
        self, starts: ArrayLike, ends: ArrayLike, between: Between = Between.INTERPOLATED
    ) -> NDArray[np.float64]:
        """Integrate along straight lines, exactly.

        Parameters
        ----------
        starts, ends : (n, 3) float64, mm, patient LPS
            Ends of the lines.
        between : Between
            What the CT says between voxel centres.

        Returns
        -------
        (n,) float64, mm of water
            Float arithmetic apart, without error.

        References
        ----------
        [siddon1985] from voxel wall to voxel wall; between centres the same with cells.
        """
        a, b = as_points(starts), as_points(ends)
        into = self.grid.lps_from_ijk.inverse
        found = np.zeros(len(a))
        lengths = np.linalg.norm(b - a, axis=1)
        interpolated = between is Between.INTERPOLATED
        fixed = (self._values, _AIR, into.points(a), into.points(b), lengths, interpolated, found)
        _side_by_side(_kernels.trace, fixed, len(a), 2)
        return found / _AIR

    def _main_axis(self, view: CArmView) -> int:
        """The index axis with the most planes along the beam's own way."""
        into = self.grid.lps_from_ijk.inverse
        along = into.vectors(view.towards_detector)[0]
        return int(np.argmax(np.abs(along) * self.grid.spacing_mm))

    def _in_indices(self, view: CArmView) -> NDArray[np.float64]:
        """Source, first pixel, step of a row and step of a column, (4, 3)."""
        right, up = view.axes
        pitch, half = view.arm.pitch_mm, (view.arm.pixels - 1) / 2.0 * view.arm.pitch_mm
        middle = view.source + view.arm.source_detector_mm * view.towards_detector
        into = self.grid.lps_from_ijk.inverse
        points = into.points([view.source, middle - half * right + half * up])
        return np.concatenate([points, into.vectors([-pitch * up, pitch * right])])

    def _shared_plane(
        self, geometry: NDArray[np.float64], axis: int, pixels: int
    ) -> tuple[float, tuple[float, float, int], tuple[float, float, int]]:
        """Where the shared plane lies; first place, pitch and number of its rows and columns.

        It is as large as both the detector's shadow and the volume's own on it.
        """
        order = _order(axis)
        source, count = geometry[0], self.grid.shape
        shared = (count[axis] - 1) / 2.0
        n = (pixels - 1) * np.array([[0, 0], [0, 1], [1, 0], [1, 1]])
        corners = geometry[1] + n[:, :1] * geometry[2] + n[:, 1:] * geometry[3]
        reach = (shared - source[axis]) / (corners[:, axis] - source[axis])
        seen = source + reach[:, None] * (corners - source)
        near = np.array([0.0, count[axis] - 1.0]) - source[axis]
        lines = []
        for one in order[1:]:
            ends = np.array([-1.0, float(count[one])]) - source[one]
            volume = source[one] + np.outer((shared - source[axis]) / near, ends)
            low = max(seen[:, one].min(), volume.min()) - _RIM * _PITCH
            high = min(seen[:, one].max(), volume.max()) + _RIM * _PITCH
            lines.append((float(low), _PITCH, max(1, int((high - low) / _PITCH) + 2)))
        return shared, lines[0], lines[1]

    def _lies_between(self, view: CArmView) -> bool:
        """Whether the whole volume lies between tube and detector."""
        depth = (self.grid.corners() - view.source) @ view.towards_detector
        return bool(depth.min() > 0.0 and depth.max() < view.arm.source_detector_mm)


def _side_by_side(
    kernel: Callable[..., None], fixed: tuple[object, ...], count: int, parts: int
) -> None:
    """Run a kernel over parts of its loop, each in a thread of its own."""
    ends = [part * count // parts for part in range(parts + 1)]
    if parts == 1:
        kernel(*fixed, 0, count)
        return
    with ThreadPoolExecutor(parts) as pool:
        for done in [pool.submit(kernel, *fixed, first, last) for first, last in pairwise(ends)]:
            done.result()


def _order(axis: int) -> tuple[int, int, int]:
    """Plane, row and column axis for looking along an axis; i is laid out fastest if it can be."""
    return {0: (0, 2, 1), 1: (1, 2, 0), 2: (2, 1, 0)}[axis]
