"""Nerve roots as lines with a radius: from the sac through the foramen and on along the rib."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Rib, Vertebra
from vertebloc.anatomy.outlines import mask_points, outline_mask
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.resection.rib_heads import rib_axis
from vertebloc.space.frames import Side
from vertebloc.space.transforms import Points

ASSUMED_RADIUS_MM = 1.8  #: of a root that is not outlined
BELOW_RIB_MM = 8.0  #: from a rib's middle to the nerve at its lower edge (assumed)
_BIN_MM = 2.0
_RIB_MM = 95.0  #: how far a nerve is followed along its rib
_STRAIGHT_MM = 60.0  #: and straight on where there is no rib


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Root:
    """One root and the nerve that it goes on as."""

    level: Level
    side: Side
    line: Points  #: (n, 3) mm, patient LPS, from the sac outwards
    radius_mm: float
    is_outlined: bool

    @property
    def name(self) -> str:
        """Such as ``left T10 root``."""
        return f"{self.side.value} {self.level} root"


def find_roots(
    contours: ContourSet, anatomy: Anatomy, levels: tuple[Level, ...]
) -> tuple[Root, ...]:
    """Roots of some levels, outlined or modelled.

    Parameters
    ----------
    contours : ContourSet
        Outlines, the roots' own among them if somebody drew them.
    anatomy : Anatomy
        Vertebrae and ribs.
    levels : tuple of Level
        Whose roots.

    Returns
    -------
    tuple of Root
        Both sides of each; what is beyond the outline follows the own rib's lower edge, or goes
        straight on where there is none: a root that is kept is held at both ends.
    """
    found = []
    for level in levels:
        vertebra = anatomy.vertebrae.get(level)
        if vertebra is None:
            continue
        for side in Side:
            contour = Contour(Structure.ROOT, level, side)
            drawn = outline_mask(contours, (contour,)) if contour in _drawn(contours) else None
            if drawn is not None:
                points = mask_points(drawn)
                near, radius = _middle_line(points, vertebra, side, drawn.grid.voxel_volume_mm3)
            else:
                near, radius = _modelled(vertebra, side), ASSUMED_RADIUS_MM
            rib = next((r for r in anatomy.ribs if (r.level, r.side) == (level, side)), None)
            line = _gone_on(near, rib, vertebra)
            found.append(
                Root(level=level, side=side, line=line, radius_mm=radius,
                     is_outlined=drawn is not None)
            )  # fmt: skip
    return tuple(found)


def _drawn(contours: ContourSet) -> tuple[Contour, ...]:
    return contours.of(Structure.ROOT)


def _middle_line(
    points: Points, vertebra: Vertebra, side: Side, voxel_mm3: float
) -> tuple[Points, float]:
    """Middle line of an outlined root, ordered outwards, and the radius that fits its volume."""
    out = side.sign * vertebra.lps_from_vertebra.inverse.points(points)[:, 0]
    bins = np.floor((out - out.min()) / _BIN_MM).astype(int)
    line = np.array([points[bins == b].mean(axis=0) for b in np.unique(bins)])
    if len(line) < 2:
        line = np.array([points[np.argmin(out)], points[np.argmax(out)]])
    ends = points[[np.argmin(out), np.argmax(out)]]
    line = np.concatenate((ends[:1], line, ends[1:]))
    length = float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())
    radius = float(np.sqrt(len(points) * voxel_mm3 / (np.pi * max(length, 1.0))))
    return line, radius


def _modelled(vertebra: Vertebra, side: Side) -> Points:
    """A root that nobody outlined: from the canal at the lower third of the body, out and down."""
    height = vertebra.upper_endplate_mm - vertebra.lower_endplate_mm
    z = vertebra.lower_endplate_mm + height / 4.0
    wall = vertebra.left_wall_mm if side is Side.LEFT else vertebra.right_wall_mm
    back = vertebra.posterior_wall_mm
    own = np.array(
        [
            [0.35 * wall, back + 6.0, z + 2.0],
            [wall, back + 3.0, z - 1.0],
            [wall + side.sign * 12.0, back - 1.0, z - 4.0],
        ]
    )
    return vertebra.lps_from_vertebra.points(own)


def _gone_on(line: Points, rib: Rib | None, vertebra: Vertebra) -> Points:
    """The nerve beyond what was outlined."""
    down = vertebra.lps_from_vertebra.vectors([0.0, 0.0, -1.0])[0]
    middle = vertebra.lps_from_vertebra.origin
    far = float(np.linalg.norm(line[-1] - middle))
    if rib is not None:
        try:
            axis = rib_axis(rib, _RIB_MM) + BELOW_RIB_MM * down
        except InputError:  # a short rib: straight on from the outline's end
            axis = np.empty((0, 3))
        beyond = axis[np.linalg.norm(axis - middle, axis=1) > far + 6.0]
        if len(beyond) > 1:
            return np.concatenate((line, beyond))
    way = line[-1] - line[max(0, len(line) - 5)]
    way = way / np.linalg.norm(way)
    return np.concatenate((line, [line[-1] + _STRAIGHT_MM * way]))
