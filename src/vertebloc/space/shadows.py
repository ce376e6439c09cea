"""Outlines of solids and surfaces as they are seen from one side."""

from __future__ import annotations

import manifold3d
import numpy as np
from numpy.typing import NDArray

from vertebloc.space import tolerances
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import Solid, face_of_section
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Transform


def shadow_of_solid(
    solid: Solid, lps_from_plane: Transform, *, closing_mm: float = 0.0
) -> PlanarFace:
    """The outline of a solid as it is seen along a plane's normal.

    Parameters
    ----------
    solid : Solid
        What is looked at.
    lps_from_plane : Transform
        The plane on which it is drawn.
    closing_mm : float, mm
        Gaps narrower than twice this are closed; 0: none.

    Returns
    -------
    PlanarFace
        Everything that is hidden behind the solid, no loops if it is empty.
    """
    into_plane = lps_from_plane.inverse.matrix[:3, :4]
    seen = solid.transform(np.ascontiguousarray(into_plane)).project()
    if closing_mm > 0.0:
        round_join = manifold3d.JoinType.Round
        seen = seen.offset(closing_mm, round_join, circular_segments=32)
        seen = seen.offset(-closing_mm, round_join, circular_segments=32).simplify(0.02)
    return face_of_section(lps_from_plane, seen)


def shadow_of_triangles(
    surface: TriangleSurface, chosen: NDArray[np.int64], lps_from_plane: Transform
) -> PlanarFace:
    """The outline of some triangles of a surface as it is seen along a plane's normal.

    Parameters
    ----------
    surface : TriangleSurface
        Whose triangles.
    chosen : (m,) int64
        Their numbers.
    lps_from_plane : Transform
        The plane on which they are drawn.

    Returns
    -------
    PlanarFace
        Their union, no loops if there are none.

    Notes
    -----
    Triangles that look away are turned. How often a place is covered is then the sum of all
    triangles' turns about it; an edge that two of them run along in opposite directions adds
    nothing to that, so that only the others are handed to the union.
    """
    corners = surface.triangles[chosen]
    flat = lps_from_plane.inverse.points(surface.vertices)[:, :2]
    a, b = flat[corners[:, 1]] - flat[corners[:, 0]], flat[corners[:, 2]] - flat[corners[:, 0]]
    turn = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    corners = np.where((turn < 0.0)[:, None], corners[:, ::-1], corners)
    corners = corners[np.abs(turn) > tolerances.EMPTY]
    edges = np.asarray(corners[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), dtype=np.int64)
    seen = [flat[loop].tolist() for loop in _loops_of_edges(edges, len(flat))]
    section = manifold3d.CrossSection(seen, manifold3d.FillRule.NonZero)
    return face_of_section(lps_from_plane, section)


def _loops_of_edges(edges: NDArray[np.int64], count: int) -> list[list[int]]:
    """Closed loops of the edges that no opposite one cancels; each edge is run once."""
    low, high = edges.min(axis=1), edges.max(axis=1)
    keys, place = np.unique(low * count + high, return_inverse=True)
    runs = np.zeros(len(keys), dtype=np.int64)
    np.add.at(runs, place, np.where(edges[:, 0] == low, 1, -1))
    onward: dict[int, list[int]] = {}
    for key, times in zip(keys[runs != 0].tolist(), runs[runs != 0].tolist(), strict=True):
        ends = divmod(key, count) if times > 0 else divmod(key, count)[::-1]
        onward.setdefault(ends[0], []).extend([ends[1]] * abs(times))
    loops = []
    while onward:  # as many edges end in each corner as begin there: whoever goes on comes home
        start = at = next(iter(onward))
        loop = []
        while True:
            loop.append(at)
            ways = onward[at]
            following = ways.pop()
            if not ways:
                del onward[at]
            at = following
            if at == start:
                break
        loops.append(loop)
    return loops
