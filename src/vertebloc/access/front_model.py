"""What is found out about getting round the front: the way along the wall, and what lies on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from vertebloc.case.choice_words import FrontBefore
from vertebloc.errors import InputError
from vertebloc.space.frames import Side
from vertebloc.space.polygons import PlanarFace


class FrontAnswer(Enum):
    """How the front is got round."""

    POSTERIOR = "posterior alone"
    RELEASE = "release the front first"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontSettings:
    """Choices behind the front. What no source gives is ASSUMED."""

    finger_reach_mm: float  #: along the wall, from the rib bed
    contour_error_mm: float
    before: FrontBefore  #: surgery or radiation in front of the spine
    contact_mm: float = 1.0  #: outlines this near count as touching
    rib_near_mm: float = 20.0  #: a rib's head this near to the cut marks its bed
    vessel_near_mm: float = 6.0  #: a segmental vessel this near to the wall lies on it
    looked_to_mm: float = 60.0  #: from the wall: structures farther off are left out

    def __post_init__(self) -> None:
        """Refuse lengths without meaning.

        Raises
        ------
        InputError
            If the reach is not above 0, or the contour error below 0.
        """
        if not self.finger_reach_mm > 0.0:
            raise InputError(f"finger_reach_mm must be above 0, got {self.finger_reach_mm}")
        if self.contour_error_mm < 0.0:
            raise InputError(f"contour_error_mm must be >= 0, got {self.contour_error_mm}")

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What nobody measured, one sentence each."""
        return (
            f"A finger reaches {self.finger_reach_mm:.0f} mm along the body wall from the rib bed "
            "(assumed: a setting of the team).",
            f"Outlines within {self.contact_mm:.0f} mm of each other count as touching (assumed).",
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WallWay:
    """The way of a finger along the wall, from the rib bed to the front midline."""

    points: NDArray[np.float64]  #: (n, 2) mm: outward to the side, forward; origin: midline of
    #: the back wall
    length_mm: float
    turn_rad: float  #: by how much the way bends: outlines 1 mm larger lengthen it by so many mm
    from_rib: str  #: whose bed it begins at, in words

    def longest_mm(self, error_mm: float) -> float:
        """Its length with the outline larger by an error (smaller if negative)."""
        return self.length_mm + error_mm * self.turn_rad


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbour:
    """One structure beside the way."""

    name: str
    gap_mm: float  #: to the wall the finger follows; 0: it touches or is crossed
    tumour_gap_mm: float  #: to tumour; infinite: no tumour in this plane
    contact_deg: float  #: share of its outline on the wall
    tumour_contact_deg: float  #: share of its outline on tumour, as drawn
    tumour_contact_least_deg: float  #: outlines smaller by the error
    tumour_contact_most_deg: float  #: larger by it
    along_mm: float  #: where along the way it lies nearest
    answer: FrontAnswer


@dataclass(frozen=True, slots=True, kw_only=True)
class Tether:
    """A segmental vessel on the wall between the cuts."""

    name: str
    from_mm: float  #: along the way
    to_mm: float
    answer: FrontAnswer


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Station:
    """One plane on one side: a body cut, or a plane between the two."""

    name: str  #: such as ``cranial cut``
    side: Side
    way: WallWay
    is_cut: bool
    reach: FrontAnswer  #: asked at body cuts only
    neighbours: tuple[Neighbour, ...]
    tethers: tuple[Tether, ...]
    wall: tuple[NDArray[np.float64], ...]  #: loops of bone, for pictures; axes as the way's
    tumour: tuple[NDArray[np.float64], ...]
    structures: Mapping[str, tuple[NDArray[np.float64], ...]]

    @property
    def answer(self) -> FrontAnswer:
        """The gravest of its parts."""
        return gravest(
            self.reach, *(n.answer for n in self.neighbours), *(t.answer for t in self.tethers)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """A stage of its own before the operation from behind."""

    approach: str
    acts: tuple[str, ...]
    frees: tuple[str, ...]  #: obstacles that it removes
    chosen: bool  #: by the team


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Front:
    """Whether the front can be got round from behind."""

    answer: FrontAnswer
    decided_by: str
    would_settle: str  #: what would settle it; empty unless it cannot be told
    stations: tuple[Station, ...]
    not_outlined: tuple[str, ...]
    finger_reach_mm: float
    before: FrontBefore
    stage: Stage | None
    assumptions: tuple[str, ...]


def gravest(*answers: FrontAnswer) -> FrontAnswer:
    """The gravest of several answers.

    Parameters
    ----------
    *answers : FrontAnswer
        Any number.

    Returns
    -------
    FrontAnswer
        Release before cannot tell before posterior alone.
    """
    order = (FrontAnswer.RELEASE, FrontAnswer.CANNOT_TELL)
    return next((one for one in order if one in answers), FrontAnswer.POSTERIOR)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StationGround:
    """What one plane on one side is measured on."""

    name: str
    side: Side
    bone: PlanarFace  #: in front of the back wall, in the plane
    tumour: PlanarFace
    structures: Mapping[str, PlanarFace]
    rib_heads: Mapping[str, NDArray[np.float64]]  #: by rib, (3,) mm, patient LPS
    origin: NDArray[np.float64]  #: (3,) midline of the back wall
    outward: NDArray[np.float64]  #: (3,) to the side
    forward: NDArray[np.float64]  #: (3,) to the front
    tethers: Mapping[str, NDArray[np.float64]]  #: segmental vessels: points between the cuts
    is_cut: bool = True  #: a body cut, not a plane between two
