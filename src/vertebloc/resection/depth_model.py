"""How deep a blade runs: what is measured along each line, and for each half cut."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.errors import InputError
from vertebloc.space.frames import Side
from vertebloc.space.polygons import PlanarFace

#: Assumed: nobody measured it. First passes stop this far short of the far cortex, mm.
ASSUMED_STOP_SHORT_MM = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DepthSettings:
    """How depths are measured, and how far short of the far cortex first passes stop."""

    contour_error_mm: float  #: how far the bone's outline may be wrong
    stop_short_mm: float = ASSUMED_STOP_SHORT_MM
    angles_deg: tuple[float, ...] = (-20.0, -15.0, -10.0, -5.0, 0.0, 5.0, 10.0, 15.0, 20.0)
    #: in the cut's plane, from the planned blade; positive: the tip towards the midline
    entries: tuple[float, ...] = (0.1, 0.3, 0.5, 0.7)
    #: along the entry edge, as shares of the body's half width; 0.5 is the planned entry
    looked_to_mm: float = 50.0  #: beyond the far cortex, for vessels

    def __post_init__(self) -> None:
        """Refuse settings without the planned blade, or with negative lengths."""
        if 0.0 not in self.angles_deg or 0.5 not in self.entries:
            raise InputError("depths need the planned blade: angle 0 and entry 0.5")
        if min(self.contour_error_mm, self.stop_short_mm, self.looked_to_mm) < 0.0:
            raise InputError("depths need lengths of 0 mm or more")

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What nobody measured, in words."""
        if self.stop_short_mm != ASSUMED_STOP_SHORT_MM:
            return ()
        return (
            f"first passes stop {self.stop_short_mm:.1f} mm short of the far cortex (assumed)",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class VesselGap:
    """The first vessel on a blade's line beyond the far cortex: information, never room."""

    vessel: str
    gap_mm: float  #: along the blade, from the far cortex; 0 if the outlines touch or overlap


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DepthRay:
    """One straight line of a blade through bone; depths count from where it meets bone."""

    angle_deg: float  #: from the planned blade, in the cut's plane; positive: towards midline
    entry_share: float  #: place along the entry edge, as a share of the body's half width
    entry: NDArray[np.float64]  #: (3,) mm, where it meets bone
    direction: NDArray[np.float64]  #: (3,) unit vector
    depth_mm: float  #: to the far cortex: where it leaves bone for the last time
    stop_mm: float  #: first passes stop here at the latest
    exit: NDArray[np.float64]  #: (3,) mm, where it leaves bone for the last time
    left_again_mm: tuple[tuple[float, float], ...]  #: stretches between out of bone
    vessel: VesselGap | None  #: None: no outlined vessel on this line as far as was looked


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DepthFan:
    """All lines of one half cut."""

    cut_name: str
    side: Side
    level: Level
    passes_through: str
    rays: tuple[DepthRay, ...]
    least_mm: float  #: over all lines
    most_mm: float
    stop_mm: float  #: least over the entry edge with the blade held as planned
    stop_any_angle_mm: float  #: least over all lines
    stop_short_mm: float
    outline_error_mm: float  #: contour error and label map together
    measured_to: str  #: what the far end is, such as ``far cortex``
    protector_in_words: str
    protector: NDArray[np.float64]  #: (n, 3) mm, the exit line in front, in order
    vessels_outlined: tuple[str, ...]
    looked_to_mm: float
    section: PlanarFace  #: bone in the cut's plane, for pictures
    vessel_sections: Mapping[str, PlanarFace]

    @property
    def planned(self) -> DepthRay:
        """The line at the planned entry, or the nearest to it that meets bone, as planned."""
        return min(self.as_planned, key=lambda ray: abs(ray.entry_share - 0.5))

    @property
    def as_planned(self) -> tuple[DepthRay, ...]:
        """Lines of a blade held as planned, all along the entry edge."""
        return tuple(ray for ray in self.rays if ray.angle_deg == 0.0)

    @property
    def by_angle(self) -> Mapping[float, tuple[DepthRay, ...]]:
        """Lines by the blade's angle, from the smallest."""
        angles = sorted({ray.angle_deg for ray in self.rays})
        return MappingProxyType(
            {angle: tuple(r for r in self.rays if r.angle_deg == angle) for angle in angles}
        )

    @property
    def nearest_vessel(self) -> DepthRay | None:
        """The line with the least gap to a vessel; None if no line meets one."""
        meeting = [ray for ray in self.rays if ray.vessel is not None]
        return min(meeting, key=lambda r: r.vessel.gap_mm if r.vessel else 0.0, default=None)

    @property
    def is_reentered(self) -> bool:
        """Whether a line leaves bone and enters it again."""
        return any(ray.left_again_mm for ray in self.rays)
