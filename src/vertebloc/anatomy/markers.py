"""Beside which vertebra is a marker outlined?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import CanalSpline, Vertebra
from vertebloc.anatomy.outlines import mask_points, outline_mask, split_components
from vertebloc.anatomy.structures import Structure

_BESIDE_MM = 60.0  #: a marker in or on a vertebra lies no farther from its body's middle (assumed)


def find_markers(
    contours: ContourSet, canal: CanalSpline, vertebrae: Sequence[Vertebra]
) -> tuple[Level, ...]:
    """Vertebrae beside which an implant is outlined, from head to feet.

    Parameters
    ----------
    contours : ContourSet
        All outlines; a placed marker is outlined as an implant.
    canal : CanalSpline
        Middle of the canal.
    vertebrae : sequence of Vertebra
        Those wholly in view.

    Returns
    -------
    tuple of Level
        Each once. A part of an implant counts for the body nearest along the canal, if it lies
        within 60 mm of its middle (assumed). Says nothing of which implant is the marker.
    """
    found = set()
    for outline in contours.of(Structure.IMPLANT):
        mask = outline_mask(contours, (outline,))
        for part in split_components(mask) if mask is not None else ():
            middle = mask_points(part).mean(axis=0)
            s = float(canal.nearest_s_mm(middle)[0])
            nearest = min(vertebrae, key=lambda v: abs(v.canal_s_mm - s), default=None)
            if nearest is None or nearest.level is None:
                continue
            away = float(np.linalg.norm(nearest.lps_from_vertebra.origin - middle))
            if away <= _BESIDE_MM:
                found.add(nearest.level)
    return tuple(sorted(found))
