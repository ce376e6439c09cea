"""Shaded pictures of surfaces seen straight on: a depth buffer filled by surface samples.

No perspective, so a length on the picture is a length in the patient, foreshortened only
along the line of sight.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.reports.slicing import Field
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Points, Transform

#: Samples lie this far apart, in pixels, so that no pixel of a surface stays empty.
_SAMPLE_STEP = 0.7

#: Most samples held at a time.
_CHUNK = 1_500_000


@dataclass(frozen=True, slots=True, eq=False)
class DepthPicture:
    """What is seen of one surface."""

    depth_mm: NDArray[np.float32]  #: (rows, columns) screen z, -inf where nothing is seen
    shade: NDArray[np.float32]  #: (rows, columns) 0..1, how squarely the light falls

    @property
    def seen(self) -> NDArray[np.bool_]:
        """Where the surface is seen, (rows, columns)."""
        return np.asarray(np.isfinite(self.depth_mm))


def render_depth(
    surface: TriangleSurface, screen_from_lps: Transform, field: Field
) -> DepthPicture:
    """Look straight at a closed surface.

    Parameters
    ----------
    surface : TriangleSurface
        What to look at; an inside-out one is turned.
    screen_from_lps : Transform
        How the patient is looked at; screen +z points to the viewer.
    field : Field
        Part of the screen plane to show.

    Returns
    -------
    DepthPicture
        Depth and shade of the nearest surface at each pixel.
    """
    rows, columns = field.shape
    depth = np.full(rows * columns, -np.inf, dtype=np.float32)
    shade = np.zeros(rows * columns, dtype=np.float32)
    points = screen_from_lps.points(surface.vertices)
    triangles = surface.triangles if surface.volume_mm3 >= 0 else surface.triangles[:, ::-1]
    triangles = _worth_drawing(points, triangles, field)
    lightness = _lightness(points, triangles)
    left, right, bottom, top = field.extent_mm
    # x to the right and y down, in pixels from the picture's upper left corner
    points[:, 0] = (points[:, 0] - left) * columns / (right - left)
    points[:, 1] = (top - points[:, 1]) * rows / (top - bottom)
    for pixel, z, light in _samples(points, triangles, lightness, (rows, columns)):
        np.maximum.at(depth, pixel, z)
        nearest = z >= depth[pixel]
        shade[pixel[nearest]] = light[nearest]
    return DepthPicture(depth.reshape(rows, columns), shade.reshape(rows, columns))


def _lightness(points: Points, triangles: NDArray[np.int32]) -> NDArray[np.float32]:
    """Light on each vertex, from above the viewer's left shoulder, (n,) 0..1."""
    a, b, c = np.moveaxis(points[triangles], 1, 0)
    area = np.cross(b - a, c - a)
    normals = np.zeros_like(points)
    for corner in range(3):
        for axis in range(3):
            normals[:, axis] += np.bincount(
                triangles[:, corner], weights=area[:, axis], minlength=len(points)
            )
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    light = np.array((-0.48, 0.62, 0.62))
    return np.asarray(np.clip(normals @ (light / np.linalg.norm(light)), 0.0, 1.0), np.float32)


def _worth_drawing(
    points: Points, triangles: NDArray[np.int32], field: Field
) -> NDArray[np.int32]:
    """Triangles that face the viewer and touch the picture."""
    left, right, bottom, top = field.extent_mm
    x, y = (np.ascontiguousarray(points[:, k])[triangles] for k in (0, 1))
    turn = (x[:, 1] - x[:, 0]) * (y[:, 2] - y[:, 0]) - (y[:, 1] - y[:, 0]) * (x[:, 2] - x[:, 0])
    inside = (x.max(axis=1) >= left) & (x.min(axis=1) <= right)
    inside &= (y.max(axis=1) >= bottom) & (y.min(axis=1) <= top)
    return np.asarray(triangles[(turn > 0) & inside])


def _samples(
    points: Points,
    triangles: NDArray[np.int32],
    lightness: NDArray[np.float32],
    shape: tuple[int, int],
) -> Iterator[tuple[NDArray[np.int32], NDArray[np.float32], NDArray[np.float32]]]:
    """Pixel, depth and light of points spread over the triangles, a chunk at a time."""
    coordinates = tuple(np.ascontiguousarray(points[:, k], np.float32) for k in range(3))
    corners = points[triangles]
    edges = (corners - np.roll(corners, 1, axis=1))[:, :, :2]
    longest = np.sqrt((edges**2).sum(axis=2)).max(axis=1)
    # A few sizes of sample pattern, each a fifth finer than the last: little work is wasted.
    wanted = np.ceil(np.log(np.clip(longest / _SAMPLE_STEP, 1, 2048)) / np.log(1.2))
    steps = np.ceil(1.2**wanted).astype(np.int64)
    for count in np.unique(steps):
        pattern = _barycentric(int(count))
        chosen = triangles[steps == count]
        if count == 1:  # smaller than a pixel: its corners do, each once
            chosen = np.unique(chosen)[:, None]
            pattern = np.ones((1, 1), np.float32)
        held = max(1, _CHUNK // len(pattern))
        for first in range(0, len(chosen), held):
            part = chosen[first : first + held]
            x, y, z, light = (
                (values[part] @ pattern.T).reshape(-1) for values in (*coordinates, lightness)
            )
            inside = (x >= 0) & (x < shape[1]) & (y >= 0) & (y < shape[0])
            pixel = y[inside].astype(np.int32) * shape[1] + x[inside].astype(np.int32)
            yield pixel, z[inside], light[inside]


def _barycentric(count: int) -> NDArray[np.float32]:
    """Weights of evenly spread points of a triangle whose edges are cut in ``count``, (s, 3)."""
    i, j = np.meshgrid(np.arange(count + 1), np.arange(count + 1), indexing="ij")
    keep = i + j <= count
    first, second = i[keep] / count, j[keep] / count
    return np.column_stack((first, second, 1.0 - first - second)).astype(np.float32)
