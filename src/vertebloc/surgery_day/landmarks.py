"""Places on bone that are felt or seen from behind: from these a cut's entry is measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Vertebra
from vertebloc.space.frames import Side
from vertebloc.space.surfaces import TriangleSurface

#: Assumed: a landmark nearer to tumour than this is not to be bared or leant on, mm.
NEAR_TUMOUR_MM = 10.0

#: A tip is the middle of all that lies within this of its farthest point, mm.
_TIP_MM = 1.0
#: The spinous process lies within this of the mid-plane, mm; its tip, in scoliosis too.
_NEAR_MIDLINE_MM = 12.0
#: A rib's hindmost place counts only if the rib is seen this much farther to the side, mm.
_RIB_GOES_ON_MM = 8.0


class LandmarkKind(Enum):
    """What is felt or seen."""

    SPINOUS = "tip of the spinous process"
    TRANSVERSE = "tip of the transverse process"
    RIB = "hindmost place of the rib"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Landmark:
    """One place on bone."""

    kind: LandmarkKind
    level: Level
    side: Side | None  #: None: in the midline
    place: NDArray[np.float64]  #: (3,) mm, patient LPS
    from_tumour_mm: float  #: least distance to the tumour's surface

    @property
    def words(self) -> str:
        """Such as ``tip of the left transverse process of T9``."""
        if self.side is None:
            return f"{self.kind.value} of {self.level}"
        return (
            f"{self.kind.value.replace('of the ', f'of the {self.side.value} ')} of {self.level}"
        )

    @property
    def is_near_tumour(self) -> bool:
        """Whether it is not to be bared or leant on."""
        return self.from_tumour_mm < NEAR_TUMOUR_MM


def find_landmarks(
    vertebrae: Mapping[Level, Vertebra],
    bone: Mapping[Level, TriangleSurface],
    ribs: Mapping[str, TriangleSurface],
    tumour: TriangleSurface,
) -> tuple[Landmark, ...]:
    """Find the tips of spinous and transverse processes, and the ribs' hindmost places.

    Parameters
    ----------
    vertebrae : mapping of Level to Vertebra
        Frames and walls.
    bone : mapping of Level to TriangleSurface
        Which vertebrae to look at.
    ribs : mapping of str to TriangleSurface
        By names such as ``left rib of T10``.
    tumour : TriangleSurface
        For how near it comes.

    Returns
    -------
    tuple of Landmark
        From head to feet; a rib that is not seen far enough to the side is left out.

    Notes
    -----
    Tips are those of the outlines. Where soft tissue covers a tip, a finger finds it some
    millimetres higher; nobody measured by how much here.
    """
    near = cKDTree(tumour.vertices)
    found = []
    for level in sorted(bone):
        vertebra, points = vertebrae[level], bone[level].vertices
        local = vertebra.lps_from_vertebra.inverse.points(points)
        places: list[tuple[LandmarkKind, Side | None, NDArray[np.float64]]] = [
            (LandmarkKind.SPINOUS, None, _spinous(local, points))
        ]
        places += [
            (LandmarkKind.TRANSVERSE, side, _transverse(local, points, vertebra, side))
            for side in Side
        ]
        for side in Side:
            rib = ribs.get(f"{side.value} rib of {level}")
            if rib is not None:
                local = vertebra.lps_from_vertebra.inverse.points(rib.vertices)
                places.append((LandmarkKind.RIB, side, _rib(local, rib.vertices, side)))
        found += [
            Landmark(
                kind=kind,
                level=level,
                side=side,
                place=place,
                from_tumour_mm=float(near.query(place)[0]),
            )
            for kind, side, place in places
            if len(place)
        ]
    return tuple(found)


_NONE = np.zeros(0)


def _tip(points: NDArray[np.float64], how_far: NDArray[np.float64]) -> NDArray[np.float64]:
    """Middle of what lies within ``_TIP_MM`` of the farthest point; empty if there is none."""
    if not len(points):
        return _NONE
    return np.asarray(points[how_far >= how_far.max() - _TIP_MM].mean(axis=0))


def _spinous(local: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    middle = np.abs(local[:, 0]) <= _NEAR_MIDLINE_MM
    return _tip(points[middle], local[middle, 1])


def _transverse(
    local: NDArray[np.float64], points: NDArray[np.float64], vertebra: Vertebra, side: Side
) -> NDArray[np.float64]:
    """The farthest to the side behind the body, and farther out than the body's own wall."""
    wall = abs(vertebra.left_wall_mm if side is Side.LEFT else vertebra.right_wall_mm)
    out = side.sign * local[:, 0]
    process = (local[:, 1] > vertebra.posterior_wall_mm) & (out > min(wall, 12.0))
    return _tip(points[process], out[process])


def _rib(
    local: NDArray[np.float64], points: NDArray[np.float64], side: Side
) -> NDArray[np.float64]:
    """The place nearest to the back, if the rib is seen on beyond it."""
    out = side.sign * local[:, 0]
    hind = local[:, 1] >= local[:, 1].max() - _TIP_MM
    if out.max() < out[hind].max() + _RIB_GOES_ON_MM:
        return _NONE
    return _tip(points, local[:, 1])
