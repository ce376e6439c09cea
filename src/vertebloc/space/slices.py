"""What a solid is on the slices of a grid, and flat faces made thick."""

from __future__ import annotations

import manifold3d
import numpy as np
from numpy.typing import NDArray

from vertebloc.space.grids import Grid
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import Solid, solid_from_surface
from vertebloc.space.surfaces import TriangleSurface


def slab_of_face(face: PlanarFace, thick_mm: float) -> Solid:
    """A flat face thickened along its normal, away from what it bounds.

    Parameters
    ----------
    face : PlanarFace
        Any face; may be empty.
    thick_mm : float, mm
        How thick; above 0.

    Returns
    -------
    Solid
        Empty if the face is.
    """
    if face.is_empty:
        return manifold3d.Manifold()
    placed = np.ascontiguousarray(face.lps_from_plane.matrix[:3, :4])
    flat = manifold3d.CrossSection(
        [[(float(x), float(y)) for x, y in loop] for loop in face.loops],
        manifold3d.FillRule.Positive,
    )
    return flat.extrude(thick_mm).transform(placed)


def sections_on_slices(
    surface: TriangleSurface, grid: Grid
) -> dict[int, tuple[NDArray[np.float64], ...]]:
    """Where the slices of a grid cut a closed surface.

    Parameters
    ----------
    surface : TriangleSurface
        Closed and outward, patient LPS.
    grid : Grid
        Of the images.

    Returns
    -------
    dict of int to tuple of (n, 2) float64
        By slice k, closed loops in voxel indices (i, j); holes run the other way. Slices that
        are not reached are left out.
    """
    into_grid = np.ascontiguousarray(grid.lps_from_ijk.inverse.matrix[:3, :4])
    solid = solid_from_surface(surface).transform(into_grid)
    _, _, low, _, _, high = solid.bounding_box()
    slices = range(max(0, int(np.ceil(low))), min(grid.shape[2] - 1, int(np.floor(high))) + 1)
    found = {
        k: tuple(
            np.asarray(loop, dtype=np.float64) for loop in solid.slice(float(k)).to_polygons()
        )
        for k in slices
    }
    return {k: loops for k, loops in found.items() if loops}
