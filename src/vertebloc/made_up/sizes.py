"""What is made up about each level of the lead patient, beside the published sizes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from vertebloc.anatomy.levels import Level


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelShape:
    """Invented measures of one level; lengths in the vertebra's own frame."""

    backward_tilt_deg: float  #: of the cranial axis against the table's long axis
    disc_below_mm: float  #: thickness of the disc under the body, at its middle
    transverse_tip_mm: tuple[float, float, float]  #: to the side, behind the canal's middle, up
    spinous_tip_mm: tuple[float, float]  #: behind the arch, up (negative: down)
    spinous_half_height_mm: float
    aorta_mm: tuple[float, float]  #: its middle in patient LPS: x, and y before the body's middle


#: A gentle kyphosis: from T7 down the cranial axis leans more and more backwards.
SHAPES: Mapping[str, LevelShape] = MappingProxyType(
    {
        name: LevelShape(
            backward_tilt_deg=tilt,
            disc_below_mm=disc,
            transverse_tip_mm=transverse,
            spinous_tip_mm=spinous,
            spinous_half_height_mm=half,
            aorta_mm=aorta,
        )
        for name, tilt, disc, transverse, spinous, half, aorta in (
            ("T6", -6.0, 4.5, (28.5, 17.0, 4.0), (25.0, -28.0), 4.5, (27.0, -7.0)),
            ("T7", -3.0, 4.5, (28.0, 17.0, 4.0), (25.0, -27.0), 4.5, (26.0, -10.0)),
            ("T8", 1.0, 4.8, (27.5, 16.5, 4.0), (24.5, -25.0), 4.8, (24.0, -15.5)),
            ("T9", 5.0, 5.0, (27.0, 16.0, 4.0), (24.0, -21.0), 5.2, (20.0, -22.5)),
            ("T10", 9.0, 5.5, (26.0, 14.5, 3.5), (23.0, -16.0), 6.0, (15.5, -29.0)),
            ("T11", 12.0, 6.0, (23.0, 12.0, 3.0), (22.0, -10.0), 7.0, (13.0, -30.5)),
            ("T12", 15.0, 7.0, (20.5, 9.5, 2.5), (23.0, -6.0), 8.0, (10.0, -30.5)),
            ("L1", 17.0, 8.0, (32.0, 6.0, 1.0), (26.0, -5.0), 9.5, (7.0, -32.0)),
            ("L2", 12.0, 9.0, (34.0, 5.0, 1.0), (27.0, -5.0), 10.0, (8.0, -32.0)),
            ("L3", 4.0, 10.0, (37.0, 4.0, 1.0), (27.0, -5.0), 10.5, (9.0, -32.0)),
            ("L4", -6.0, 10.5, (36.0, 3.0, 1.0), (25.0, -5.0), 10.0, (9.0, -32.0)),
            ("L5", -16.0, 10.0, (35.0, 2.0, 1.0), (20.0, -5.0), 8.0, (9.0, -32.0)),
            ("T13", 16.0, 7.5, (22.0, 8.0, 2.0), (24.0, -5.5), 9.0, (8.0, -31.0)),
        )
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SpinePlan:
    """Which vertebrae a made-up spine has, and how it is bent."""

    levels: tuple[Level, ...]  #: from the head; the first and the last are drawn, not outlined
    diseased: Level
    origin: Level  #: whose body lies in the origin
    #: by level, where it differs from SHAPES: tilt of the cranial axis backwards, degrees
    backward_tilt_deg: Mapping[str, float] = field(default_factory=dict)
    #: tilt of the cranial axis to the left, degrees: a curve to the side
    left_tilt_deg: Mapping[str, float] = field(default_factory=dict)
    #: turn about the own cranial axis, front towards the right, degrees
    turn_deg: Mapping[str, float] = field(default_factory=dict)

    @property
    def outlined(self) -> tuple[Level, ...]:
        """The levels that somebody outlined."""
        return self.levels[1:-1]

    @property
    def is_symmetrical(self) -> bool:
        """Whether its left half is the mirror image of its right one."""
        return not any(self.left_tilt_deg.values()) and not any(self.turn_deg.values())


def levels_named(*names: str) -> tuple[Level, ...]:
    """Levels by their names.

    Parameters
    ----------
    *names : str
        Such as T10.

    Returns
    -------
    tuple of Level
        The levels.
    """
    return tuple(Level(name) for name in names)


OUTLINED = tuple(Level(name) for name in ("T7", "T8", "T9", "T10", "T11", "T12"))
NEIGHBOURS = (Level("T6"), Level("L1"))  #: drawn in the CT so that the spine goes on, not outlined
ALL_LEVELS = (NEIGHBOURS[0], *OUTLINED, NEIGHBOURS[1])
DISEASED = Level("T10")
LEAD_PLAN = SpinePlan(levels=ALL_LEVELS, diseased=DISEASED, origin=DISEASED)

WAIST = 0.11  #: share by which a body's middle is slimmer than its endplates
EPIDURAL_GAP_MM = 1.6  #: between the sac and the canal's wall, front and back
ARCH_BLEND_MM = 2.5  #: how far the corners between the parts of a vertebra are filled
FAT_MM = 9.0  #: under the skin
FACET_GAP_MM = 1.5  #: joint space left around the upper facets of the vertebra below
