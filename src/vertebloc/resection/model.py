"""What a planned resection consists of, and what is measured on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.resection.acts_model import ActOrder
from vertebloc.resection.depth_model import DepthFan
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.surfaces import TriangleSurface

#: Written where no layer of the body lies between tumour and a face.
NO_BARRIER = "none named"


class Kind(Enum):
    """What is taken out in one piece."""

    WHOLE_BODY = "whole body, one level"
    TWO_BODIES = "whole body, two levels"
    THREE_BODIES = "whole body, three levels"
    HALF_BODY = "half body"
    ARCH_ONLY = "arch only"


class BoneFate(Enum):
    """What happens to a part of bone."""

    PIECE = "piece"  #: comes out whole
    PIECEMEAL = "piecemeal"  #: nibbled away
    STAYS = "stays"
    SPLIT = "split"  #: comes out with the piece in front of the arch cut, nibbled away behind it


class RibFate(Enum):
    """What happens to a rib."""

    KEPT = "kept"
    REMOVED = "removed with its head"
    HEAD_ON_PIECE = "cut to the side, head left on the piece"


class FaceKind(Enum):
    """How a face of the piece comes about."""

    BONE = "bone"  #: cut
    SOFT = "soft"  #: dissected


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HalfCut:
    """Half of a cut through a body, made from one side, or one cut through the arch.

    The plane marks the piece's side; the blade's kerf is taken from the other.
    """

    name: str
    side: Side
    plane: Plane  #: normal points out of the piece
    entry: NDArray[np.float64]  #: (3,) mm, middle of the edge where the blade enters
    entry_edge: NDArray[np.float64]  #: (3,) unit vector along that edge: tilts turn about it
    blade: NDArray[np.float64]  #: (3,) unit vector in which the blade advances
    passes_through: str  #: in words, such as ``body of T9``
    level: Level


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """How far one cut may err, each error alone, before it comes within ``keeps_mm`` of tumour."""

    keeps_mm: float  #: distance to tumour that is kept; 0: until it touches
    offset_mm: float  #: parallel shift into the piece
    tilt_deg: float  #: turn about the entry edge or about the blade, whichever harms sooner
    pivot_mm: float  #: entry edge off by this while the far edge is right
    offset_at_3_deg_mm: float  #: shift still left when the cut is tilted by 3 degrees
    offset_at_6_deg_mm: float
    searched_to_mm: float  #: offsets beyond this were not searched
    searched_to_deg: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceMargin:
    """One face of the piece with its margin to tumour."""

    name: str
    kind: FaceKind
    area_mm2: float
    margin_mm: float  #: least signed distance to tumour; negative where tumour reaches through
    weakest: NDArray[np.float64]  #: (3,) mm, patient LPS
    weakest_in_words: str  #: in the vertebra's own terms
    tumour_crossed_mm2: float  #: part of the face that lies in tumour
    barrier: str  #: named layer between, such as ``endplate``; ``NO_BARRIER`` if none
    allowance: Allowance | None  #: bone faces only
    face: PlanarFace | None  #: where it lies, for pictures; None for a free-form soft face


@dataclass(frozen=True, slots=True, kw_only=True)
class TumourLeft:
    """Tumour that would not come out with the piece, ml, by the place where it stays."""

    by_place_ml: Mapping[str, float]  #: such as ``behind the caudal cut``, ``in piecemeal bone``
    total_ml: float


class OpensTumour(Enum):
    """How a plan itself opens tumour."""

    CUT = "cut through tumour"
    NIBBLED = "nibbled bone holds tumour"
    TOUCHED = "nibbled bone touches tumour"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Contamination:
    """One place where the plan itself opens tumour: planned contamination."""

    how: OpensTumour
    name: str  #: of the cut, or of the bone that is taken piecemeal
    deepest: NDArray[np.float64]  #: (3,) mm, patient LPS: where it goes deepest into tumour
    deepest_in_words: str  #: in the vertebra's own terms
    area_mm2: float  #: tumour laid open there
    volume_ml: float  #: tumour nibbled away, or ground away by the blade
    triangles: NDArray[np.float64]  #: (n, 3, 3) mm, patient LPS: that area, for pictures


@dataclass(frozen=True, slots=True, kw_only=True)
class Keystone:
    """Whether the piece, seen from the side it leaves by, is a wedge that opens or locks."""

    opens_to_left_mm_per_10_mm: float  #: positive: wider at the left; negative: at the right
    words: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ResectionPlan:
    """A planned piece and everything measured on it."""

    kind: Kind
    level: Level
    levels: tuple[Level, ...]  #: whose bodies, or arch, come out; from head to feet
    wanted_margin_mm: float
    cuts: tuple[HalfCut, ...]
    cut_rule: str  #: how default cuts were placed, in words
    faces: tuple[FaceMargin, ...]
    piece: TriangleSurface
    nibbled: TriangleSurface | None  #: bone of the diseased vertebra taken piecemeal
    tumour_volume_ml: float
    tumour_left: TumourLeft
    contamination: tuple[Contamination, ...]  #: largest area first
    keystone: Keystone
    open_side: Side  #: the side through which the arch is opened
    bone_fates: Mapping[str, BoneFate]
    rib_fates: Mapping[str, RibFate]
    rib_lengths_mm: Mapping[str, float]  #: from the head outwards, of ribs that are not kept
    depths: tuple[DepthFan, ...]  #: of the half cuts through bodies
    acts: ActOrder
    distance_error_words: str
    assumptions: tuple[str, ...]
