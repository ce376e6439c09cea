"""Closed triangle surfaces of made-up solids."""

from __future__ import annotations

import numpy as np
from skimage.measure import marching_cubes

from vertebloc.anatomy.structures import Structure
from vertebloc.errors import InputError
from vertebloc.made_up.patients import MadeUpPatient
from vertebloc.space.grids import Grid
from vertebloc.space.solids import Solid
from vertebloc.space.surfaces import TriangleSurface

_LEAST_PITCH_MM, _LARGEST_PITCH_MM = 0.1, 5.0


def tumour_surface(patient: MadeUpPatient, pitch_mm: float) -> TriangleSurface:
    """The tumour's surface, as if somebody had outlined it without any error.

    Parameters
    ----------
    patient : MadeUpPatient
        Whose tumour.
    pitch_mm : float, mm
        Edge of the cubes through which the surface is laid.

    Returns
    -------
    TriangleSurface
        Closed surface in patient LPS.

    Raises
    ------
    InputError
        If the pitch is not 0.1 to 5 mm.
    """
    (solid,) = patient.of(Structure.TUMOUR).values()
    return surface_of(solid, pitch_mm)


def surface_of(solid: Solid, pitch_mm: float) -> TriangleSurface:
    """A solid's surface from its closed-form distance.

    Parameters
    ----------
    solid : Solid
        Any bounded solid.
    pitch_mm : float, mm
        Edge of the cubes through which the surface is laid.

    Returns
    -------
    TriangleSurface
        Closed surface in patient LPS, its triangles anticlockwise seen from outside.

    Raises
    ------
    InputError
        If the pitch is not 0.1 to 5 mm, or the solid has no end.

    Notes
    -----
    Marching cubes: vertices lie where the distance, taken as straight along a cube's edge,
    is zero; off a ball of radius r by at most pitch^2 / (8 r). Sharp edges are cut off by up
    to half a pitch.
    """
    if not _LEAST_PITCH_MM <= pitch_mm <= _LARGEST_PITCH_MM:
        raise InputError(
            f"a surface's pitch must be {_LEAST_PITCH_MM:g} to {_LARGEST_PITCH_MM:g} mm, "
            f"got {pitch_mm:g} mm"
        )
    low, high = solid.bounds_mm()
    if not np.all(np.isfinite(low) & np.isfinite(high)):
        raise InputError("only a solid with an end has a closed surface")
    origin = np.floor(low / pitch_mm - 2.0) * pitch_mm
    counts = np.ceil((high + 2.0 * pitch_mm - origin) / pitch_mm).astype(int) + 1
    matrix = np.diag([pitch_mm, pitch_mm, pitch_mm, 1.0])
    matrix[:3, 3] = origin
    grid = Grid.from_matrix((int(counts[0]), int(counts[1]), int(counts[2])), matrix)
    slabs = np.array_split(grid.centres(), int(counts[0]))
    distance = np.concatenate([solid.signed_distance_mm(slab) for slab in slabs])
    corners, triangles, _, _ = marching_cubes(
        distance.reshape(grid.shape), 0.0, gradient_direction="descent"
    )
    return TriangleSurface(grid.lps_from_ijk.points(corners), triangles)
