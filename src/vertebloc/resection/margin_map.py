"""Margin at every place of a flat face of the piece, not only at its weakest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.resection.face_points import lattice_points
from vertebloc.space.distance import SignedDistance
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.transforms import Points

PITCH_MM = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class MarginMap:
    """Margins over a face on a square lattice: each point stands for the same area."""

    points: Points  #: (n, 3) mm, patient LPS
    margins_mm: NDArray[np.float64]  #: (n,) signed distance to tumour
    pitch_mm: float


def map_margins(face: PlanarFace, tumour: SignedDistance, pitch_mm: float = PITCH_MM) -> MarginMap:
    """Measure the distance to tumour all over a face.

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
        The least of these is never below the face's own margin, and above it by at most the
        pitch, since distances change no faster than places.
    """
    points = lattice_points(face, pitch_mm)
    return MarginMap(points, tumour.signed_distance_mm(points), pitch_mm)
