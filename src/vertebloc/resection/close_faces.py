"""Where the piece's faces lie nearer to tumour than wanted: for whoever looks at margins later."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from vertebloc.anatomy.model import Vertebra
from vertebloc.resection.model import FaceKind, Kind, ResectionPlan
from vertebloc.resection.piece_map import map_piece
from vertebloc.resection.soft_faces import SOFT_NAMES, triangles_of_soft_faces
from vertebloc.space.distance import SignedDistance
from vertebloc.space.grids import Grid

#: Assumed: a region is all that lies within this of a close place, mm.
REACH_MM = 2.0
_FINE_MM = 1.0  #: the piece is looked at so finely


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CloseFace:
    """Places on one face that lie nearer to tumour than wanted."""

    name: str
    places: NDArray[np.float64]  #: (n, 3) mm, patient LPS
    margin_mm: float  #: least signed distance to tumour there


def find_close_faces(
    plan: ResectionPlan, vertebra: Vertebra, tumour: SignedDistance
) -> tuple[CloseFace, ...]:
    """Find the places on every face of the piece where the wanted margin is not reached.

    Parameters
    ----------
    plan : ResectionPlan
        The piece, its faces and the wanted margin.
    vertebra : Vertebra
        The diseased one: its frame names the dissected faces.
    tumour : SignedDistance
        Tumour and what counts as tumour.

    Returns
    -------
    tuple of CloseFace
        The nearest first; a face that keeps the wanted margin everywhere is left out.

    Notes
    -----
    Looked at in triangles of about 1 mm; a place between them may be missed by half of that.
    """
    fine = map_piece(plan.piece, plan.faces, tumour, _FINE_MM)
    corners: dict[str, NDArray[np.int64]] = {
        face.name: fine.corners_of(face.name)
        for face in plan.faces
        if face.kind is FaceKind.BONE and face.face is not None
    }
    soft = triangles_of_soft_faces(
        fine.surface, vertebra, plan.cuts, arch_only=plan.kind is Kind.ARCH_ONLY
    )
    for face, triangles in soft.items():
        corners[SOFT_NAMES[face]] = np.unique(fine.surface.triangles[triangles]).astype(np.int64)
    found = []
    for name, numbers in corners.items():
        close = numbers[fine.margins_mm[numbers] < plan.wanted_margin_mm]
        if len(close):
            found.append(
                CloseFace(
                    name=name,
                    places=fine.surface.vertices[close],
                    margin_mm=float(fine.margins_mm[close].min()),
                )
            )
    return tuple(sorted(found, key=lambda one: one.margin_mm))


def voxels_near(
    places: NDArray[np.float64], grid: Grid, reach_mm: float = REACH_MM
) -> tuple[tuple[int, int, int], NDArray[np.bool_]]:
    """Voxels of a grid whose centres lie within reach of any of some places.

    Parameters
    ----------
    places : (n, 3) float64, mm, patient LPS
        At least one.
    grid : Grid
        Of the images.
    reach_mm : float, mm
        How far.

    Returns
    -------
    tuple of ((int, int, int), (ni, nj, nk) bool)
        First index of the box about them, and the voxels in it.
    """
    index = grid.lps_from_ijk.inverse.points(places)
    around = np.ceil(reach_mm / grid.spacing_mm) + 1
    low = np.clip(np.floor(index.min(axis=0) - around), 0, np.array(grid.shape) - 1).astype(int)
    high = np.clip(np.ceil(index.max(axis=0) + around), low, np.array(grid.shape) - 1).astype(int)
    axes = [np.arange(a, b + 1) for a, b in zip(low, high, strict=True)]
    ijk = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    centres = grid.lps_from_ijk.points(ijk.reshape(-1, 3).astype(np.float64))
    away, _ = cKDTree(places).query(centres, distance_upper_bound=reach_mm)
    start = (int(low[0]), int(low[1]), int(low[2]))
    return start, np.asarray(np.isfinite(away)).reshape(ijk.shape[:3])
