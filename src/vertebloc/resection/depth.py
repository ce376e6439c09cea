"""How deep a blade may go: from the entry edge of each half cut to the far cortex."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.model import Vertebra
from vertebloc.resection.model import HalfCut
from vertebloc.resection.piece import BoneSolids, wall_plane
from vertebloc.resection.places import place_in_words
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.frames import Side
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import KnownSections, Solid, face_of_solid, solid_from_surface

#: Assumed: first passes end this much before the far cortex; the last passes go on a protector.
STOP_SHORT_MM = 5.0
#: Entry angles in the cut's plane, degrees; positive: towards the patient's left.
ANGLES_DEG = (-20.0, -10.0, 0.0, 10.0, 20.0)
#: Entries along the half of the entry edge, as shares of its length from the midline outwards.
ENTRIES = (0.15, 0.5, 0.85)
#: A vessel farther than this beyond the far cortex on the blade's line is not spoken of, mm.
LOOK_BEYOND_MM = 40.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DepthRay:
    """One way of a blade: where it enters, where the bone ends, what lies beyond."""

    angle_deg: float
    entry: NDArray[np.float64]  #: (3,) mm, patient LPS: where bone begins on this line
    far: NDArray[np.float64]  #: (3,) mm: the last bone on this line
    depth_mm: float  #: from entry to far cortex
    gaps: int  #: times the blade leaves bone and enters it again on the way
    vessel_gap_mm: float | None  #: from the far cortex to the aorta's wall; None: not on this line


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthFan:
    """Depths of one half cut over its entry edge and entry angles."""

    cut_name: str
    side: Side
    rays: tuple[DepthRay, ...]
    straight_mm: float  #: at the middle of the edge, straight along the blade
    least_mm: float
    most_mm: float
    stop_mm: float  #: first passes straight ahead end here, wherever on the edge they enter
    stop_by_angle_mm: tuple[tuple[float, float], ...]  #: (angle in degrees, stop), each angle
    protector_in_words: str  #: where the bone ends in front, in the vertebra's own terms
    nearest_vessel_mm: float | None  #: information only: supine CT, before dissection


def measure_depths(
    bones: BoneSolids,
    solids: ResectionSolids,
    vertebra: Vertebra,
    cuts: Sequence[HalfCut],
    error_mm: float,
) -> tuple[DepthFan, ...]:
    """Measure how deep the blade of each half cut may go.

    Parameters
    ----------
    bones : BoneSolids
        Bones ready for cutting.
    solids : ResectionSolids
        Holds the aorta.
    vertebra : Vertebra
        The diseased one.
    cuts : sequence of HalfCut
        The halves of the body cuts.
    error_mm : float, mm
        How far the outlines may be wrong: the stop comes earlier by it.

    Returns
    -------
    tuple of DepthFan
        One a half cut that meets bone.

    Notes
    -----
    In the cut's own plane the bone is a flat outline, the blade a straight line: the far cortex
    is the line's last crossing of the outline in front of the posterior wall, exact but for the
    0.05 mm by which bones are simplified. A stop = the least depth of its angle over the entries
    - ``STOP_SHORT_MM`` - error, never below 0.
    A depth is no permission: gaps to vessels are from a supine CT before dissection and never
    an overshoot that may be used.
    """
    known = KnownSections()
    aorta = solid_from_surface(solids.aorta) if solids.aorta is not None else None
    fans = []
    for cut in cuts:
        rays = tuple(_rays(bones, vertebra, cut, aorta, known))
        if rays:
            fans.append(_fan(cut, rays, vertebra, error_mm))
    return tuple(fans)


def _fan(
    cut: HalfCut, rays: tuple[DepthRay, ...], vertebra: Vertebra, error_mm: float
) -> DepthFan:
    depths = [ray.depth_mm for ray in rays]
    gaps = [ray.vessel_gap_mm for ray in rays if ray.vessel_gap_mm is not None]
    straight = [ray for ray in rays if ray.angle_deg == 0.0]
    middle = straight[len(straight) // 2] if straight else rays[len(rays) // 2]
    stops = tuple(
        (angle, _stop_mm([ray for ray in rays if ray.angle_deg == angle], error_mm))
        for angle in ANGLES_DEG
        if any(ray.angle_deg == angle for ray in rays)
    )
    return DepthFan(
        cut_name=cut.name,
        side=cut.side,
        rays=rays,
        straight_mm=middle.depth_mm,
        least_mm=min(depths),
        most_mm=max(depths),
        stop_mm=_stop_mm(straight or [middle], error_mm),
        stop_by_angle_mm=stops,
        protector_in_words=place_in_words(vertebra, middle.far),
        nearest_vessel_mm=min(gaps) if gaps else None,
    )


def _stop_mm(rays: Sequence[DepthRay], error_mm: float) -> float:
    return max(min(ray.depth_mm for ray in rays) - STOP_SHORT_MM - error_mm, 0.0)


def _rays(
    bones: BoneSolids,
    vertebra: Vertebra,
    cut: HalfCut,
    aorta: Solid | None,
    known: KnownSections,
) -> list[DepthRay]:
    across = cut.entry_edge
    frame = cut.plane.frame(cut.blade)
    front = [wall_plane(vertebra, keep_front=True)]
    bone = face_of_solid(bones.all_bone, frame, front, known)
    vessel = face_of_solid(aorta, frame, (), known) if aorta is not None else None
    wall = vertebra.left_wall_mm if cut.side is Side.LEFT else vertebra.right_wall_mm
    found = []
    for share in ENTRIES:
        start = cut.entry + across * (share - 0.5) * wall
        for angle in ANGLES_DEG:
            turn = np.radians(angle)
            way = np.cos(turn) * cut.blade + np.sin(turn) * across
            ray = _ray(bone, vessel, start, way, angle)
            if ray is not None:
                found.append(ray)
    return found


def _ray(
    bone: PlanarFace,
    vessel: PlanarFace | None,
    start: NDArray[np.float64],
    way: NDArray[np.float64],
    angle_deg: float,
) -> DepthRay | None:
    """Follow one line; None if it meets no bone."""
    met = crossings_mm(bone, start - way * 20.0, way) - 20.0
    met = met[met > -20.0]
    if len(met) < 2:
        return None
    first, last = float(met[0]), float(met[-1])
    gap = None
    if vessel is not None:
        beyond = crossings_mm(vessel, start, way) - last
        ahead = beyond[(beyond >= 0.0) & (beyond <= LOOK_BEYOND_MM)]
        gap = float(ahead[0]) if len(ahead) else None
    return DepthRay(
        angle_deg=angle_deg,
        entry=start + way * first,
        far=start + way * last,
        depth_mm=last - first,
        gaps=len(met) // 2 - 1,
        vessel_gap_mm=gap,
    )


def crossings_mm(
    face: PlanarFace, start: NDArray[np.float64], way: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Distances along a line in a face's plane at which it crosses the face's rim.

    Parameters
    ----------
    face : PlanarFace
        A flat outline, holes allowed.
    start : (3,) float64, mm
        A point of the line, patient LPS.
    way : (3,) float64, -
        Unit vector along it, in the face's plane.

    Returns
    -------
    (n,) float64, mm
        Ascending; only ahead of ``start``.
    """
    back = face.lps_from_plane.inverse
    origin, along = back.points(start)[0][:2], back.vectors(way)[0][:2]
    found = []
    for loop in face.loops:
        edge = np.roll(loop, -1, axis=0) - loop
        away = loop - origin
        turn = along[0] * edge[:, 1] - along[1] * edge[:, 0]
        with np.errstate(divide="ignore", invalid="ignore"):
            distance = (away[:, 0] * edge[:, 1] - away[:, 1] * edge[:, 0]) / turn
            share = (away[:, 0] * along[1] - away[:, 1] * along[0]) / turn
        # half-open, so that a corner counts once
        met = (turn != 0.0) & (share >= 0.0) & (share < 1.0) & (distance > 0.0)
        found.append(distance[met])
    return np.sort(np.concatenate(found)) if found else np.zeros(0)
