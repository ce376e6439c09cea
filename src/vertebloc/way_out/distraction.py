"""The spine pulled apart: both parts tip about the bridge in front until it is cut."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Vertebra
from vertebloc.errors import InputError
from vertebloc.resection.model import ResectionPlan
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Points
from vertebloc.way_out.crowding import patches_with_room
from vertebloc.way_out.model import Obstacle, Substance, WayOutSettings
from vertebloc.way_out.obstacles import RoomOfPlan

#: More than this is no small tipping any more: such a pull is refused, degrees.
_MOST_TIP_DEG = 25.0

ASSUMPTIONS = (
    "pulling is shared by both parts of the spine; ribs and bones go with their part",
    "sac, cord and roots between the cuts are stretched straight; vessels and the ribs of the "
    "levels that come out stay where they are",
)


class Part(Enum):
    """What goes with which part of the spine when it is pulled apart."""

    HEAD = "goes with the part above"
    FEET = "goes with the part below"
    STRETCHED = "stretched between both"
    STILL = "stays where it is"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pull:
    """How far the spine is pulled apart, and about what it turns; in the frame of travel."""

    by_mm: float  #: the parts move apart by so much where the sac lies
    bridge_holds: bool  #: the strip of bone in front is not cut yet: both parts tip about it
    bridge_y_mm: float  #: where it lies, front to back
    sac_y_mm: float  #: where the sac's middle lies
    head_z_mm: float  #: height of the upper cut at the bridge
    feet_z_mm: float  #: height of the lower cut there

    def __post_init__(self) -> None:
        """Refuse a pull that no hinge allows.

        Raises
        ------
        InputError
            If the sac does not lie behind the bridge, the cuts are the wrong way round, or the
            parts would tip too far.
        """
        if not (self.head_z_mm > self.feet_z_mm and self.sac_y_mm > self.bridge_y_mm):
            raise InputError(
                "the spine cannot be pulled apart here: the upper cut must lie above the lower "
                "one, and the sac behind the front of the body"
            )
        most = 2.0 * self.lever_mm * np.sin(np.radians(_MOST_TIP_DEG))
        if self.bridge_holds and self.by_mm > most:
            raise InputError(
                f"distraction_mm is {self.by_mm:g}: about a bridge {self.lever_mm:.0f} mm in "
                f"front of the sac each part would tip by more than {_MOST_TIP_DEG:.0f} degrees; "
                f"use {most:.0f} mm or less, or cut the bridge first"
            )

    @property
    def lever_mm(self) -> float:
        """From the bridge back to the sac's middle."""
        return self.sac_y_mm - self.bridge_y_mm

    @property
    def tip_rad(self) -> float:
        """By how much each part tips; 0 once the bridge is cut."""
        if not self.bridge_holds:
            return 0.0
        return float(np.arcsin(self.by_mm / 2.0 / self.lever_mm))

    def moved(self, points: Points, part: Part) -> Points:
        """Where points come to lie.

        Parameters
        ----------
        points : (n, 3) float64, mm
            Before, in the frame of travel.
        part : Part
            What they go with.

        Returns
        -------
        (n, 3) float64, mm
            Afterwards. What is stretched goes with the part that it lies beside, and between
            the cuts straight from one to the other.
        """
        if part is Part.STILL:
            return points
        if part is Part.HEAD:
            return self._rigid(points, 1.0)
        if part is Part.FEET:
            return self._rigid(points, -1.0)
        z = points[:, 2]
        share = (z - self.feet_z_mm) / (self.head_z_mm - self.feet_z_mm)
        head = self._rigid(points + np.outer(np.maximum(0.0, self.head_z_mm - z), _UP), 1.0)
        feet = self._rigid(points + np.outer(np.minimum(0.0, self.feet_z_mm - z), _UP), -1.0)
        along = np.clip(share, 0.0, 1.0)[:, None]
        return np.asarray(along * head + (1.0 - along) * feet)

    def _rigid(self, points: Points, sign: float) -> Points:
        """One part's motion; sign: +1 towards the head."""
        if not self.bridge_holds:
            return np.asarray(points + sign * self.by_mm / 2.0 * _UP)
        cos, sin = np.cos(self.tip_rad), np.sin(self.tip_rad)
        edge = self.head_z_mm if sign > 0.0 else self.feet_z_mm
        back, up = points[:, 1] - self.bridge_y_mm, sign * (points[:, 2] - edge)
        return np.column_stack(
            (
                points[:, 0],
                self.bridge_y_mm + back * cos - up * sin,
                edge + sign * (back * sin + up * cos),
            )
        )


_UP = np.array([0.0, 0.0, 1.0])


def pull_of_plan(
    room: RoomOfPlan, plan: ResectionPlan, vertebra: Vertebra, by_mm: float, *, bridge_holds: bool
) -> Pull:
    """How a planned resection's spine is pulled apart.

    Parameters
    ----------
    room : RoomOfPlan
        Knows the frame of travel and the sac.
    plan : ResectionPlan
        Its cuts through bodies.
    vertebra : Vertebra
        The diseased one: the bridge lies at the front of its body.
    by_mm : float, mm
        Asked for by the team, where the sac lies.
    bridge_holds : bool
        Whether the strip in front is still whole when it is pulled.

    Returns
    -------
    Pull
        In the frame of travel.

    Raises
    ------
    InputError
        If there are not two cuts to pull apart, or the pull is too far.
    """
    back = room.lps_from_travel.inverse
    front = vertebra.lps_from_vertebra.points([[0.0, vertebra.anterior_wall_mm, 0.0]])
    bridge = back.points(front)[0]
    heights: dict[bool, list[float]] = {True: [], False: []}
    for cut in plan.cuts:
        normal = back.vectors(cut.plane.normal[None])[0]
        if abs(normal[2]) > 0.5:
            point = back.points(cut.plane.point[None])[0]
            off = normal[:2] @ (bridge - point)[:2] / normal[2]
            heights[bool(normal[2] > 0.0)].append(float(point[2] - off))
    if not all(heights.values()):
        raise InputError(
            "the spine is pulled apart between two cuts through bodies: there are none"
        )
    return Pull(
        by_mm=by_mm,
        bridge_holds=bridge_holds,
        bridge_y_mm=float(bridge[1]),
        sac_y_mm=room.room.sac_middle_mm[1],
        head_z_mm=float(np.mean(heights[True])),
        feet_z_mm=float(np.mean(heights[False])),
    )


def pulled_room(
    room: RoomOfPlan, levels: tuple[Level, ...], pull: Pull, settings: WayOutSettings
) -> RoomOfPlan:
    """The same room with the spine pulled apart.

    Parameters
    ----------
    room : RoomOfPlan
        As it is without.
    levels : tuple of Level
        Whose bodies come out, from head to feet.
    pull : Pull
        How far.
    settings : WayOutSettings
        For what of the sac must not be crowded, which is found anew.

    Returns
    -------
    RoomOfPlan
        The piece stays at its seat; everything else has moved.
    """
    own = room.room
    sac = surface_pulled(own.sac, pull, Part.STRETCHED)
    moved = [
        _obstacle(one, pull, part_of(one, levels))
        for one in own.obstacles
        if one.substance is not Substance.CROWDED
    ]
    moved += patches_with_room(sac, own.piece, settings)
    return replace(room, room=replace(own, sac=sac, obstacles=tuple(moved)))


def part_of(obstacle: Obstacle, levels: Iterable[Level]) -> Part:
    """What an obstacle goes with.

    Parameters
    ----------
    obstacle : Obstacle
        Knows its level, if it has one.
    levels : iterable of Level
        Whose bodies come out.

    Returns
    -------
    Part
        Bones and ribs go with their part of the spine, roots are stretched, the rest stays.
    """
    if obstacle.substance is Substance.ROOT:
        return Part.STRETCHED
    if obstacle.level is None or obstacle.level in (inside := tuple(levels)):
        return Part.STILL
    return Part.HEAD if obstacle.level < inside[0] else Part.FEET


def surface_pulled(surface: TriangleSurface, pull: Pull, part: Part) -> TriangleSurface:
    """A surface after the pull.

    Parameters
    ----------
    surface : TriangleSurface
        In the frame of travel.
    pull : Pull
        How far.
    part : Part
        What it goes with.

    Returns
    -------
    TriangleSurface
        The same triangles.
    """
    return TriangleSurface(pull.moved(surface.vertices, part), surface.triangles)


def _obstacle(obstacle: Obstacle, pull: Pull, part: Part) -> Obstacle:
    if obstacle.surface is not None:
        return replace(obstacle, surface=surface_pulled(obstacle.surface, pull, part))
    assert obstacle.line is not None
    # stretched lines: their points lie farther apart, and the cover with them
    before = np.linalg.norm(np.diff(obstacle.line, axis=0), axis=1).max(initial=0.0)
    line = pull.moved(obstacle.line, part)
    after = np.linalg.norm(np.diff(line, axis=0), axis=1).max(initial=0.0)
    longer = max(1.0, float(after / before)) if before > 0.0 else 1.0
    return replace(obstacle, line=line, cover_mm=obstacle.cover_mm * longer)
