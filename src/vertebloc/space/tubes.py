"""Closed tubes along lines, for drawing thin things."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.errors import InputError
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Points, as_points

_SIDES = 10


def tube_surface(line: ArrayLike, radius_mm: float) -> TriangleSurface:
    """A closed tube of constant thickness along a line.

    Parameters
    ----------
    line : (n, 3) float64, mm, patient LPS
        Its middle, at least two different points one after the other.
    radius_mm : float, mm
        Half its thickness; must be > 0.

    Returns
    -------
    TriangleSurface
        Closed, with flat ends, of ten sides whose corners lie on the circle: a little thinner than
        a round tube (97 % of its volume).

    Raises
    ------
    InputError
        If the line has no length or the radius is not > 0.
    """
    points = as_points(line)
    steps = np.diff(points, axis=0)
    if len(points) < 2 or not radius_mm > 0.0 or np.any(np.linalg.norm(steps, axis=1) == 0.0):
        raise InputError(
            "a tube needs two different points or more and a radius above 0 mm, got "
            f"{len(points)} points and {radius_mm:g} mm"
        )
    angle = 2.0 * np.pi * np.arange(_SIDES) / _SIDES
    across, up = _frames(points)
    rings = points[:, None] + radius_mm * (
        np.cos(angle)[:, None] * across[:, None] + np.sin(angle)[:, None] * up[:, None]
    )
    vertices = np.concatenate([rings.reshape(-1, 3), points[[0, -1]]])
    return TriangleSurface(vertices, _triangles(len(points)))


def join_surfaces(surfaces: list[TriangleSurface]) -> TriangleSurface:
    """Several surfaces as one, for drawing.

    Parameters
    ----------
    surfaces : list of TriangleSurface
        At least one.

    Returns
    -------
    TriangleSurface
        All their triangles; closed if each of them is.
    """
    starts = np.cumsum([0] + [len(one.vertices) for one in surfaces])
    return TriangleSurface(
        np.concatenate([one.vertices for one in surfaces]),
        np.concatenate(
            [one.triangles + start for one, start in zip(surfaces, starts, strict=False)]
        ),
    )


def _frames(points: Points) -> tuple[Points, Points]:
    """Two directions across the line at each point, carried along so that nothing twists."""
    along = np.gradient(points, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    start = np.eye(3)[int(np.argmin(np.abs(along[0])))]
    across = np.empty_like(points)
    for place, way in enumerate(along):
        start = start - (start @ way) * way
        start = start / np.linalg.norm(start)
        across[place] = start
    return across, np.cross(along, across)


def _triangles(rings: int) -> NDArray[np.int32]:
    here = np.arange(_SIDES)
    there = (here + 1) % _SIDES
    found = []
    for ring in range(rings - 1):
        a, b = ring * _SIDES, (ring + 1) * _SIDES
        found += [np.stack([a + here, a + there, b + there], axis=1),
                  np.stack([a + here, b + there, b + here], axis=1)]  # fmt: skip
    first, last = rings * _SIDES, rings * _SIDES + 1
    end = (rings - 1) * _SIDES
    found += [np.stack([np.full(_SIDES, first), there, here], axis=1),
              np.stack([np.full(_SIDES, last), end + here, end + there], axis=1)]  # fmt: skip
    return np.concatenate(found).astype(np.int32)
