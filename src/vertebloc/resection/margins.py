"""The margin of one finite face: its least signed distance to tumour, and where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.resection.face_points import (
    PITCH_MM,
    lattice_points,
    points_on_lattice,
    rim_points,
    spread_points,
)
from vertebloc.space.distance import SignedDistance
from vertebloc.space.polygons import PlanarFace

_FINE_MM = 0.05  #: apart of the points around the nearest one


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceDistance:
    """What was measured on one face."""

    margin_mm: float
    weakest: NDArray[np.float64]  #: (3,) mm, patient LPS
    tumour_crossed_mm2: float


def measure_face(face: PlanarFace, tumour: SignedDistance) -> FaceDistance:
    """Least signed distance of a finite face to tumour, its place, and tumour cut through.

    Parameters
    ----------
    face : PlanarFace
        The cut face as it is, with its rim; never the infinite plane.
    tumour : SignedDistance
        Tumour and what counts as tumour.

    Returns
    -------
    FaceDistance
        Negative margin where tumour reaches through the face.

    Raises
    ------
    InputError
        If the face has no area.

    Notes
    -----
    Points every 0.5 mm, then every 0.05 mm around the nearest. The rim is followed, so that a
    point of the face is missed by at most 0.25 mm and the margin is overstated by less; the
    distance changes by at most the way gone. Says nothing of tumour beside the face: see
    ``containment``.
    """
    if face.is_empty:
        raise InputError("a margin needs a face with an area: the plane misses the bone")
    points = spread_points(face)
    distances = tumour.signed_distance_mm(points)
    best = int(np.argmin(distances))
    weakest, margin = points[best], float(distances[best])
    near = _closer_points(face, weakest)
    if len(near):
        fine = tumour.signed_distance_mm(near)
        if fine.min() < margin:
            weakest, margin = near[int(np.argmin(fine))], float(fine.min())
    inner = tumour.signed_distance_mm(lattice_points(face))
    crossed = float(np.mean(inner < 0.0)) * face.area_mm2 if len(inner) else 0.0
    return FaceDistance(margin_mm=margin, weakest=weakest, tumour_crossed_mm2=crossed)


def _closer_points(face: PlanarFace, middle: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points every 0.05 mm around a place of the face: those inside it, and along its rim."""
    centre = face.lps_from_plane.inverse.points(middle)[0, :2]
    count = 2 * round(PITCH_MM / _FINE_MM) + 1
    inner = points_on_lattice(face, centre - PITCH_MM, (count, count), _FINE_MM)
    rim = rim_points(face, _FINE_MM)
    return np.concatenate((inner, rim[np.linalg.norm(rim - middle, axis=1) <= PITCH_MM]))
