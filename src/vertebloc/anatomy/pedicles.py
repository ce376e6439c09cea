"""Where the pedicles of a vertebra are, found on its bone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vertebloc.anatomy.model import Vertebra
from vertebloc.anatomy.outlines import sample_mask
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume

_STEP_MM = 0.5
_BEHIND_MM = np.arange(0.5, 9.0, 0.5)  #: behind the back of the body: where to look for the waist
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
    Behind the back of the body and before the laminae, only the pedicles join body and arch. Of
    the sections across them in the first 8.5 mm, each parallel to the back of the body, the one
    of least area is the waist; of several parts of bone in a section the one nearest to the
    canal's wall at the height of the upper half of the body is the pedicle.
    """
    found = {}
    for side in Side:
        sections = [
            s for y in _BEHIND_MM if (s := _section(vertebra, bone, side, float(y))) is not None
        ]
        if sections:
            found[side] = min(sections, key=lambda s: s[0])[1]
    for side in Side:
        if side not in found and side.other in found:
            other = found[side.other]
            found[side] = Pedicle(
                side=side, behind_mm=other.behind_mm, inner_mm=other.inner_mm,
                outer_mm=other.outer_mm, top_mm=other.top_mm, bottom_mm=other.bottom_mm,
                mirrored=True,
            )  # fmt: skip
    return found


def _section(
    vertebra: Vertebra, bone: Volume, side: Side, behind_mm: float
) -> tuple[float, Pedicle] | None:
    """Area and outline of the pedicle in one section; None if there is no bone of it."""
    x = np.arange(2.0, _REACH_MM, _STEP_MM)
    z = np.arange(vertebra.lower_endplate_mm - 4.0, vertebra.upper_endplate_mm + 8.0, _STEP_MM)
    y = vertebra.posterior_wall_mm + behind_mm
    gx, gz = np.meshgrid(x, z, indexing="ij")
    own = np.stack([side.sign * gx, np.full_like(gx, y), gz], axis=-1)
    lps = vertebra.lps_from_vertebra.points(own.reshape(-1, 3)).reshape(own.shape)
    inside: NDArray[np.bool_] = sample_mask(bone, lps) >= 0.5
    labels, count = ndimage.label(inside)
    best: tuple[float, NDArray[np.bool_]] | None = None
    for number in range(1, count + 1):
        part = labels == number
        if part.sum() * _STEP_MM**2 < _LEAST_MM2:
            continue
        middle = float(gz[part].mean())
        if middle < 0.5 * vertebra.lower_endplate_mm:
            continue  # what hangs down there is the lower facet
        if best is None or gx[part].min() < best[0]:
            best = (float(gx[part].min()), part)
    if best is None:
        return None
    part = best[1]
    area = float(part.sum()) * _STEP_MM**2
    across = part.any(axis=1)
    return area, Pedicle(
        side=side,
        behind_mm=y,
        inner_mm=float(x[across].min()),
        outer_mm=float(x[across].max()),
        top_mm=float(np.percentile(gz[part], 98.0)),
        bottom_mm=float(np.percentile(gz[part], 2.0)),
    )
