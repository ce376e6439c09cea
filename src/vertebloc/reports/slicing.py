"""What a picture's plane meets: reslices of images, cut surfaces, cut faces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vertebloc.space.grids import Volume
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Points, Transform

Loop = NDArray[np.float64]  #: (n, 2) mm, screen x and y

#: What lies outside the images is drawn as air.
_AIR_HU = -1024.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """The part of the screen plane that a picture shows; screen +y is up."""

    centre_x_mm: float
    centre_y_mm: float
    half_width_mm: float
    half_height_mm: float
    pixel_mm: float

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of a raster over the field."""
        rows = round(2 * self.half_height_mm / self.pixel_mm)
        return max(1, rows), max(1, round(2 * self.half_width_mm / self.pixel_mm))

    @property
    def extent_mm(self) -> tuple[float, float, float, float]:
        """Left, right, bottom and top edge."""
        return (
            self.centre_x_mm - self.half_width_mm,
            self.centre_x_mm + self.half_width_mm,
            self.centre_y_mm - self.half_height_mm,
            self.centre_y_mm + self.half_height_mm,
        )

    def pixel_centres(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Screen x and y of each pixel, each (rows, columns); row 0 is the picture's top."""
        left, right, bottom, top = self.extent_mm
        rows, columns = self.shape
        x = left + (np.arange(columns) + 0.5) * (right - left) / columns
        y = top - (np.arange(rows) + 0.5) * (top - bottom) / rows
        grid_x, grid_y = np.meshgrid(x, y)
        return grid_x, grid_y


def reslice(
    volume: Volume,
    screen_from_lps: Transform,
    field: Field,
    depth_mm: float,
    slab_mm: float = 0.0,
) -> NDArray[np.float64]:
    """Image values in a picture's plane, averaged over a slab.

    Parameters
    ----------
    volume : Volume
        Image, any affine.
    screen_from_lps : Transform
        How the patient is looked at.
    field : Field
        Part of the screen plane to show.
    depth_mm : float, mm
        Where the slab's middle lies along screen z.
    slab_mm : float, mm
        Thickness to average over; 0 for a single plane.

    Returns
    -------
    (rows, columns) float64
        Row 0 is the picture's top. Linear between voxels; air outside the images.
    """
    x, y = field.pixel_centres()
    ijk_from_screen = volume.grid.lps_from_ijk.inverse @ screen_from_lps.inverse
    offsets = np.linspace(-0.5, 0.5, 3) * slab_mm if slab_mm > 0 else np.zeros(1)
    total = np.zeros(x.shape)
    voxels = cast("NDArray[np.float64]", volume.values)  # any kind of number is interpolated
    for offset in offsets:
        on_screen = np.column_stack((x.ravel(), y.ravel(), np.full(x.size, depth_mm + offset)))
        index = ijk_from_screen.points(on_screen).T
        total += ndimage.map_coordinates(
            voxels, index, output=np.float64, order=1, cval=_AIR_HU
        ).reshape(x.shape)
    return np.asarray(total / len(offsets))


def section_loops(
    surface: TriangleSurface, screen_from_lps: Transform, depth_mm: float
) -> tuple[Loop, ...]:
    """Outline where a closed surface meets a picture's plane.

    Parameters
    ----------
    surface : TriangleSurface
        Surface to cut.
    screen_from_lps : Transform
        How the patient is looked at.
    depth_mm : float, mm
        Where the plane lies along screen z.

    Returns
    -------
    tuple of (n, 2) float64
        Loops in screen x and y, mm; outer ones and holes run in opposite directions.
    """
    points = screen_from_lps.points(surface.vertices)
    height = points[:, 2] - depth_mm
    above = height >= 0.0
    corner_above = above[surface.triangles]
    crossing = surface.triangles[(corner_above.sum(axis=1) % 3) != 0].astype(np.int64)
    if not len(crossing):
        return ()
    # Turn each triangle so that its lone corner comes first: the outline enters by the edge
    # after it and leaves by the edge before it, or the other way round.
    up = above[crossing]
    lone = np.where(up.sum(axis=1) == 1, np.argmax(up, axis=1), np.argmin(up, axis=1))
    rows = np.arange(len(crossing))
    a, b, c = (crossing[rows, (lone + k) % 3] for k in range(3))
    forward = above[a]
    start = np.where(forward[:, None], np.column_stack((a, b)), np.column_stack((a, c)))
    stop = np.where(forward[:, None], np.column_stack((a, c)), np.column_stack((a, b)))
    return _chain(start, stop, points, height)


def _chain(
    start: NDArray[np.int64],
    stop: NDArray[np.int64],
    points: Points,
    height: NDArray[np.float64],
) -> tuple[Loop, ...]:
    """Loops from segments given by the mesh edges on which they start and stop."""
    count = len(points)
    first = start.min(axis=1) * count + start.max(axis=1)
    last = stop.min(axis=1) * count + stop.max(axis=1)
    following = dict(zip(first.tolist(), last.tolist(), strict=True))
    loops: list[Loop] = []
    entered = set(last.tolist())
    # Loose ends first, so that an open outline is drawn from its beginning.
    for key in sorted(following, key=lambda edge: (edge in entered, edge)):
        edges = []
        edge = key
        while edge in following:
            edges.append(edge)
            edge = following.pop(edge)
        if len(edges) >= 2:
            edges.append(edge)
            i, j = np.divmod(np.array(edges), count)
            share = (height[i] / (height[i] - height[j]))[:, None]
            loops.append(np.asarray(points[i, :2] + share * (points[j, :2] - points[i, :2])))
    return tuple(loops)


def section_of_face(
    face: PlanarFace, screen_from_lps: Transform, depth_mm: float
) -> tuple[Loop, ...]:
    """Line pieces where a finite flat face meets a picture's plane.

    Parameters
    ----------
    face : PlanarFace
        The face.
    screen_from_lps : Transform
        How the patient is looked at.
    depth_mm : float, mm
        Where the plane lies along screen z.

    Returns
    -------
    tuple of (2, 2) float64
        End points of each piece in screen x and y, mm; empty if the plane misses the face.
    """
    crossings: list[NDArray[np.float64]] = []
    for loop in face.loops_lps():
        points = screen_from_lps.points(loop)
        following = np.roll(points, -1, axis=0)
        height, next_height = points[:, 2] - depth_mm, following[:, 2] - depth_mm
        cut = (height >= 0) != (next_height >= 0)
        share = (height[cut] / (height[cut] - next_height[cut]))[:, None]
        crossings.append(points[cut, :2] + share * (following[cut, :2] - points[cut, :2]))
    met = np.concatenate(crossings) if crossings else np.empty((0, 2))
    if len(met) < 2:
        return ()
    along = met[np.argmax(np.linalg.norm(met - met[0], axis=1))] - met[0]
    ordered = met[np.argsort(met @ along, kind="stable")]
    return tuple(ordered[i : i + 2] for i in range(0, len(ordered) - 1, 2))
