"""What the picture of a planned case needs and no sheet does: made when it is asked for."""

from __future__ import annotations

from collections.abc import Mapping

from vertebloc.case.choice_words import ArchPart
from vertebloc.resection.arch_surfaces import arch_surfaces
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.workflow.compute_plan import Prepared


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
