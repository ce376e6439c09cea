"""Margin at every place of a face of the piece, not only at its weakest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.resection.face_points import lattice_points
from vertebloc.space.distance import SignedDistance
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Points

PITCH_MM = 1.5


@dataclass(frozen=True, slots=True, eq=False)
class MarginMap:
    """Margins over a face: each point stands for a part of its area."""

    points: Points  #: (n, 3) mm, patient LPS
    margins_mm: NDArray[np.float64]  #: (n,) signed distance to tumour
    areas_mm2: NDArray[np.float64]  #: (n,) what each point stands for

    @property
    def weakest(self) -> NDArray[np.float64]:
        """The point nearest to tumour, (3,) mm, patient LPS."""
        return np.asarray(self.points[int(np.argmin(self.margins_mm))])

    @property
    def margin_mm(self) -> float:
        """Least of the margins."""
        return float(self.margins_mm.min())

    def area_below_mm2(self, margin_mm: float) -> float:
        """Area of the face that keeps less than a margin.

        Parameters
        ----------
        margin_mm : float, mm
            The margin asked for; 0: what lies in tumour.

        Returns
        -------
        float, mm2
            Counted point by point.
        """
        return float(self.areas_mm2[self.margins_mm < margin_mm].sum())


def map_margins(face: PlanarFace, tumour: SignedDistance, pitch_mm: float = PITCH_MM) -> MarginMap:
    """Measure the distance to tumour all over a flat face.

    Parameters
    ----------
    face : PlanarFace
        A face with at least one loop.
    tumour : SignedDistance
        Tumour and what counts as tumour.
    pitch_mm : float, mm
        Distance between neighbouring points.

    Returns
    -------
    MarginMap
        Every point stands for the same area; together they are the face's.

    Raises
    ------
    InputError
        If the face has no area, or is so thin that no point falls into it.

    Notes
    -----
    The least of these is never below the face's own margin (``measure_face``), and above it by
    at most the pitch on a face wider than that, since distances change no faster than places.
    """
    points = np.zeros((0, 3)) if face.is_empty else lattice_points(face, pitch_mm)
    if not len(points):
        raise InputError(
            f"no point of a lattice {pitch_mm:g} mm wide falls into a face of "
            f"{face.area_mm2:.1f} mm2: use a smaller pitch"
        )
    areas = np.full(len(points), face.area_mm2 / len(points))
    return MarginMap(points, tumour.signed_distance_mm(points), areas)


def map_surface_margins(
    surface: TriangleSurface, triangles: NDArray[np.int64], tumour: SignedDistance
) -> MarginMap:
    """Measure the distance to tumour all over a part of a surface.

    Parameters
    ----------
    surface : TriangleSurface
        The piece.
    triangles : (m,) int64
        The triangles that make up the face, from ``triangles_of_soft_faces``.
    tumour : SignedDistance
        Tumour and what counts as tumour.

    Returns
    -------
    MarginMap
        One point a triangle, its middle, which stands for the triangle's area.

    Raises
    ------
    InputError
        If there is no triangle.
    """
    if not len(triangles):
        raise InputError("a map of margins needs at least one triangle of the piece's surface")
    corners = surface.corners[triangles]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    points = corners.mean(axis=1)
    areas = np.linalg.norm(across, axis=1) / 2.0
    return MarginMap(points, tumour.signed_distance_mm(points), areas)
