"""The faces of the piece that are dissected: towards the sac, the sides and the front."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.model import Vertebra
from vertebloc.case.choice_words import SoftFace
from vertebloc.case.choices import CuffChoice
from vertebloc.resection.barriers import soft_barrier
from vertebloc.resection.model import FaceKind, FaceMargin, HalfCut
from vertebloc.resection.nearest_place import nearest_place
from vertebloc.resection.piece import JOIN_MM
from vertebloc.resection.places import place_in_words
from vertebloc.space.distance import SignedDistance
from vertebloc.space.surfaces import TriangleSurface

#: A triangle this near to a cutting plane belongs to that cut, mm: booleans are exact to 1e-6.
_ON_PLANE_MM = 0.02
#: What each soft face is called in a plan.
SOFT_NAMES = {
    SoftFace.DURA: "sac",
    SoftFace.LEFT_SIDE: "left side",
    SoftFace.RIGHT_SIDE: "right side",
    SoftFace.FRONT: "front",
}


def measure_soft_faces(
    piece: TriangleSurface,
    vertebra: Vertebra,
    cuts: tuple[HalfCut, ...],
    tumour: SignedDistance,
    cuffs: Mapping[SoftFace, CuffChoice],
    *,
    arch_only: bool = False,
) -> tuple[FaceMargin, ...]:
    """Distance from each dissected face of the piece to tumour, with the chosen cuff.

    Parameters
    ----------
    piece : TriangleSurface
        The piece.
    vertebra : Vertebra
        Its frame names the directions.
    cuts : tuple of HalfCut
        Triangles on these planes are bone faces and not counted here.
    tumour : SignedDistance
        Tumour and what counts as tumour.
    cuffs : mapping of SoftFace to CuffChoice
        Soft tissue taken along: its thickness is added where a cuff is chosen.
    arch_only : bool
        Whether the piece is the arch, which has the sac in front of it and muscle behind.

    Returns
    -------
    tuple of FaceMargin
        Where tumour lies bare on the piece, 0 mm by construction; never negative.
    """
    corners = piece.corners
    parts = triangles_of_soft_faces(piece, vertebra, cuts, arch_only=arch_only)
    areas = _areas(corners)
    found = []
    for face, name in SOFT_NAMES.items():
        chosen = parts[face]
        if not len(chosen):
            continue
        nearest_mm, weakest = nearest_place(corners[chosen], tumour)
        to_tumour_mm = max(nearest_mm, 0.0)
        cuff = cuffs[face]
        found.append(
            FaceMargin(
                name=name,
                kind=FaceKind.SOFT,
                area_mm2=float(areas[chosen].sum()),
                margin_mm=to_tumour_mm + cuff.thickness_mm,
                weakest=weakest,
                weakest_in_words=place_in_words(vertebra, weakest),
                tumour_crossed_mm2=0.0,
                barrier=soft_barrier(face, cuff, to_tumour_mm, arch_only=arch_only),
                allowance=None,
                face=None,
            )
        )
    return tuple(found)


def triangles_of_soft_faces(
    piece: TriangleSurface,
    vertebra: Vertebra,
    cuts: tuple[HalfCut, ...],
    *,
    arch_only: bool = False,
) -> dict[SoftFace, NDArray[np.int64]]:
    """Which triangles of the piece's surface belong to which dissected face.

    Parameters
    ----------
    piece : TriangleSurface
        The piece.
    vertebra : Vertebra
        Its frame names the directions.
    cuts : tuple of HalfCut
        Triangles on these planes are bone faces and belong to none.
    arch_only : bool
        Whether the piece is the arch, which has the sac in front of it and muscle behind.

    Returns
    -------
    dict of SoftFace to (m,) int64
        Numbers of triangles; empty where the piece has no such face.
    """
    corners = piece.corners
    middles = corners.mean(axis=1)
    cut_away = np.zeros(len(middles), dtype=np.bool_)
    for cut in cuts:
        on_plane = np.abs(cut.plane.signed_distance_mm(piece.vertices)) < _ON_PLANE_MM
        cut_away |= np.all(on_plane[piece.triangles], axis=1)
    normals = vertebra.lps_from_vertebra.inverse.vectors(_across(corners))
    apart = cut_away | _in_disc(normals) | _on_seam(vertebra, piece)
    facing = _facing(vertebra, normals, middles, arch_only=arch_only)
    chosen = ~apart & (_areas(corners) > 1e-9)
    return {
        face: np.flatnonzero(chosen & (facing == place)) for place, face in enumerate(SOFT_NAMES)
    }


def _across(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """A normal of each triangle, twice as long as its area."""
    return np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])


def _areas(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Area of each triangle, mm2."""
    return np.asarray(np.linalg.norm(_across(corners), axis=1) / 2.0)


def _facing(
    vertebra: Vertebra,
    normals: NDArray[np.float64],
    middles: NDArray[np.float64],
    *,
    arch_only: bool,
) -> NDArray[np.int64]:
    """Which soft face each triangle belongs to, by the direction it faces.

    Of an arch, what faces forward lies on the sac; its back counts to the sides.
    """
    local = vertebra.lps_from_vertebra.inverse.points(middles)
    x, y = normals[:, 0], normals[:, 1]
    half = (vertebra.left_wall_mm - vertebra.right_wall_mm) / 2.0
    towards_sac = -y if arch_only else y
    back = (towards_sac > np.abs(x)) & (np.abs(local[:, 0]) < 0.6 * half)
    front = -y > np.abs(x)
    left = local[:, 0] > 0.0
    names = list(SOFT_NAMES)
    facing = np.where(left, names.index(SoftFace.LEFT_SIDE), names.index(SoftFace.RIGHT_SIDE))
    if not arch_only:
        facing[front] = names.index(SoftFace.FRONT)
    facing[back] = names.index(SoftFace.DURA)
    return facing


def _in_disc(normals: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Triangles that face up or down: endplates within the piece, where nobody dissects."""
    return np.asarray(np.abs(normals[:, 2]) > np.hypot(normals[:, 0], normals[:, 1]))


def _on_seam(vertebra: Vertebra, piece: TriangleSurface) -> NDArray[np.bool_]:
    """Slivers in the mid-plane, where the two halves of the piece were joined."""
    across = vertebra.lps_from_vertebra.inverse.points(piece.vertices)[:, 0]
    return np.asarray(np.all((np.abs(across) < 2.0 * JOIN_MM)[piece.triangles], axis=1))
