"""Layers of the body between tumour and a face of the piece, where geometry can name them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from vertebloc.anatomy.model import Vertebra
from vertebloc.case.choice_words import CuffSurface, SoftFace
from vertebloc.case.choices import CuffChoice
from vertebloc.resection.model import NO_BARRIER, HalfCut
from vertebloc.space.surfaces import TriangleSurface

#: Tumour this far past the endplate's middle has broken through it, mm: an endplate is hollow
#: and about 1 mm thick (assumed).
PAST_ENDPLATE_MM = 1.5
#: Only tumour within this share of the body's half width can break an endplate: what lies
#: beside the body passes it outside the bone (assumed).
_WITHIN_BODY = 0.8
#: Farther than this from tumour, a soft face has the bone's own layer on it, mm (assumed).
_BARE_MM = 1.0

_LAYERS: Mapping[SoftFace, str] = {
    SoftFace.DURA: "posterior wall and its ligament",
    SoftFace.LEFT_SIDE: "cortex and periosteum",
    SoftFace.RIGHT_SIDE: "cortex and periosteum",
    SoftFace.FRONT: "cortex and anterior ligament",
}
_ARCH_LAYER = "lamina and yellow ligament"


def endplates_kept(vertebra: Vertebra, tumour: TriangleSurface) -> tuple[bool, bool]:
    """Whether the upper and the lower endplate hold tumour back.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one.
    tumour : TriangleSurface
        All that counts as tumour.

    Returns
    -------
    tuple of (bool, bool)
        Upper, lower: False if tumour within the body's outline lies past it.
    """
    x, y, z = vertebra.lps_from_vertebra.inverse.points(tumour.vertices).T
    within = (
        (x < _WITHIN_BODY * vertebra.left_wall_mm)
        & (x > _WITHIN_BODY * vertebra.right_wall_mm)
        & (y < vertebra.posterior_wall_mm)
        & (y > _WITHIN_BODY * vertebra.anterior_wall_mm)
    )
    above = z > vertebra.upper_endplate_mm + PAST_ENDPLATE_MM
    below = z < vertebra.lower_endplate_mm - PAST_ENDPLATE_MM
    return not bool(np.any(within & above)), not bool(np.any(within & below))


def bone_barrier(cut: HalfCut, vertebra: Vertebra, kept: tuple[bool, bool]) -> str:
    """The layer between tumour and a bone face.

    Parameters
    ----------
    cut : HalfCut
        The cut that makes the face.
    vertebra : Vertebra
        The diseased one.
    kept : tuple of (bool, bool)
        From ``endplates_kept``.

    Returns
    -------
    str
        ``NO_BARRIER`` for a cut in the diseased bone itself, or past a broken endplate.
    """
    up = vertebra.lps_from_vertebra.axis(2)
    is_kept = kept[0] if float(up @ cut.plane.normal) > 0 else kept[1]
    if not is_kept:
        return NO_BARRIER
    if cut.passes_through.startswith("disc"):
        return "endplate"
    if cut.passes_through.startswith("body of") and cut.level != vertebra.level:
        return "both endplates and disc"
    return NO_BARRIER


def soft_barrier(
    face: SoftFace, cuff: CuffChoice, bare_mm: float, *, arch_only: bool = False
) -> str:
    """The layer between tumour and a dissected face.

    Parameters
    ----------
    face : SoftFace
        Which.
    cuff : CuffChoice
        The surface along which it is dissected.
    bare_mm : float, mm
        Distance from the bare piece to tumour, without a cuff.
    arch_only : bool
        Whether the piece is the arch: then bone and yellow ligament lie before the sac.

    Returns
    -------
    str
        The chosen cuff; else the bone's own layer where tumour does not reach it; at the sac,
        the dura, which stays on the sac and not on the piece.
    """
    if cuff.surface is not CuffSurface.ON_TUMOUR:
        return str(cuff.surface.value)
    if bare_mm > _BARE_MM:
        return _ARCH_LAYER if arch_only and face is SoftFace.DURA else _LAYERS[face]
    return "dura, which stays on the sac" if face is SoftFace.DURA else NO_BARRIER
