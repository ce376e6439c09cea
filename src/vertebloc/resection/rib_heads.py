"""Ribs cut to the side: how long from the head, where the cut lies, and what joins the piece."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Rib, Vertebra
from vertebloc.anatomy.outlines import mask_points
from vertebloc.case.choices import ASSUMED_RIB_LENGTH_MM, Choices
from vertebloc.errors import InputError
from vertebloc.resection.model import HalfCut, RibFate
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import Solid, face_of_solid, trimmed

_STEP_MM = 2.0  #: the rib's axis is followed in steps of this
_SLAB_MM = 1.5  #: half the thickness of the slice whose middle is taken
_REACH_MM = 12.0  #: a rib is thinner than this all round its axis
_HAIR_MM = 0.01


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RibHead:
    """A rib's inner end that stays on the piece."""

    name: str
    length_mm: float
    cut: HalfCut
    part: Solid

    @property
    def face(self) -> PlanarFace:
        """The bone face at the cut."""
        inside = self.cut.plane.shifted(-_HAIR_MM)
        return face_of_solid(self.part, inside.frame(self.cut.blade))


def rib_name(rib: Rib) -> str:
    """Name a rib as plans do.

    Parameters
    ----------
    rib : Rib
        The rib.

    Returns
    -------
    str
        Such as ``left rib of T10``.
    """
    return f"{rib.side.value} rib of {rib.level}"


def rib_lengths(
    anatomy: Anatomy, fates: Mapping[str, RibFate], choices: Choices
) -> dict[str, float]:
    """Length that is taken of each rib that is not kept, from its head outwards.

    Parameters
    ----------
    anatomy : Anatomy
        The ribs.
    fates : mapping of str to RibFate
        From ``plan_ribs``.
    choices : Choices
        The team's choices.

    Returns
    -------
    dict of str to float, mm
        The chosen length, else ``ASSUMED_RIB_LENGTH_MM``.
    """
    found = {}
    for rib in anatomy.ribs:
        name = rib_name(rib)
        if fates.get(name, RibFate.KEPT) is not RibFate.KEPT:
            chosen = choices.rib(str(rib.level), rib.side).length_mm
            found[name] = ASSUMED_RIB_LENGTH_MM if chosen is None else chosen
    return found


def rib_axis(rib: Rib, length_mm: float) -> NDArray[np.float64]:
    """Follow a rib's middle from its head outwards.

    Parameters
    ----------
    rib : Rib
        Its mask and head.
    length_mm : float, mm
        How far at least.

    Returns
    -------
    (n, 3) float64, mm, patient LPS
        Points about ``_STEP_MM`` apart, the head first.

    Raises
    ------
    InputError
        If the outline ends before.
    """
    points = mask_points(rib.mask)
    axis = [np.asarray(rib.head, dtype=np.float64)]
    near = points[np.linalg.norm(points - axis[0], axis=1) < _REACH_MM]
    way = near.mean(axis=0) - axis[0] if len(near) else points.mean(axis=0) - axis[0]
    gone = 0.0
    while gone < length_mm + 2.0 * _STEP_MM:
        way = way / np.linalg.norm(way)
        aim = axis[-1] + _STEP_MM * way
        off = points - aim
        slab = (np.abs(off @ way) < _SLAB_MM) & (np.linalg.norm(off, axis=1) < _REACH_MM)
        if not slab.any():
            break
        axis.append(points[slab].mean(axis=0))
        gone += float(np.linalg.norm(axis[-1] - axis[-2]))
        back = axis[max(0, len(axis) - 4)]
        way = axis[-1] - back
    if gone < length_mm + _STEP_MM / 2.0:
        raise InputError(
            f"the {rib_name(rib)} is outlined for {gone:.0f} mm from its head only: choose a "
            f"length_mm below that, not {length_mm:g}"
        )
    return np.array(axis)


def rib_head(rib: Rib, solid: Solid, length_mm: float, vertebra: Vertebra) -> RibHead:
    """Cut a rib at a length from its head, square to its axis.

    Parameters
    ----------
    rib : Rib
        The rib.
    solid : Solid
        Its bone.
    length_mm : float, mm
        Along its axis, from the head.
    vertebra : Vertebra
        The diseased one: the blade comes from behind.

    Returns
    -------
    RibHead
        The cut, its normal away from the head, and the part that stays on the piece.

    Raises
    ------
    InputError
        If the outline is shorter than the length.
    """
    axis = rib_axis(rib, length_mm)
    along = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(axis, axis=0), axis=1))))
    place = np.array([np.interp(length_mm, along, axis[:, i]) for i in range(3)])
    at = int(np.searchsorted(along, length_mm))
    tangent = axis[min(at + 1, len(axis) - 1)] - axis[max(at - 2, 0)]
    plane = Plane(place, tangent)
    forward = vertebra.lps_from_vertebra.vectors([0.0, -1.0, 0.0])[0]
    blade = forward - (forward @ plane.normal) * plane.normal
    blade = blade / np.linalg.norm(blade)
    parts = trimmed(solid, [plane]).decompose()
    part = min(parts, key=lambda one: _gap_mm(one, rib.head))
    cut = HalfCut(
        name=f"cut of the {rib_name(rib)}",
        side=rib.side,
        plane=plane,
        entry=place - _REACH_MM / 2.0 * blade,
        entry_edge=np.cross(blade, plane.normal),
        blade=blade,
        passes_through=rib_name(rib),
        level=rib.level or Level("T1"),
    )
    return RibHead(name=rib_name(rib), length_mm=length_mm, cut=cut, part=part)


def _gap_mm(solid: Solid, point: NDArray[np.float64]) -> float:
    vertices = np.asarray(solid.to_mesh64().vert_properties)[:, :3]
    return float(np.linalg.norm(vertices - point, axis=1).min())
