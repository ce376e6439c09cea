"""How deep a blade runs to the far cortex, where first passes stop, and what lies beyond.

Lines lie in the cut's plane: bone is cut by that plane once, exactly, and each line is followed
through the flat section. A gap to a vessel is information from a supine CT before dissection; it
is never room for the blade. A blade's width, thickness and bend are not looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Vertebra
from vertebloc.errors import NoSolutionError
from vertebloc.resection.depth_model import DepthFan, DepthRay, DepthSettings, VesselGap
from vertebloc.resection.depth_places import protector_words
from vertebloc.resection.disc_sections import (
    beside_disc,
    body_ends,
    is_in_disc,
    rims_in_common,
)
from vertebloc.resection.model import HalfCut
from vertebloc.space.flat_rays import inside_stretches
from vertebloc.space.frames import Side
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import (
    KnownSections,
    Solid,
    face_of_solid,
    shrunk_face,
)

FAR_CORTEX = "far cortex"
FRONT_RIMS = "front rims of the two bodies beside the disc, whichever is nearer"

#: Chips of bone, and slits in it, shorter than this along a line are not told apart: the bones
#: were made simpler by 0.05 mm, and a label map's steps are larger still.
_CHIP_MM = 0.3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DepthBones:
    """What lines are followed through."""

    front: Solid  #: bone in front of the posterior wall
    vessels: Mapping[str, Solid]
    known: KnownSections


def measure_depths(
    anatomy: Anatomy,
    level: Level,
    bones: DepthBones,
    cuts: Iterable[HalfCut],
    *,
    settings: DepthSettings,
    bone_error_mm: float,
) -> tuple[DepthFan, ...]:
    """Measure every half cut through a body.

    Parameters
    ----------
    anatomy : Anatomy
        Frames and walls.
    level : Level
        The diseased vertebra, in whose frame the cuts were placed.
    bones : DepthBones
        Bone in front of the posterior wall, and vessels.
    cuts : iterable of HalfCut
        Half cuts through bodies; entry at the posterior wall.
    settings : DepthSettings
        Angles, entries, and how far short first passes stop.
    bone_error_mm : float, mm
        How far distances from the bones' label map may be off.

    Returns
    -------
    tuple of DepthFan
        In the order of the cuts.

    Raises
    ------
    NoSolutionError
        If a blade held as planned meets no bone.
    """
    error_mm = settings.contour_error_mm + bone_error_mm
    return tuple(_fan(anatomy, level, bones, cut, settings, error_mm) for cut in cuts)


def _fan(
    anatomy: Anatomy,
    level: Level,
    bones: DepthBones,
    cut: HalfCut,
    settings: DepthSettings,
    error_mm: float,
) -> DepthFan:
    face, measured_to = _section(anatomy, bones, cut)
    sections = _Sections(
        face=face,
        sure=shrunk_face(face, error_mm),
        vessels={
            name: face_of_solid(solid, face.lps_from_plane, known=bones.known)
            for name, solid in bones.vessels.items()
        },
    )
    rays = _rays(anatomy.vertebrae[level], cut, sections, settings)
    straight = [ray for ray in rays if ray.angle_deg == 0.0]
    if not straight:
        raise NoSolutionError(
            f"the {cut.name} meets no bone in front of its entry edge",
            ("it must pass through a body or a disc: move it nearer to one",),
        )
    line = _in_order(face, rays)
    return DepthFan(
        cut_name=cut.name,
        side=cut.side,
        level=cut.level,
        passes_through=cut.passes_through,
        rays=rays,
        least_mm=min(ray.depth_mm for ray in rays),
        most_mm=max(ray.depth_mm for ray in rays),
        stop_mm=min(ray.stop_mm for ray in straight),
        stop_any_angle_mm=min(ray.stop_mm for ray in rays),
        stop_short_mm=settings.stop_short_mm,
        outline_error_mm=error_mm,
        measured_to=measured_to,
        protector_in_words=protector_words(anatomy.vertebrae[cut.level], cut, line),
        protector=line,
        vessels_outlined=tuple(sorted(bones.vessels)),
        looked_to_mm=settings.looked_to_mm,
        section=face,
        vessel_sections=sections.vessels,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Sections:
    """What one cut's plane cuts out of bone and vessels."""

    face: PlanarFace
    sure: PlanarFace  #: bone that is there even if the outline is as wrong as stated
    vessels: Mapping[str, PlanarFace]


def _section(anatomy: Anatomy, bones: DepthBones, cut: HalfCut) -> tuple[PlanarFace, str]:
    """Bone in the cut's plane; in a disc, what the bodies on both sides have in common."""
    here = cut.plane.frame(cut.blade)
    if not is_in_disc(cut):
        return face_of_solid(bones.front, here, known=bones.known), FAR_CORTEX
    ends = body_ends(anatomy, beside_disc(cut))
    return rims_in_common(bones.front, cut, cut.blade, ends, bones.known), FRONT_RIMS


def _rays(
    vertebra: Vertebra, cut: HalfCut, sections: _Sections, settings: DepthSettings
) -> tuple[DepthRay, ...]:
    """All lines that meet bone, by angle and entry."""
    half_mm = abs(vertebra.left_wall_mm if cut.side is Side.LEFT else vertebra.right_wall_mm)
    inward = -float(cut.side.sign) * cut.entry_edge
    rays = []
    for angle in settings.angles_deg:
        turn = np.radians(angle)
        direction = np.cos(turn) * cut.blade + np.sin(turn) * inward
        for share in settings.entries:
            start = cut.entry - (share - 0.5) * half_mm * inward
            ray = _ray(start, direction, sections, settings)
            if ray is not None:
                rays.append(_with_place(ray, angle, share, start, direction))
    return tuple(rays)


@dataclass(frozen=True, slots=True)
class _Followed:
    """A line followed: ways from its start, mm."""

    near_mm: float
    far_mm: float
    stop_mm: float
    outside_mm: tuple[tuple[float, float], ...]
    vessel: VesselGap | None


def _ray(
    start: NDArray[np.float64],
    direction: NDArray[np.float64],
    sections: _Sections,
    settings: DepthSettings,
) -> _Followed | None:
    """Follow one line; None if it meets no bone."""
    back = sections.face.lps_from_plane.inverse
    origin, along = back.points(start)[0, :2], back.vectors(direction)[0, :2]
    along = along / np.linalg.norm(along)
    stretches = _ahead(inside_stretches(sections.face.loops, origin, along))
    if not len(stretches):
        return None
    near, far = float(stretches[0, 0]), float(stretches[-1, 1])
    sure = _ahead(inside_stretches(sections.sure.loops, origin, along))
    bone_mm = float(sure[-1, 1] - sure[0, 0]) if len(sure) else 0.0
    gaps = [
        VesselGap(vessel=name, gap_mm=max(float(enters) - far, 0.0))
        for name, face in sections.vessels.items()
        for enters, leaves in inside_stretches(face.loops, origin, along)
        if leaves > far and enters - far <= settings.looked_to_mm
    ]
    return _Followed(
        near_mm=near,
        far_mm=far,
        stop_mm=max(bone_mm - settings.stop_short_mm, 0.0),
        outside_mm=tuple(
            (float(a), float(b))
            for a, b in zip(stretches[:-1, 1] - near, stretches[1:, 0] - near, strict=True)
        ),
        vessel=min(gaps, key=lambda gap: gap.gap_mm, default=None),
    )


def _ahead(stretches: NDArray[np.float64]) -> NDArray[np.float64]:
    """Stretches in front of the start, without chips and slits."""
    kept: list[list[float]] = []
    for begins, ends in stretches:
        begins = max(float(begins), 0.0)
        if ends <= begins:
            continue
        if kept and begins - kept[-1][1] < _CHIP_MM:
            kept[-1][1] = float(ends)
        else:
            kept.append([begins, float(ends)])
    long = [stretch for stretch in kept if stretch[1] - stretch[0] >= _CHIP_MM]
    return np.array(long, dtype=np.float64).reshape(-1, 2)


def _with_place(
    followed: _Followed,
    angle_deg: float,
    share: float,
    start: NDArray[np.float64],
    direction: NDArray[np.float64],
) -> DepthRay:
    return DepthRay(
        angle_deg=angle_deg,
        entry_share=share,
        entry=start + followed.near_mm * direction,
        direction=direction,
        depth_mm=followed.far_mm - followed.near_mm,
        stop_mm=followed.stop_mm,
        exit=start + followed.far_mm * direction,
        left_again_mm=followed.outside_mm,
        vessel=followed.vessel,
    )


def _in_order(face: PlanarFace, rays: tuple[DepthRay, ...]) -> NDArray[np.float64]:
    """Exits in order along the far wall, as seen from the middle of all entries and exits."""
    exits = np.array([ray.exit for ray in rays])
    entries = np.array([ray.entry for ray in rays])
    middle = (exits.mean(axis=0) + entries.mean(axis=0)) / 2.0
    flat = face.lps_from_plane.inverse.points(exits) - face.lps_from_plane.inverse.points(middle)
    return np.asarray(exits[np.argsort(np.arctan2(flat[:, 1], flat[:, 0]))])
