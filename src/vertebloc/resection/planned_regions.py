"""What is planned as regions of the images: the piece, the bone taken piecemeal, each cut."""

from __future__ import annotations

from dataclasses import dataclass

from vertebloc.resection.model import FaceKind, ResectionPlan
from vertebloc.space.sections import surface_of_solid
from vertebloc.space.slices import slab_of_face
from vertebloc.space.surfaces import TriangleSurface


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedRegion:
    """One region, as it is planned: nobody outlined it."""

    name: str
    code: str  #: one word in capitals, at most 16 letters
    surface: TriangleSurface  #: closed, patient LPS


def planned_regions(plan: ResectionPlan, *, thick_mm: float) -> tuple[PlannedRegion, ...]:
    """Collect the regions of a plan.

    Parameters
    ----------
    plan : ResectionPlan
        Piece, nibbled bone and cut faces.
    thick_mm : float, mm
        How thick each cut is drawn, from the piece's face outwards.

    Returns
    -------
    tuple of PlannedRegion
        The piece first; a cut whose face is empty is left out.
    """
    found = [PlannedRegion(name="piece", code="PLANNED_PIECE", surface=plan.piece)]
    if plan.nibbled is not None and len(plan.nibbled.triangles):
        found.append(
            PlannedRegion(
                name="bone taken piecemeal", code="PLANNED_NIBBLED", surface=plan.nibbled
            )
        )
    for face in plan.faces:
        if face.kind is not FaceKind.BONE or face.face is None or face.face.is_empty:
            continue
        slab = surface_of_solid(slab_of_face(face.face, thick_mm))
        found.append(PlannedRegion(name=f"cut: {face.name}", code="PLANNED_CUT", surface=slab))
    return tuple(found)
