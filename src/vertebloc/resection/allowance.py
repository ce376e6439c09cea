"""How far a cut may err before it harms: offset, tilt, and an error of its entry, each alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.resection import _kernels
from vertebloc.resection.face_points import spread_points
from vertebloc.resection.model import Allowance, HalfCut
from vertebloc.space.fields import DistanceField
from vertebloc.space.polygons import PlanarFace

#: How far errors are searched: beyond this a cut is not an error but another plan.
SEARCHED_TO_MM = 30.0
SEARCHED_TO_DEG = 30.0


@dataclass(frozen=True, slots=True, eq=False)
class _Face:
    points: NDArray[np.float64]
    cut: HalfCut
    field: DistanceField
    keeps_mm: float


def measure_allowance(
    face: PlanarFace, cut: HalfCut, tumour: DistanceField, *, keeps_mm: float = 0.0
) -> Allowance:
    """How far a finite face may be off, each error alone, before it comes too near to tumour.

    Parameters
    ----------
    face : PlanarFace
        The face as planned; it is moved as a rigid shape.
    cut : HalfCut
        Its plane, entry edge and blade: tilts turn about the entry edge or about the blade.
    tumour : DistanceField
        Tumour and what counts as tumour.
    keeps_mm : float, mm
        Distance to tumour that must stay; 0: until the face touches tumour.

    Returns
    -------
    Allowance
        All 0 if the planned face is already too near.

    Notes
    -----
    Offset: parallel, into the piece. Tilt: about the entry edge or about the blade, to either
    side, the smallest. Entry: the entry edge is off by t while the far edge is right, so that a
    point at depth share u is off by t (1 - u). Each point walks by the distance it has left,
    which cannot jump over tumour; points lie 0.75 mm apart, so that an allowance is too long by
    at most 0.05 mm where tumour is blunter than 3 mm. The three
    are not allowed together: see ``offset_at_3_deg_mm``.
    """
    here = _Face(spread_points(face, 0.75), cut, tumour, keeps_mm)
    tilt = min(
        _turn(here, axis, sense) for axis in (cut.entry_edge, cut.blade) for sense in (1, -1)
    )
    return Allowance(
        keeps_mm=keeps_mm,
        offset_mm=_shift(here, here.points, np.ones(len(here.points))),
        tilt_deg=float(np.degrees(tilt)),
        pivot_mm=_shift(here, here.points, 1.0 - _depth_share(here)),
        offset_at_3_deg_mm=_shift_when_tilted(here, 3.0),
        offset_at_6_deg_mm=_shift_when_tilted(here, 6.0),
        searched_to_mm=SEARCHED_TO_MM,
        searched_to_deg=SEARCHED_TO_DEG,
    )


def _shift(here: _Face, points: NDArray[np.float64], speed: NDArray[np.float64]) -> float:
    return float(
        _kernels.reach_by_shift(
            *here.field.arrays,
            points,
            -here.cut.plane.normal,
            speed,
            here.keeps_mm,
            SEARCHED_TO_MM,
        )
    )


def _turn(here: _Face, axis: NDArray[np.float64], sense: int) -> float:
    return float(
        _kernels.reach_by_turn(
            *here.field.arrays,
            here.points,
            here.cut.entry,
            axis,
            float(sense),
            here.keeps_mm,
            np.radians(SEARCHED_TO_DEG),
        )
    )


def _depth_share(here: _Face) -> NDArray[np.float64]:
    """How deep each point lies along the blade: 0 at the entry edge, 1 at the far edge."""
    depth = (here.points - here.cut.entry) @ here.cut.blade
    return np.asarray(np.clip(depth / max(float(depth.max()), 1e-6), 0.0, 1.0))


def _shift_when_tilted(here: _Face, tilt_deg: float) -> float:
    left = SEARCHED_TO_MM
    for axis in (here.cut.entry_edge, here.cut.blade):
        for sense in (1, -1):
            angle = np.radians(tilt_deg)
            if _turn(here, axis, sense) < angle:
                return 0.0
            turned = here.cut.entry + _turned(here.points - here.cut.entry, axis, sense * angle)
            left = min(left, _shift(here, turned, np.ones(len(turned))))
    return left


def _turned(
    vectors: NDArray[np.float64], axis: NDArray[np.float64], angle: float
) -> NDArray[np.float64]:
    """Rotate vectors about a unit axis through the origin."""
    x, y, z = axis
    across = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    along = np.outer(axis, axis)
    turn = along + np.cos(angle) * (np.eye(3) - along) + np.sin(angle) * across
    return np.asarray(vectors @ np.ascontiguousarray(turn.T))
