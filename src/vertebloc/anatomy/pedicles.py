"""Where the pedicles of a vertebra are, found on its bone."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vertebloc.anatomy.model import Vertebra
from vertebloc.anatomy.outlines import sample_mask
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume

_STEP_MM = 0.5
_BEHIND_MM = np.arange(1.5, 9.0, 0.5)  #: behind the back of the body: where the waist is sought
_THROUGH_MM = 5.5  #: so far behind it, bone must go through without a gap
_REACH_MM = 32.0  #: to the side
_LEAST_MM2 = 8.0  #: a smaller cross-section is a crumb


@dataclass(frozen=True, slots=True, kw_only=True)
class Pedicle:
    """The waist of one pedicle, in its vertebra's own frame."""

    side: Side
    behind_mm: float  #: y
    inner_mm: float  #: |x| of its wall towards the canal
    outer_mm: float  #: |x| of its outer wall
    top_mm: float  #: z of its upper edge
    bottom_mm: float  #: z of its lower edge
    mirrored: bool = False  #: taken over from the other side, since this one was not found


def find_pedicles(vertebra: Vertebra, bone: Volume) -> dict[Side, Pedicle]:
    """Both pedicles of a vertebra.

    Parameters
    ----------
    vertebra : Vertebra
        Its frame and walls.
    bone : Volume
        Boolean volume of its bone.

    Returns
    -------
    dict of Side to Pedicle
        Empty if neither was found; if one was not (it may be destroyed), the other's mirror image
        stands for it and says so.

    Notes
    -----
    Behind the back of the body and before the laminae, only the pedicles join body and arch: the
    largest patch, seen from behind, that is bone all the way from 1.5 to 5.5 mm behind the back
    of the body (assumed; in its upper part) is the pedicle. Of the sections across it there, the
    one of least area is its waist.
    """
    found = {}
    for side in Side:
        waist = _find(vertebra, bone, side)
        if waist is not None:
            found[side] = waist
    for side in Side:
        if side not in found and side.other in found:
            found[side] = replace(found[side.other], side=side, mirrored=True)
    return found


def _find(vertebra: Vertebra, bone: Volume, side: Side) -> Pedicle | None:
    """The waist of one pedicle; None if no bone joins body and arch there."""
    x = np.arange(2.0, _REACH_MM, _STEP_MM)
    z = np.arange(0.9 * vertebra.lower_endplate_mm, vertebra.upper_endplate_mm + 8.0, _STEP_MM)
    y = vertebra.posterior_wall_mm + _BEHIND_MM
    gx, gy, gz = np.meshgrid(x, y, z, indexing="ij")
    own = np.stack([side.sign * gx, gy, gz], axis=-1)
    lps = vertebra.lps_from_vertebra.points(own.reshape(-1, 3)).reshape(own.shape)
    inside: NDArray[np.bool_] = sample_mask(bone, lps) >= 0.5
    through, count = ndimage.label(inside[:, _BEHIND_MM <= _THROUGH_MM].all(axis=1))
    if count == 0:
        return None
    sizes = np.bincount(through.ravel())[1:]
    if sizes.max() * _STEP_MM**2 < _LEAST_MM2:
        return None
    core = through == 1 + int(np.argmax(sizes))
    waist, behind = core, float(y[0])
    least = np.inf
    for place, behind_mm in enumerate(y):
        parts, _ = ndimage.label(inside[:, place])
        part = (parts == np.bincount(parts[core]).argmax()) & (parts > 0)
        if 0 < part.sum() < least:
            waist, behind, least = part, float(behind_mm), float(part.sum())
    across = waist.any(axis=1)
    heights = gz[:, 0][waist]
    return Pedicle(
        side=side,
        behind_mm=behind,
        inner_mm=float(x[across].min()),
        outer_mm=float(x[across].max()),
        top_mm=float(np.percentile(heights, 98.0)),
        bottom_mm=float(np.percentile(heights, 2.0)),
    )
