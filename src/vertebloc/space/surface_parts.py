"""Parts of a solid's surface that lie inside another solid."""

from __future__ import annotations

import manifold3d
import numpy as np
from numpy.typing import NDArray

from vertebloc.space.sections import Solid


def grown_box(bounds: tuple[float, ...], by_mm: float) -> Solid:
    """A box around what a solid's ``bounding_box`` says, larger on every side.

    Parameters
    ----------
    bounds : tuple of six float, mm
        Least x, y, z, then largest.
    by_mm : float, mm
        How much larger.

    Returns
    -------
    Solid
        For the other functions of this module.
    """
    low, high = np.array(bounds[:3]) - by_mm, np.array(bounds[3:]) + by_mm
    return manifold3d.Manifold.cube(tuple(high - low)).translate(tuple(low))


def surface_within(
    solid: Solid, other: Solid, *, finer_than_mm: float = 0.0
) -> NDArray[np.float64]:
    """The part of a solid's surface that lies inside another solid.

    Parameters
    ----------
    solid : Solid
        Whose surface.
    other : Solid
        Inside which.
    finer_than_mm : float, mm
        Split triangles until no edge is longer; 0: as they come.

    Returns
    -------
    (n, 3, 3) float64, mm
        Corners of triangles; where the surfaces coincide, it depends on rounding.
    """
    marked = solid.as_original()
    meeting = marked ^ other.as_original()
    if meeting.is_empty():
        return np.empty((0, 3, 3))
    if finer_than_mm > 0:
        meeting = meeting.refine_to_length(finer_than_mm)
    mesh = meeting.to_mesh64()
    starts = np.asarray(mesh.run_index) // 3
    triangles = np.asarray(mesh.tri_verts).astype(np.int64)
    chosen = np.zeros(len(triangles), dtype=np.bool_)
    for run, owner in enumerate(mesh.run_original_id):
        chosen[starts[run] : starts[run + 1]] = owner == marked.original_id()
    return np.asarray(np.asarray(mesh.vert_properties)[:, :3][triangles[chosen]])
