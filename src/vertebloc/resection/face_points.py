"""Points spread over a finite face, close enough to stand for it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vertebloc.resection import _kernels
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.transforms import Points

#: Points over a face, and along its rim, mm apart. A rim point misses at most half of this.
PITCH_MM = 0.5


def spread_points(face: PlanarFace, pitch_mm: float = PITCH_MM) -> Points:
    """Points over a face and along its rim.

    Parameters
    ----------
    face : PlanarFace
        A face with at least one loop.
    pitch_mm : float, mm
        Distance between neighbouring points.

    Returns
    -------
    (n, 3) float64, mm, patient LPS
        Inner points on a square lattice, then the rim's.
    """
    if face.is_empty:
        return np.zeros((0, 3))
    lattice = lattice_points(face, pitch_mm)
    return np.concatenate((lattice, rim_points(face, pitch_mm)))


def rim_points(face: PlanarFace, pitch_mm: float = PITCH_MM) -> Points:
    """Points along a face's rim, its corners among them.

    Parameters
    ----------
    face : PlanarFace
        A face with at least one loop.
    pitch_mm : float, mm
        Neighbouring points are at most this far apart.

    Returns
    -------
    (n, 3) float64, mm, patient LPS
        Round each loop.
    """
    return _lifted(face, np.concatenate([_along(loop, pitch_mm) for loop in face.loops]))


def lattice_points(face: PlanarFace, pitch_mm: float = PITCH_MM) -> Points:
    """Points of a square lattice that lie in a face: each stands for the same area.

    Parameters
    ----------
    face : PlanarFace
        A face with at least one loop.
    pitch_mm : float, mm
        Distance between neighbouring points.

    Returns
    -------
    (n, 3) float64, mm, patient LPS
        None may fall into a face thinner than the pitch.
    """
    flat = np.concatenate(face.loops)
    low, high = flat.min(axis=0), flat.max(axis=0)
    nx, ny = (np.floor((high - low) / pitch_mm).astype(int) + 1).tolist()
    return points_on_lattice(face, low, (nx, ny), pitch_mm)


def points_on_lattice(
    face: PlanarFace, start: NDArray[np.float64], counts: tuple[int, int], pitch_mm: float
) -> Points:
    """Points of a given square lattice that lie in a face.

    Parameters
    ----------
    face : PlanarFace
        A face with at least one loop.
    start : (2,) float64, mm
        The lattice's first point, in the face's plane.
    counts : tuple of int
        Points along each axis.
    pitch_mm : float, mm
        Distance between neighbouring points.

    Returns
    -------
    (n, 3) float64, mm, patient LPS
        By the even-odd rule, so that holes are left out.
    """
    flat = np.concatenate(face.loops)
    starts = np.cumsum([0] + [len(loop) for loop in face.loops])
    # a hair aside, so that no lattice line runs exactly along an edge
    x0, y0 = start + np.array([1.7e-7, 2.3e-7])
    inside = _kernels.fill_loops(
        x0, y0, *counts, pitch_mm, starts, np.array(flat[:, 0]), np.array(flat[:, 1])
    )
    return _lifted(face, np.argwhere(inside) * pitch_mm + (x0, y0))


def _lifted(face: PlanarFace, flat: NDArray[np.float64]) -> Points:
    """In-plane points in patient LPS."""
    return face.lps_from_plane.points(np.column_stack((flat, np.zeros(len(flat)))))


def _along(loop: NDArray[np.float64], pitch_mm: float) -> NDArray[np.float64]:
    """Points along a closed loop, its corners among them."""
    ahead = np.roll(loop, -1, axis=0) - loop
    parts = np.maximum(1, np.ceil(np.linalg.norm(ahead, axis=1) / pitch_mm)).astype(int)
    which = np.repeat(np.arange(len(loop)), parts)
    step = np.arange(len(which)) - np.repeat(np.cumsum(parts) - parts, parts)
    return np.asarray(loop[which] + ahead[which] * (step / parts[which])[:, None])
