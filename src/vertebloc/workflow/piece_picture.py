"""What the picture of a planned case needs and no sheet does: made when it is asked for."""

from __future__ import annotations

from collections.abc import Mapping

from vertebloc.case.choice_words import ArchPart
from vertebloc.resection import ResectionPlan
from vertebloc.resection.arch_surfaces import arch_surfaces
from vertebloc.resection.piece_map import PieceMap, map_piece
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.workflow.compute_plan import Prepared


def piece_map(prepared: Prepared, plan: ResectionPlan) -> PieceMap:
    """Distances to tumour all over the piece.

    Parameters
    ----------
    prepared : Prepared
        Holds the tumour.
    plan : ResectionPlan
        Holds the piece.

    Returns
    -------
    PieceMap
        For the picture.
    """
    return map_piece(plan.piece, plan.faces, prepared.solids.tumour_field)


def arch_parts(prepared: Prepared) -> Mapping[ArchPart, TriangleSurface]:
    """The parts of the diseased vertebra's arch.

    Parameters
    ----------
    prepared : Prepared
        Holds the bone.

    Returns
    -------
    mapping of ArchPart to TriangleSurface
        As a plan tells them apart.
    """
    return arch_surfaces(prepared.solids, prepared.anatomy.vertebrae[prepared.level])
