"""What a way out is searched among, and what is found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.errors import InputError
from vertebloc.space.frames import Side
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Points


class Answer(Enum):
    """Can the piece be delivered? Never a yes or a no that is not shown."""

    YES = "yes"
    NO = "no"
    CANNOT_TELL = "cannot_tell"


class Substance(Enum):
    """What an obstacle is of, which decides how far the piece may press on it."""

    BONE = "bone that stays"
    RIB = "rib"
    ROOT = "nerve root"
    VESSEL = "vessel"
    CROWDED = "sac that had room"  #: patches of the sac that must not be crowded


@dataclass(frozen=True, slots=True, kw_only=True)
class WayOutSettings:
    """Lengths that nobody measured: every one is assumed, and the sheet says so."""

    least_mm: float = 2.0  #: wanted between piece and sac once the piece is clear of its seat
    clear_after_mm: float = 10.0  #: it is clear of its seat after this displacement
    tolerance_mm: float = 1.0  #: by so much may bone, ribs and what touched at rest be pressed
    root_gives_mm: float = 3.0  #: a root that stays may be pushed aside by so much
    vessel_gives_mm: float = 8.0  #: a vessel that was freed may be pushed aside by so much
    hand_mm: float = 5.0  #: room for hand or protector between the piece and vessels in front
    contour_error_mm: float = 1.0  #: outlines may be wrong by so much, either way
    sac_motion_mm: float = 1.0  #: the sac moves by so much, either way
    tilt_deg: float = 5.0  #: a proof of "no" covers tilts up to this
    lift_mm: float = 1.0  #: and moves along the spine up to this
    sideways_mm: float = 70.0  #: the wound's walls stand so far to each side of the seat's middle
    forward_mm: float = 20.0  #: the piece goes no farther forward than this
    step_mm: float = 2.0
    step_deg: float = 5.0
    edge_mm: float = 0.5  #: facets of the piece are divided until no edge is longer
    thin_mm: float = 1.3  #: maps look at one point of the piece in each voxel of this size
    pitch_mm: float = 0.8  #: of distance fields
    field_error_mm: float = 0.1  #: look-ups between nodes of a field are off by no more
    check_mm: float = 0.2  #: a path is looked at again at displacements of this

    def __post_init__(self) -> None:
        """Refuse lengths that make no sense."""
        for name in self.__dataclass_fields__:
            value = getattr(self, name)
            if not np.isfinite(value) or value < 0.0:
                raise InputError(f"{name} must be 0 or more, got {value}")
        if (
            min(self.clear_after_mm, self.step_mm, self.edge_mm, self.pitch_mm, self.thin_mm)
            <= 0.0
        ):
            raise InputError(
                "clear_after_mm, step_mm, edge_mm, pitch_mm and thin_mm must be above 0"
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Obstacle:
    """Something in the way, as a surface or as a line with a radius; in the frame of travel."""

    name: str  #: such as ``left T10 root``
    substance: Substance
    surface: TriangleSurface | None = None
    line: Points | None = None  #: (n, 3) mm, points along it; instead of a surface
    radius_mm: float = 0.0  #: around the line
    cover_mm: float = 0.15  #: no point of the line is farther than this from one of the points
    may_press_mm: float  #: by so much the piece may press into it
    sacrifice: str | None = None  #: what is given up if it is taken away; None: it stays
    is_kept: bool = False  #: no plan may give it up; what would be without it is still said
    part_of: str | None = None  #: another obstacle that holds all of this one
    level: Level | None = None  #: the vertebra that it belongs to, if to one

    def __post_init__(self) -> None:
        """An obstacle is one or the other."""
        if (self.surface is None) == (self.line is None):
            raise InputError(f"{self.name}: give either a surface or a line")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Room:
    """Everything a way out is searched in; x, y in the plane of travel, z along its normal.

    Origin: the middle of the piece at rest. x towards the patient's left, y towards the back.
    """

    piece: TriangleSurface
    sac: TriangleSurface
    obstacles: tuple[Obstacle, ...]
    delivered_y_mm: float  #: the piece is delivered once all of it lies behind this
    x_mm: tuple[float, float]  #: the whole piece stays within
    y_mm: tuple[float, float]  #: its middle stays within
    sac_middle_mm: tuple[float, float]  #: x and y of the sac's middle, which is passed on a side


@dataclass(frozen=True, slots=True)
class Bracket:
    """Between what is shown to be possible and what is shown to be impossible, mm.

    ``CLOSED_MM``: no path was found (lower), or none exists (upper).
    """

    lower_mm: float
    upper_mm: float

    def __post_init__(self) -> None:
        """A lower end above the upper one is a fault of the computation."""
        if self.lower_mm > self.upper_mm + 1e-6:
            raise InputError(
                f"a clearance shown to be possible ({self.lower_mm:.2f} mm) lies above one shown "
                f"to be impossible ({self.upper_mm:.2f} mm): the computation is at fault"
            )


#: Written for the clearance of a way that is shut.
CLOSED_MM = -np.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """A side, and the obstacles that are given up."""

    side: Side | None  #: on which the sac's middle is passed; None: either
    given_up: frozenset[str]  #: names of obstacles


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Path:
    """A way out that was found and looked at closely."""

    poses: NDArray[np.float64]  #: (n, 3): x, y (mm), turn (radians), from the seat
    tilts: NDArray[np.float64]  #: (n, 3): about x, about y (degrees), lift (mm)
    clearance_mm: NDArray[np.float64]  #: (n,) to the sac
    gone_mm: NDArray[np.float64]  #: (n,) displacement from the seat
    narrowest: int  #: index of the pose that decides


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """What is known about one scenario."""

    scenario: Scenario
    answer: Answer
    model: Bracket  #: clearance to the sac once clear of the seat, outlines taken as they are
    with_errors: Bracket  #: all obstacles grown (lower) and shrunk (upper) by the stated errors
    path: Path | None
    blocking: tuple[str, ...]  #: a no: obstacles that shut every way together
    proven_for: str  #: the family that the upper ends and a no hold for, in words
    notes: Mapping[str, str]
