"""What a C-arm is, how it stands, and what is predicted for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.errors import InputError
from vertebloc.published import imaging
from vertebloc.space.frames import Side
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.transforms import Points, as_points

_HEAD = np.array([0.0, 0.0, 1.0])
_STEEPEST = 0.999  #: a beam along the spine shows no direction to the head


class HeadAt(Enum):
    """At which edge of a picture the patient's head lies."""

    LEFT_EDGE = "head at the picture's left"
    RIGHT_EDGE = "head at the picture's right"
    TOP_EDGE = "head at the picture's top"


class Beam(Enum):
    """From where a view is looked at."""

    FROM_BEHIND = "from behind"
    FROM_THE_SIDE = "from the side"


@dataclass(frozen=True, slots=True, kw_only=True)
class CArm:
    """The machine's measures; the defaults are typical, not your machine's.

    What the team did not say of its own machine is assumed, and told so.
    """

    source_detector_mm: float = imaging.SOURCE_DETECTOR_MM.value
    source_object_mm: float = imaging.SOURCE_OBJECT_MM.value
    detector_mm: float = imaging.DETECTOR_MM.value  #: side of the square detector
    pixels: int = 512  #: along a side
    most_tilt_deg: float = 40.0  #: assumed: how far either angle may leave the straight view
    said: frozenset[str] = frozenset()  #: which of the measures above the team said itself

    def __post_init__(self) -> None:
        """Refuse a machine that cannot be built.

        Raises
        ------
        InputError
            If a length is not positive, or the patient does not lie before the detector.
        """
        if not 0.0 < self.source_object_mm < self.source_detector_mm:
            raise InputError(
                f"a C-arm's object lies between source and detector: got "
                f"{self.source_object_mm:g} mm of {self.source_detector_mm:g} mm"
            )
        if self.detector_mm <= 0.0 or self.pixels < 8:
            raise InputError(
                f"a detector needs a size above 0 mm and at least 8 pixels a side, got "
                f"{self.detector_mm:g} mm and {self.pixels}"
            )

    @property
    def pitch_mm(self) -> float:
        """Size of a pixel on the detector."""
        return self.detector_mm / self.pixels

    @property
    def magnification(self) -> float:
        """How much larger a thing at the object's distance is on the detector."""
        return self.source_detector_mm / self.source_object_mm

    @property
    def field_mm(self) -> float:
        """How much of the patient one picture shows, at the object's distance."""
        return self.detector_mm / self.magnification


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CArmView:
    """One position of the C-arm: angles of DICOM's positioner, and what it is aimed at.

    The primary angle turns the detector about the patient's long axis, 0 before the chest, +90
    at the patient's left, 180 behind the back. The secondary angle lifts it towards the head.
    A picture shows the patient as seen from ``viewer``, turned, never mirrored.
    """

    primary_deg: float
    secondary_deg: float
    aim: NDArray[np.float64]  #: (3,) mm, patient LPS, on the central ray at the object's distance
    head_at: HeadAt
    arm: CArm = field(default_factory=CArm)
    from_tube: bool = False  #: looked at from the tube's side, not from the detector's

    def __post_init__(self) -> None:
        """Refuse a beam along the spine.

        Raises
        ------
        InputError
            If the picture would have no direction towards the head.
        """
        aim = np.array(self.aim, dtype=np.float64)
        aim.flags.writeable = False
        object.__setattr__(self, "aim", aim)
        if abs(self.towards_detector @ _HEAD) > _STEEPEST:
            raise InputError(
                f"a beam along the spine shows no head and no feet: primary "
                f"{self.primary_deg:g}, secondary {self.secondary_deg:g} degrees; tilt it less"
            )

    @property
    def towards_detector(self) -> NDArray[np.float64]:
        """Unit vector from the aim to the detector, (3,)."""
        a, b = np.radians([self.primary_deg, self.secondary_deg])
        return np.array([np.sin(a) * np.cos(b), -np.cos(a) * np.cos(b), np.sin(b)])

    @property
    def viewer(self) -> NDArray[np.float64]:
        """Unit vector from the aim to whoever looks at the picture, (3,)."""
        return -self.towards_detector if self.from_tube else self.towards_detector

    @property
    def source(self) -> NDArray[np.float64]:
        """Place of the tube's focus, (3,) mm."""
        return np.asarray(self.aim - self.arm.source_object_mm * self.towards_detector)

    @property
    def axes(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """The picture's right and up, unit vectors in patient LPS."""
        viewer = self.viewer
        head = _HEAD - (_HEAD @ viewer) * viewer
        head /= np.linalg.norm(head)
        if self.head_at is HeadAt.TOP_EDGE:
            return np.cross(head, viewer), head
        right = head if self.head_at is HeadAt.RIGHT_EDGE else -head
        return right, np.cross(viewer, right)

    def on_detector(self, points: object) -> NDArray[np.float64]:
        """Where points are seen: right and up from the detector's middle, mm.

        Parameters
        ----------
        points : (n, 3) float64, mm, patient LPS
            Before the source.

        Returns
        -------
        (n, 2) float64, mm
            On the detector, so magnified.
        """
        offset = as_points(points) - self.source  # type: ignore[arg-type]
        depth = offset @ self.towards_detector
        right, up = self.axes
        seen = np.stack([offset @ right, offset @ up], axis=1)
        return np.asarray(seen * (self.arm.source_detector_mm / depth)[:, None])

    def pixel_points(self) -> Points:
        """Centres of all pixels, rows from the top, (pixels * pixels, 3) mm."""
        place = (np.arange(self.arm.pixels) - (self.arm.pixels - 1) / 2.0) * self.arm.pitch_mm
        right, up = self.axes
        middle = self.source + self.arm.source_detector_mm * self.towards_detector
        rows = middle - place[:, None] * up
        return np.asarray((rows[:, None] + place[:, None] * right).reshape(-1, 3))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CutLine:
    """One half cut as a C-arm has to show it: the blade's line from its entry to its far end."""

    name: str
    side: Side
    level: Level
    normal: NDArray[np.float64]  #: (3,) unit vector
    entry: NDArray[np.float64]  #: (3,) mm, where the blade meets bone
    blade: NDArray[np.float64]  #: (3,) unit vector
    far: NDArray[np.float64]  #: (3,) mm, the far cortex
    stop_mm: float  #: from the entry; 0: first passes have no stop of their own here
    faces: tuple[PlanarFace, ...]  #: of all cuts in the same plane

    @property
    def middle(self) -> NDArray[np.float64]:
        """Half way, (3,) mm: what the C-arm is aimed at, so that the tube lies in the plane."""
        return np.asarray((self.entry + self.far) / 2.0)

    @property
    def stop(self) -> NDArray[np.float64]:
        """Where first passes stop, (3,) mm."""
        return np.asarray(self.entry + self.stop_mm * self.blade)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineView:
    """A view in which a cut is a line."""

    cut_name: str
    side: Side
    level: Level
    beam: Beam
    view: CArmView
    off_straight_deg: float  #: from the straight view from behind or from the side
    bone_in_way_mm: float  #: mean along the blade's line, of bone that is not cut
    worst_bone_mm: float
    shows_depth: bool  #: the blade's line is seen along its length, not end on
    along_beam_mm: float  #: how far the cut's face reaches along the beam
    is_best: bool  #: of this cut's views: depth to be read, then the least bone in the way


@dataclass(frozen=True, slots=True, kw_only=True)
class NotSeen:
    """A direction from which a cut cannot be seen as a line."""

    cut_name: str
    beam: Beam
    why: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StripView:
    """One picture of the level strip."""

    view: CArmView
    numbers: Mapping[Level, int]  #: what theatre says at each vertebra that is wholly in it

    def __post_init__(self) -> None:
        """Freeze the mapping."""
        object.__setattr__(self, "numbers", MappingProxyType(dict(self.numbers)))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CArmPlan:
    """Every view that is predicted for a plan."""

    arm: CArm
    level: Level
    behind: CArmView
    side: CArmView
    stands_at: Side  #: where the detector is in the view from the side
    cuts: tuple[CutLine, ...]
    lines: tuple[LineView, ...]
    not_seen: tuple[NotSeen, ...]
    strip: tuple[StripView, ...]  #: from the agreed end to the diseased level
    strip_why_not: str  #: why there is no strip, or where it breaks off; empty: complete
    middles: Mapping[Level, NDArray[np.float64]]  #: of all vertebrae in view, (3,) mm
    assumptions: tuple[str, ...]
