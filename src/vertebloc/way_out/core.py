"""The common core: what of the piece stays in place under every tilt and lift of a family."""

from __future__ import annotations

import numpy as np
from skimage.measure import marching_cubes

from vertebloc.errors import NoSolutionError
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.way_out.clearances import Body, make_body
from vertebloc.way_out.model import WayOutSettings


def common_core(body: Body, settings: WayOutSettings) -> tuple[Body, float]:
    """A body that lies within the piece whichever way the family tilts and lifts it.

    Parameters
    ----------
    body : Body
        The piece; tilts turn about axes through the origin, square to the normal of travel.
    settings : WayOutSettings
        Largest tilt and lift.

    Returns
    -------
    tuple of (Body, float, mm)
        The core, and the most that any motion of the family moves a point of it.

    Raises
    ------
    NoSolutionError
        If nothing of the piece is common to all: the family is too large for a proof.

    Notes
    -----
    A motion of the family moves a point x by at most 2 sin(t / 2) |x| + lift, so that x stays in
    the piece if it lies deeper in it than that. Every pose of the family is a move in the plane
    after such a motion: it covers the same move of the core. If the core cannot leave, no pose
    of the family can; the other way round nothing follows.
    """
    field = body.field.distances
    i, j, k = np.indices(field.grid.shape, dtype=np.float64)
    points = field.grid.lps_from_ijk.points(np.column_stack([a.ravel() for a in (i, j, k)]))
    turn = 2.0 * np.sin(np.radians(settings.tilt_deg) / 2.0)
    moved = turn * np.linalg.norm(points, axis=1) + settings.lift_mm
    deep = np.asarray(field.values, dtype=np.float64).ravel() + moved + settings.field_error_mm
    deep = deep.reshape(field.grid.shape)
    if deep.min() >= -0.5:
        raise NoSolutionError(
            f"no common core: tilts of {settings.tilt_deg:g} degrees and lifts of "
            f"{settings.lift_mm:g} mm leave no part of the piece in common: use smaller ones",
            reasons=("the family is larger than the piece is thick",),
        )
    corners, triangles, _, _ = marching_cubes(deep, 0.0)
    lps = field.grid.lps_from_ijk.points(corners.astype(np.float64))
    surface = TriangleSurface(lps, triangles)
    if surface.volume_mm3 < 0.0:
        surface = TriangleSurface(lps, triangles[:, ::-1])
    core = make_body(surface, settings)
    far = np.linalg.norm(core.samples.points, axis=1).max()
    return core, float(turn * far + settings.lift_mm)
