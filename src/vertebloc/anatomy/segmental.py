"""Segmental vessels: drawn, or modelled round the waist of their own body."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Vertebra
from vertebloc.anatomy.outlines import outline_mask, sample_mask
from vertebloc.anatomy.strands import Strand, line_of_mask
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points

#: Assumed, mm: artery and vein of one side as one strand, and how far it lies off the bone.
ASSUMED_VESSEL_RADIUS_MM = 1.3
_OFF_BONE_MM = 0.7
_FROM_DEG, _TO_DEG = 8.0, 105.0  #: from beside the front midline to before the foramen
_REACH_MM, _STEP_MM = 45.0, 0.25


def find_segmental_vessels(
    contours: ContourSet, anatomy: Anatomy, bones: Mapping[Level, Volume]
) -> tuple[Strand, ...]:
    """Segmental vessels of all thoracic and lumbar vertebrae in view.

    Parameters
    ----------
    contours : ContourSet
        Drawn vessels go before modelled ones.
    anatomy : Anatomy
        Vertebrae.
    bones : mapping of Level to Volume
        Their bone.

    Returns
    -------
    tuple of Strand
        Head to feet, left before right; each from the front midline backwards.

    Notes
    -----
    A modelled one follows the body's wall at mid-body, in the vertebra's own plane. Real ones
    may run slanting, be doubled or missing: look at the images with contrast.
    """
    found = []
    for level in sorted(anatomy.vertebrae):
        if level.region not in ("T", "L"):
            continue
        vertebra = anatomy.vertebrae[level]
        for side in Side:
            drawn = outline_mask(contours, (Contour(Structure.SEGMENTAL_VESSEL, level, side),))
            if drawn is not None:
                front = [[0.0, vertebra.anterior_wall_mm, 0.0]]
                start = vertebra.lps_from_vertebra.points(front)[0]
                line, radius = line_of_mask(drawn, start)
                about = "drawn by the team; radius of a tube of the same volume"
            else:
                line, radius = _round_body(vertebra, bones[level], side), ASSUMED_VESSEL_RADIUS_MM
                about = (
                    f"modelled: round the body at its mid-height, {_OFF_BONE_MM:.1f} mm off the "
                    f"bone, radius {radius:.1f} mm (assumed)"
                )
            found.append(
                Strand(
                    structure=Structure.SEGMENTAL_VESSEL,
                    level=level,
                    side=side,
                    lps_mm=line,
                    radius_mm=radius,
                    modelled=drawn is None,
                    about=about,
                )
            )
    return tuple(found)


def _round_body(vertebra: Vertebra, bone: Volume, side: Side) -> Points:
    """Points round the wall of the body at its middle, from the front to the back corner."""
    angle = np.deg2rad(np.linspace(_FROM_DEG, _TO_DEG, 24))
    outwards = np.stack([side.sign * np.sin(angle), -np.cos(angle), np.zeros(24)], axis=1)
    way = np.arange(0.0, _REACH_MM, _STEP_MM)
    own = way[None, :, None] * outwards[:, None, :]
    lps = vertebra.lps_from_vertebra.points(own.reshape(-1, 3)).reshape(own.shape)
    inside = sample_mask(bone, lps) >= 0.5
    wall = _walls_mm(vertebra, outwards, way, inside)
    off = wall + _OFF_BONE_MM + ASSUMED_VESSEL_RADIUS_MM
    return vertebra.lps_from_vertebra.points(off[:, None] * outwards)


def _walls_mm(
    vertebra: Vertebra,
    outwards: Points,
    way: NDArray[np.float64],
    inside: NDArray[np.bool_],
) -> NDArray[np.float64]:
    """Where each ray leaves the body: by its bone, kept within its walls plus 3 mm.

    Bone may be eaten away by tumour, or go on into pedicle and rib: the ellipse through the walls
    stands in where the outline says less than 0.6 or more than 1.25 of it (assumed).
    """
    wide = max(vertebra.left_wall_mm, -vertebra.right_wall_mm)
    deep = np.where(outwards[:, 1] < 0.0, -vertebra.anterior_wall_mm, vertebra.posterior_wall_mm)
    ellipse = 1.0 / np.hypot(outwards[:, 0] / wide, outwards[:, 1] / np.maximum(deep, 1.0))
    beyond = way[inside.shape[1] - 1 - inside[:, ::-1].argmax(axis=1)]
    beyond = way[inside.shape[1] - 1 - inside[:, ::-1].argmax(axis=1)]
    last = np.where(inside.any(axis=1), beyond, 0.0)
    fits = (last > 0.6 * ellipse) & (last < 1.25 * ellipse)
    return np.where(fits, last, ellipse)
