"""Nerve roots: drawn, or modelled below the pedicle of their own number, and along the rib.

Thoracic and lumbar roots leave below the pedicle of their own number. In the neck it is counted
otherwise: C1 to C7 leave ABOVE the vertebra of their number and C8 below C7; none of these, and
no sacral one, is modelled here.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Rib, Vertebra
from vertebloc.anatomy.outlines import mask_points, outline_mask
from vertebloc.anatomy.pedicles import Pedicle
from vertebloc.anatomy.strands import Strand, line_of_mask
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.space.frames import Side
from vertebloc.space.transforms import Points

#: Assumed, mm: nobody measured these here; a root with its sleeve, and how it lies.
ASSUMED_ROOT_RADIUS_MM: Mapping[str, float] = {"T": 1.6, "L": 2.5}
_UNDER_PEDICLE_MM = 1.0  #: between the pedicle's lower edge and the root's upper wall
_SAC_HALF_MM = {"T": 6.0, "L": 8.0}  #: from the canal's middle to where the root leaves the sac
_DESCENT_MM = {"T": 2.0, "L": 7.0}  #: from leaving the sac to passing under the pedicle
_LUMBAR_OUT = ((6.0, -3.0, -6.0), (17.0, -8.0, -20.0))  #: beyond the pedicle: out, front, down
_ALONG_RIB_MM = 70.0  #: how far along its rib a thoracic root is followed
_RIB_STEP_MM = 5.0
_CLEAR_OF_HEAD_MM = 28.0  #: the root joins its rib beyond head, neck and knuckle
_ABOUT = (
    "modelled: below the pedicle of its own number, radius {radius:.1f} mm and course assumed"
    "{more}"
)


def find_roots(
    contours: ContourSet, anatomy: Anatomy, pedicles: Mapping[Level, Mapping[Side, Pedicle]]
) -> tuple[tuple[Strand, ...], tuple[str, ...]]:
    """Roots of all vertebrae in view, head to feet, left before right.

    Parameters
    ----------
    contours : ContourSet
        Drawn roots go before modelled ones.
    anatomy : Anatomy
        Vertebrae and ribs.
    pedicles : mapping of Level to mapping of Side to Pedicle
        Where the pedicles are.

    Returns
    -------
    tuple of (tuple of Strand, tuple of str)
        Roots, and notes on those that could not be modelled.
    """
    found, notes = [], []
    ribs = {(rib.level, rib.side): rib for rib in anatomy.ribs}
    for level in sorted(anatomy.vertebrae):
        vertebra = anatomy.vertebrae[level]
        for side in Side:
            drawn = outline_mask(contours, (Contour(Structure.ROOT, level, side),))
            if drawn is not None:
                line, radius = line_of_mask(drawn, _canal_middle(vertebra, anatomy))
                about = "drawn by the team; radius of a tube of the same volume"
                found.append(_root(level, side, line, radius, about, modelled=False))
                continue
            if level.region not in ASSUMED_ROOT_RADIUS_MM:
                notes.append(
                    f"the root of {level} is not modelled: in the neck roots leave above the "
                    "vertebra of their number"
                )
                break
            pedicle = pedicles.get(level, {}).get(side)
            if pedicle is None:
                notes.append(
                    f"the {side.value} root of {level} is not modelled: no pedicle is found"
                )
                continue
            found.append(_model(level, side, anatomy, pedicle, ribs.get((level, side))))
    return tuple(found), tuple(notes)


def _root(
    level: Level, side: Side, line: Points, radius: float, about: str, *, modelled: bool
) -> Strand:
    return Strand(
        structure=Structure.ROOT, level=level, side=side, lps_mm=line, radius_mm=radius,
        modelled=modelled, about=about,
    )  # fmt: skip


def _canal_middle(vertebra: Vertebra, anatomy: Anatomy) -> NDArray[np.float64]:
    return np.asarray(anatomy.canal.at(vertebra.canal_s_mm)[0])


def _model(
    level: Level, side: Side, anatomy: Anatomy, pedicle: Pedicle, rib: Rib | None
) -> Strand:
    """Sac, below the pedicle, out of the foramen, then along the rib or down beside the spine."""
    vertebra = anatomy.vertebrae[level]
    region = level.region
    radius = ASSUMED_ROOT_RADIUS_MM[region]
    middle = vertebra.lps_from_vertebra.inverse.points(_canal_middle(vertebra, anatomy))[0]
    under = pedicle.bottom_mm - _UNDER_PEDICLE_MM - radius
    inner = min(_SAC_HALF_MM[region], pedicle.inner_mm - radius)
    centre = 0.5 * (pedicle.inner_mm + pedicle.outer_mm)
    own = [
        (inner, middle[1], under + _DESCENT_MM[region]),
        (centre, pedicle.behind_mm + 1.0, under),
    ]
    last = (pedicle.outer_mm, pedicle.behind_mm, under)
    steps = ((4.0, 0.0, -1.0),) if region == "T" else _LUMBAR_OUT
    own += [(last[0] + out, last[1] + back, last[2] + up) for out, back, up in steps]
    line = vertebra.lps_from_vertebra.points(np.array(own) * [side.sign, 1.0, 1.0])
    more = ", the other side's pedicle mirrored" if pedicle.mirrored else ""
    if rib is not None:
        line = np.concatenate([line, under_rib(rib, radius)])
        more += "; then at the lower edge of its rib as outlined"
    elif region == "T":
        more += "; its rib is not outlined, so it ends beside the foramen"
    about = _ABOUT.format(radius=radius, more=more)
    return _root(level, side, line, radius, about, modelled=True)


def under_rib(rib: Rib, radius_mm: float) -> Points:
    """Line at the lower edge of a rib, where its nerve runs.

    Parameters
    ----------
    rib : Rib
        The rib as outlined.
    radius_mm : float, mm
        Of the nerve; its middle lies that far below the edge.

    Returns
    -------
    (n, 3) float64, mm, patient LPS
        Every 5 mm, from 28 mm to 70 mm away from the rib's inner end (both assumed: beyond the
        knuckle, and as far as a rib is usually taken); empty if it is shorter.
    """
    points = mask_points(rib.mask)
    away = np.linalg.norm(points - rib.head, axis=1)
    middles, below = [], []
    for start in np.arange(_CLEAR_OF_HEAD_MM, _ALONG_RIB_MM, _RIB_STEP_MM):
        near = points[(away >= start) & (away < start + _RIB_STEP_MM)]
        if len(near) < 4:
            break
        middles.append(near.mean(axis=0))
        below.append(near)
    if len(middles) < 2:
        return np.empty((0, 3))
    line = np.array(middles)
    along = np.gradient(line, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    down = np.array([0.0, 0.0, -1.0]) + along[:, 2:] * along
    down /= np.linalg.norm(down, axis=1, keepdims=True)
    edge = [
        float(np.percentile((near - middle) @ way, 98.0))
        for near, middle, way in zip(below, line, down, strict=True)
    ]
    return np.asarray(line + (np.array(edge)[:, None] + radius_mm) * down)
