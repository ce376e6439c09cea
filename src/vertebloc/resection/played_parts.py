"""The bones taken apart as the plan cuts them, with few triangles, to be looked at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from vertebloc.resection.model import FaceKind, ResectionPlan
from vertebloc.resection.piece import SIMPLER_BY_MM
from vertebloc.resection.printed_piece import CRUMB_MM3, without_crumbs
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import (
    Solid,
    hull_of_face,
    solid_from_surface,
    surface_of_solid,
    triangles_of_face,
    united,
)
from vertebloc.space.surfaces import TriangleSurface

#: No point of a surface that is only looked at is moved by more than this, mm.
COARSE_MM = 0.2
#: A cut is drawn so much wider than the bone it goes through: it would be hidden otherwise.
WIDER = 1.3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlayedPart:
    """One surface of the picture that moves and fades as a whole."""

    name: str
    kind: str  #: bone, piece, nibbled, tumour, sac, vessel, rib or blade
    surface: TriangleSurface


def played_parts(solids: ResectionSolids, plan: ResectionPlan) -> tuple[PlayedPart, ...]:
    """What stays, what is nibbled, the piece, the tumour, the blades, and what lies beside.

    Parameters
    ----------
    solids : ResectionSolids
        Bones, tumour, sac, vessels, ribs.
    plan : ResectionPlan
        Cuts and piece.

    Returns
    -------
    tuple of PlayedPart
        Bone without piece and nibbled bone; with them it is whole. The blade's width stays in
        the bone that stays.
    """
    gone = [plan.piece]
    if plan.nibbled is not None and len(plan.nibbled.triangles):
        gone.append(plan.nibbled)
    taken = united(solid_from_surface(surface) for surface in gone)
    found = [
        _part(f"what stays of {level}", "bone", _left(surface, taken))
        for level, surface in solids.bone.items()
    ]
    for name, surface in zip(("piece", "nibbled"), gone, strict=False):
        found.append(_part(name, name, _coarse(surface)))
    found.append(_part("tumour", "tumour", _coarse(solids.tumour)))
    found += [_part(name, "rib", _left(rib, taken)) for name, rib in solids.ribs.items()]
    beside: Mapping[str, TriangleSurface | None] = {"sac": solids.sac, "aorta": solids.aorta}
    found += [
        _part(name, "sac" if name == "sac" else "vessel", _coarse(surface))
        for name, surface in beside.items()
        if surface is not None
    ]
    blades = blade_surface(plan)
    if len(blades.triangles):
        found.append(PlayedPart(name="cuts", kind="blade", surface=blades))
    return tuple(part for part in found if len(part.surface.triangles))


def blade_surface(plan: ResectionPlan) -> TriangleSurface:
    """The cut faces of the piece as sheets that stand out of the bone, as one open surface.

    Parameters
    ----------
    plan : ResectionPlan
        Its bone faces.

    Returns
    -------
    TriangleSurface
        No two triangles share a corner; none if no face is flat.
    """
    flat = [
        triangles_of_face(_widened(one.face))
        for one in plan.faces
        if one.kind is FaceKind.BONE and one.face is not None and not one.face.is_empty
    ]
    corners = np.concatenate(flat).reshape(-1, 3) if flat else np.empty((0, 3))
    return TriangleSurface(corners, np.arange(len(corners), dtype=np.int32).reshape(-1, 3))


def _widened(face: PlanarFace) -> PlanarFace:
    """A cut face without its holes and hollows, a little larger about its middle."""
    (loop,) = hull_of_face(face).loops
    middle = loop.mean(axis=0)
    return PlanarFace(face.lps_from_plane, (middle + WIDER * (loop - middle),))


def _left(bone: TriangleSurface, taken: Solid) -> Solid:
    """Bone without what is taken, cut as the plan cut it: no shreds stay along its surface."""
    rest = solid_from_surface(bone).simplify(SIMPLER_BY_MM) - taken
    return without_crumbs(rest, CRUMB_MM3)


def _coarse(surface: TriangleSurface) -> Solid:
    return solid_from_surface(surface).simplify(COARSE_MM)


def _part(name: str, kind: str, solid: Solid) -> PlayedPart:
    return PlayedPart(name=name, kind=kind, surface=surface_of_solid(solid.simplify(COARSE_MM)))
