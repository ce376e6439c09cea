"""The frame of travel: the plane midway between the two cuts, in which the piece moves."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.model import Vertebra
from vertebloc.resection.model import ResectionPlan
from vertebloc.space.frames import Frame
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Points, Transform


def lps_from_travel(plan: ResectionPlan, vertebra: Vertebra) -> Transform:
    """Frame of travel of a planned piece.

    Parameters
    ----------
    plan : ResectionPlan
        Its body cuts; without any, the vertebra's own axis is square to the plane.
    vertebra : Vertebra
        The diseased one.

    Returns
    -------
    Transform
        +x towards the patient's left, +y towards the back, +z square to the plane midway between
        the cuts, towards the head; origin in the piece's middle.

    Notes
    -----
    Where the cuts are not parallel, both lean by the same angle against this plane, so that a
    piece that moves in it moves along the wedge.
    """
    lps = vertebra.lps_from_vertebra
    across, up = lps.vectors([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    normals = np.array(
        [
            cut.plane.normal * (1.0 if cut.plane.normal @ up > 0.0 else -1.0)
            for cut in plan.cuts
            if abs(cut.plane.normal @ up) > 0.5
        ]
    )
    z = normals.sum(axis=0) if len(normals) else up
    z = z / np.linalg.norm(z)
    x = across - (across @ z) * z
    x /= np.linalg.norm(x)
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2] = x, np.cross(z, x), z
    matrix[:3, 3] = middle_of(plan.piece)
    return Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)


def middle_of(surface: TriangleSurface) -> NDArray[np.float64]:
    """Centre of the volume within a closed surface.

    Parameters
    ----------
    surface : TriangleSurface
        Closed.

    Returns
    -------
    (3,) float64, mm
        In the surface's frame.
    """
    origin = surface.vertices.mean(axis=0)
    corners = surface.corners - origin
    volumes = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
    return np.asarray(
        origin + (volumes[:, None] * corners.sum(axis=1)).sum(axis=0) / (4.0 * volumes.sum())
    )


def along(points: Points, spacing_mm: float) -> Points:
    """Evenly spaced points on the straight pieces between points.

    Parameters
    ----------
    points : (n, 3) float64, mm
        In order, at least two.
    spacing_mm : float, mm
        At most so far apart.

    Returns
    -------
    (m, 3) float64, mm
        From the first to the last.
    """
    s = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))))
    places = np.linspace(0.0, s[-1], int(np.ceil(s[-1] / spacing_mm)) + 1)
    return np.column_stack([np.interp(places, s, points[:, axis]) for axis in range(3)])
