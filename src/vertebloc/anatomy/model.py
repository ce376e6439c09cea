"""What the anatomy room finds out: canal, vertebrae with their frames, owners of ribs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline
from scipy.spatial import cKDTree

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour
from vertebloc.case.choice_words import CountedFrom, RibPairs, Transitional
from vertebloc.errors import FrameError, InputError
from vertebloc.space.frames import Frame, Side
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points, Transform, as_points


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelConfirmation:
    """Who confirmed the diseased level, counted from where and how far; what speaks against it."""

    confirmed_by: str | None = None
    confirmed_at: str = ""  #: date, time and zone offset
    counted_from: CountedFrom = CountedFrom.NOT_COUNTED
    marker_at: str = ""  #: the vertebra with the placed marker, if it is counted from one
    end_in_view: bool = False
    number: int = 0  #: of the diseased vertebra by the outlines; 0: the count does not reach it
    towards: str = ""  #: which way it is counted: head or feet; empty: it is the end's own
    beads: Mapping[Level, int] = field(default_factory=dict)  #: number said at each vertebra
    rib_pairs: RibPairs = RibPairs.NOT_ANSWERED
    transitional: Transitional = Transitional.NOT_ANSWERED
    conflicts: tuple[str, ...] = ()  #: what contradicts, one sentence each; loud
    doubts: tuple[str, ...] = ()  #: what is missing or open

    @property
    def is_confirmed(self) -> bool:
        """Whether a named person counted from an end that the images show, and nothing objects."""
        counted = self.counted_from is not CountedFrom.NOT_COUNTED
        clear = not self.conflicts and not self.doubts
        return bool(self.confirmed_by) and counted and self.end_in_view and clear


class SideVerdict(Enum):
    """Whether left and right of the images agree with the body and with the given names."""

    AGREES = "agrees"
    CONTRADICTS = "contradicts"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Handedness:
    """What was found out about left and right; a finding, never a correction."""

    verdict: SideVerdict
    evidence: tuple[str, ...]  #: one sentence a witness, for or against
    words: str  #: the finding in one or two sentences, for the sheet


@dataclass(frozen=True, slots=True, eq=False)
class CanalSpline:
    """Middle of the spinal canal, from head to feet.

    ``s`` is the length along the curve in mm, 0 at its upper end, growing towards the feet.
    """

    s_mm: NDArray[np.float64]  #: (n,) knots, growing
    points: Points  #: (n, 3) mm, patient LPS
    source: str  #: which outline it was found from, in words
    notes: tuple[str, ...] = ()  #: what was left out or bridged, one sentence each
    _spline: CubicSpline = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Prepare the curve once; refuse fewer than two knots."""
        if len(self.s_mm) < 2 or np.shape(self.points) != (len(self.s_mm), 3):
            raise InputError(
                f"a canal's line needs at least two knots with a point each, got "
                f"{len(self.s_mm)} and points of shape {np.shape(self.points)}"
            )
        object.__setattr__(self, "_spline", CubicSpline(self.s_mm, self.points))

    def at(self, s_mm: ArrayLike) -> Points:
        """Points on the curve, (m, 3); beyond its ends it is continued straight."""
        s = np.atleast_1d(np.asarray(s_mm, dtype=np.float64))
        inside = np.clip(s, self.s_mm[0], self.s_mm[-1])
        return np.asarray(self._spline(inside) + self.tangent(inside) * -(s - inside)[:, None])

    def tangent(self, s_mm: ArrayLike) -> Points:
        """Unit vectors along the curve towards the HEAD, (m, 3)."""
        s = np.clip(np.atleast_1d(s_mm), self.s_mm[0], self.s_mm[-1])
        along = -np.asarray(self._spline(s, 1))
        return np.asarray(along / np.linalg.norm(along, axis=1, keepdims=True))

    def nearest_s_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Length along the curve at the foot of each point's perpendicular, (m,)."""
        p = as_points(points)
        fine = np.linspace(self.s_mm[0], self.s_mm[-1], 4 * len(self.s_mm) + 1)
        s = fine[cKDTree(self.at(fine)).query(p)[1]]
        for _ in range(4):  # Newton steps: the residual along the tangent is the step
            s = s - np.einsum("ij,ij->i", p - self.at(s), self.tangent(s))
        return np.asarray(s)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Vertebra:
    """One vertebra; its frame has +x left, +y back, +z cranial, origin at the body centroid."""

    level: Level | None  #: None while nobody could count
    lps_from_vertebra: Transform
    canal_s_mm: float  #: where along the canal its body centroid lies
    posterior_wall_mm: float  #: y of the back of the body in its frame
    anterior_wall_mm: float  #: y of the front of the body (negative)
    upper_endplate_mm: float  #: z of the upper endplate at the body's middle
    lower_endplate_mm: float  #: z of the lower endplate (negative)
    left_wall_mm: float  #: x of the left wall at mid-body
    right_wall_mm: float  #: x of the right wall (negative)
    frame_from_neighbours: bool  #: whether the frame was interpolated, for the diseased one
    own_frame_differs_deg: float | None
    #: angle between own and interpolated frame; 0 if own is used, None if there is no own one

    def __post_init__(self) -> None:
        """Refuse a map between the wrong frames."""
        if self.lps_from_vertebra.source is not Frame.VERTEBRA:
            raise FrameError("a vertebra needs lps_from_vertebra")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rib:
    """One rib and the vertebra that owns it, found by counting and geometry."""

    level: Level | None
    side: Side
    head: NDArray[np.float64]  #: (3,) mm, the end next to the spine
    mask: Volume  #: boolean, on its own box


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Anatomy:
    """Everything the later rooms need to know about the spine."""

    canal: CanalSpline
    vertebrae: Mapping[Level, Vertebra]
    ribs: tuple[Rib, ...]
    bone: Mapping[Level, Contour | Volume]  #: each vertebra's outline, or mask if it was separated
    warnings: tuple[str, ...]
    handedness: Handedness
    ends_in_view: frozenset[CountedFrom]
    counting: str  #: how the levels were named and what the count says, in words
    uncounted: tuple[Vertebra, ...] = ()  #: head to feet; level None, so not in ``vertebrae``
    level_conflicts: tuple[str, ...] = ()  #: where names and ribs contradict each other
    rib_pairs: int = 0  #: from first to last, if both are in view and none is missing; else 0
    lumbar: int = 0  #: vertebrae between last rib and sacrum, if both are in view; else 0
    markers: tuple[Level, ...] = ()  #: vertebrae beside which an implant is outlined

    def __post_init__(self) -> None:
        """Freeze the mappings."""
        object.__setattr__(self, "vertebrae", MappingProxyType(dict(self.vertebrae)))
        object.__setattr__(self, "bone", MappingProxyType(dict(self.bone)))
