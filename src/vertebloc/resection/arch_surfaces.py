"""The parts of the arch as surfaces, to be shown and chosen on a slice."""

from __future__ import annotations

from collections.abc import Mapping

from vertebloc.anatomy.model import Vertebra
from vertebloc.case.choice_words import ArchPart
from vertebloc.resection.arch_parts import split_arch
from vertebloc.resection.piece import SIMPLER_BY_MM, wall_plane
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.sections import solid_from_surface, surface_of_solid, trimmed
from vertebloc.space.surfaces import TriangleSurface


def arch_surfaces(
    solids: ResectionSolids, vertebra: Vertebra
) -> Mapping[ArchPart, TriangleSurface]:
    """Split the diseased vertebra's arch, as a plan does, into surfaces.

    Parameters
    ----------
    solids : ResectionSolids
        Surfaces of the bones.
    vertebra : Vertebra
        The diseased one.

    Returns
    -------
    mapping of ArchPart to TriangleSurface
        Closed; parts of which there is no bone are left out.
    """
    wall = solids.back_walls.get(solids.level, wall_plane(vertebra, keep_front=True))
    bone = solid_from_surface(solids.bone[solids.level]).simplify(SIMPLER_BY_MM)
    parts = split_arch(trimmed(bone, [wall.turned]), vertebra)
    return {part: surface_of_solid(solid) for part, solid in parts.items() if not solid.is_empty()}
