"""A closed surface from a mask of voxels, finer than the voxels, and never inside the truth.

The places where a mask changes between two neighbouring voxel centres are known to half a
spacing along that axis only. A quadric fitted through the crossings around each place recovers
the surface to a few hundredths of a spacing, because crossings on slanted ground hold each
other. Where they cannot (flat ground along a slice), the fit says so by its spread, and the
surface is moved outwards by that: what is measured from it is then short rather than long.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates
from skimage.measure import marching_cubes

from vertebloc.errors import InputError
from vertebloc.space import _kernels_fits
from vertebloc.space.grids import Volume
from vertebloc.space.surfaces import TriangleSurface

#: Radii of the fit, in largest voxel spacings: the second and third where the first says too
#: little, the last where the first fits badly. Chosen on spheres, ellipsoids, capsules.
_RADII = (4.0, 6.0, 9.0, 13.0, 2.5)
_FIRST_RADIUS = 3.0  #: the fit before these, for the normals alone
_SPREAD_ENOUGH_MM = 0.06  #: a fit this sure needs no wider look
_MISFIT = 1.0  #: mean squared residual over its expectation above which a quadric does not fit
_STILL_FITS = 0.5  #: a wider look is believed below this
_OUTWARD_MM = 0.11  #: outward move that covers the fit's own error on smooth solids
_OUTWARD_SPREADS = 1.15  #: and this many spreads where the crossings say little
_BLIND_SPREADS = 3.0  #: as many where the crossings along the normal are 2 mm apart or more


@dataclass(slots=True)
class _Fit:
    """What is known about each crossing while the radii are tried."""

    shift: NDArray[np.float64]
    spread: NDArray[np.float64]
    misfit: NDArray[np.float64]
    normals: NDArray[np.float64]


def surface_from_mask(mask: Volume, *, outward: bool = True) -> TriangleSurface:
    """Find the closed surface around a mask's voxels.

    Parameters
    ----------
    mask : Volume
        Boolean volume; may touch the edge of its grid.
    outward : bool
        Move the surface outwards by what the voxels leave unknown, so that distances measured
        from it are not too long. Without it the surface is the best guess, for volumes.

    Returns
    -------
    TriangleSurface
        Closed, outward; in patient LPS. Each vertex stays between the two voxel centres it
        separates.

    Raises
    ------
    InputError
        If no voxel is in the mask.

    Notes
    -----
    Says nothing of corners sharper than the fit's radius: they come out rounded.
    """
    if not np.any(mask.values):
        raise InputError("the mask is empty: there is nothing to find a surface of")
    spacing = mask.grid.spacing_mm
    padded = np.pad(np.asarray(mask.values, dtype=np.float32), 3)
    vertices, triangles, _, _ = marching_cubes(padded, 0.5)
    axis = np.argmax(np.abs(vertices - np.round(vertices)), axis=1)
    points = np.ascontiguousarray((vertices - 3.0) * spacing)
    fit = _fit_crossings(points, axis, spacing, _first_normals(padded, vertices, spacing))
    moved = points + _move(fit, axis, spacing, outward)[:, None] * fit.normals
    index = moved / spacing
    lps = mask.grid.lps_from_ijk.points(index)
    if np.linalg.det(mask.grid.lps_from_ijk.matrix[:3, :3]) < 0:
        triangles = triangles[:, ::-1]
    surface = TriangleSurface(lps, triangles)
    if surface.volume_mm3 < 0:  # marching cubes' winding is a convention, not a promise
        surface = TriangleSurface(lps, triangles[:, ::-1])
    return surface


def _first_normals(
    padded: NDArray[np.float32], vertices: NDArray[np.float64], spacing: NDArray[np.float64]
) -> NDArray[np.float64]:
    smooth = gaussian_filter(padded, sigma=1.5 * spacing.max() / spacing, truncate=2.0)
    ahead = np.eye(3)[:, :, None]
    slopes = [
        (map_coordinates(smooth, vertices.T + step, order=1, mode="nearest")
         - map_coordinates(smooth, vertices.T - step, order=1, mode="nearest")) / spacing[axis]
        for axis, step in enumerate(ahead)
    ]  # fmt: skip
    downhill = -np.stack(slopes, axis=1).astype(np.float64)
    length = np.linalg.norm(downhill, axis=1, keepdims=True)
    downhill[length[:, 0] < 1e-9] = (1.0, 0.0, 0.0)
    return np.ascontiguousarray(downhill / np.maximum(length, 1e-9))


def _half_spacing(
    normals: NDArray[np.float64], axis: NDArray[np.int64], spacing: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Largest error of each crossing along its normal, and how many neighbours share it."""
    along = np.abs(normals[np.arange(len(normals)), axis])
    half = along * spacing[axis] / 2.0
    terrace = spacing[axis] * along / np.sqrt(np.maximum(1.0 - along * along, 1e-4))
    return half, 1.0 + np.minimum(terrace / spacing.min(), 40.0)


def _fit_crossings(
    points: NDArray[np.float64],
    axis: NDArray[np.int64],
    spacing: NDArray[np.float64],
    normals: NDArray[np.float64],
) -> _Fit:
    n = len(points)
    fit = _Fit(np.zeros(n), np.full(n, 9.0), np.full(n, 9.0), normals)
    for turn, radius in enumerate((_FIRST_RADIUS, *_RADII)):
        wider, last = turn in (2, 3, 4), turn == len(_RADII)
        todo = np.ones(n, bool)
        if wider:
            todo = (fit.spread > _SPREAD_ENOUGH_MM) & (fit.misfit < _MISFIT)
        elif last:
            todo = fit.misfit > _MISFIT
        tried = _fit_once(points, axis, spacing, fit.normals, radius * spacing.max(), todo)
        better = todo.copy()
        if wider:
            better &= (tried.misfit < _STILL_FITS) & (tried.spread < fit.spread)
        elif last:
            better &= tried.misfit < fit.misfit
        for name in ("shift", "spread", "misfit", "normals"):
            getattr(fit, name)[better] = getattr(tried, name)[better]
    return fit


def _fit_once(
    points: NDArray[np.float64],
    axis: NDArray[np.int64],
    spacing: NDArray[np.float64],
    normals: NDArray[np.float64],
    radius: float,
    todo: NDArray[np.bool_],
) -> _Fit:
    n = len(points)
    half, sharing = _half_spacing(normals, axis, spacing)
    low = points.min(axis=0) - 1e-6
    side = radius / 2.0
    dims = np.floor((points.max(axis=0) - low) / side).astype(np.int64) + 1
    cell = np.floor((points - low) / side).astype(np.int64)
    flat = (cell[:, 0] * dims[1] + cell[:, 1]) * dims[2] + cell[:, 2]
    order = np.argsort(flat, kind="stable")
    start = np.searchsorted(flat[order], np.arange(int(dims.prod()) + 1))
    variance = (half * half / 3.0 + 0.0009) * sharing  # 0.03 mm: what a quadric leaves over
    fitted = _Fit(np.zeros(n), np.full(n, 9.0), np.full(n, 9.0), normals[order])
    _kernels_fits.fit_quadrics(
        points[order], normals[order], (1.0 / variance)[order], radius, start, dims, low,
        todo[order], fitted.shift, fitted.spread, fitted.misfit, fitted.normals,
    )  # fmt: skip
    back = np.empty(n, dtype=np.int64)
    back[order] = np.arange(n)
    return _Fit(*(getattr(fitted, name)[back] for name in _Fit.__slots__))


def _move(
    fit: _Fit, axis: NDArray[np.int64], spacing: NDArray[np.float64], outward: bool
) -> NDArray[np.float64]:
    half, _ = _half_spacing(fit.normals, axis, spacing)
    move = np.clip(fit.shift, -half, half)
    if outward:
        rough = np.abs(fit.normals) @ spacing / 2.0 * np.clip(fit.misfit - 0.8, 0.0, 1.0)
        # on a plateau all crossings err alike: they fit too well, and the spread says too little
        alike = np.sqrt(np.maximum(1.0, 0.5 / np.maximum(fit.misfit, 1e-3)))
        coarse = np.clip((half - 0.5) / 0.5, 0.0, 1.0)
        spreads = _OUTWARD_SPREADS + coarse * (_BLIND_SPREADS * alike - _OUTWARD_SPREADS)
        move = move + _OUTWARD_MM + spreads * np.minimum(fit.spread, 1.0) + rough
    # 0.98: a vertex never passes the voxel centre beyond, so that centres keep their side
    return np.clip(move, -0.98 * half, np.maximum(0.98 * half, 0.0))
