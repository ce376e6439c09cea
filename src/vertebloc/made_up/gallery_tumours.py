"""The tumours and needle tracts of the further made-up patients. All invented."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vertebloc.made_up.spine import PlacedVertebra
from vertebloc.made_up.tumours import ball
from vertebloc.space.solids import (
    Capsule,
    Difference,
    Grown,
    RoundCone,
    Solid,
    Union,
)
from vertebloc.space.transforms import Points

NEEDLE_MM = 1.2  #: radius of the needle's tract
_RIM_MM = 1.8  #: thickness of the dense rim after the drug


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Growth:
    """One patient's tumour."""

    tumour: Union  #: exact outside
    needle_end: Points  #: where the biopsy ended, in the vertebra's own axes
    needle_aim: Points  #: a point behind the skin that the needle came from
    dense: Solid | None = None  #: a dense part, drawn in the CT only


def _cone(placed: PlacedVertebra, side: float) -> RoundCone:
    """From the body through one pedicle."""
    s = placed.shape
    x, back, z = s.pedicle_x_mm, s.canal_middle_mm, s.pedicle_z_mm
    ends = placed.at([[side * (x - 2.0), back - 15.0, z - 3.0], [side * (x + 0.2), back - 0.5, z]])
    radius = 0.5 * s.sizes.pedicle_width.value - 0.3
    return RoundCone(ends[0], ends[1], radius + 1.0, radius)


def _through_pedicle(placed: PlacedVertebra, side: float) -> tuple[Points, Points]:
    s = placed.shape
    x, back, z = s.pedicle_x_mm, s.canal_middle_mm, s.pedicle_z_mm
    return (
        np.array([side * x, back - 4.0, z]),
        np.array([side * (x + 19.0), back + 75.0, z - 4.0]),
    )


def grow_chordoma(placed: PlacedVertebra) -> Growth:
    """Most of the body, a bulge behind it that the sac rides on.

    Parameters
    ----------
    placed : PlacedVertebra
        The diseased vertebra.

    Returns
    -------
    Growth
        About 9 ml; keeps 0.7 mm off the sac and touches no root.
    """
    back_wall = 0.5 * placed.shape.depth_mm
    tumour = Union(
        (
            ball(placed, (2.0, 0.0, 0.0), (15.5, 13.5, 9.0)),
            ball(placed, (2.0, back_wall - 3.0, 0.5), (7.0, 4.6, 5.5)),
        )
    )
    end, aim = _through_pedicle(placed, 1.0)
    return Growth(tumour=tumour, needle_end=end - [3.0, 12.0, 2.0], needle_aim=aim)


def grow_both_pedicles(placed: PlacedVertebra) -> Growth:
    """The back of the body and both pedicles.

    Parameters
    ----------
    placed : PlacedVertebra
        The diseased vertebra.

    Returns
    -------
    Growth
        Symmetrical; biopsied from the left.
    """
    body = ball(placed, (0.0, 3.0, 1.0), (12.0, 9.5, 6.5))
    tumour = Union((body, _cone(placed, 1.0), _cone(placed, -1.0)))
    end, aim = _through_pedicle(placed, 1.0)
    return Growth(tumour=tumour, needle_end=end, needle_aim=aim)


def grow_arch(placed: PlacedVertebra) -> Growth:
    """Spinous process and left lamina; nothing before the canal's back wall.

    Parameters
    ----------
    placed : PlacedVertebra
        The diseased vertebra.

    Returns
    -------
    Growth
        Biopsied from behind, beside the midline.
    """
    arch = placed.shape.arch_mm
    tumour = Union(
        (
            ball(placed, (0.0, arch + 10.0, -8.0), (8.0, 9.0, 8.5)),
            ball(placed, (7.5, arch + 5.5, -5.5), (6.0, 5.0, 6.5)),
        )
    )
    end, aim = np.array([3.0, arch + 10.0, -8.0]), np.array([12.0, arch + 90.0, -12.0])
    return Growth(tumour=tumour, needle_end=end, needle_aim=aim)


def grow_before_drug(placed: PlacedVertebra) -> Growth:
    """Most of the body and the left pedicle.

    Parameters
    ----------
    placed : PlacedVertebra
        The diseased vertebra.

    Returns
    -------
    Growth
        The body's part is an ellipsoid with half axes 14.0, 13.0 and 9.0 mm.
    """
    tumour = Union((ball(placed, (4.0, -1.0, 0.0), (14.0, 13.0, 9.0)), _cone(placed, 1.0)))
    end, aim = _through_pedicle(placed, 1.0)
    return Growth(tumour=tumour, needle_end=end, needle_aim=aim)


def grow_after_drug(placed: PlacedVertebra) -> Growth:
    """The same, shrunk to four fifths, with a dense rim.

    Parameters
    ----------
    placed : PlacedVertebra
        The diseased vertebra.

    Returns
    -------
    Growth
        The body's part is an ellipsoid with half axes 11.2, 10.4 and 7.2 mm.
    """
    body = ball(placed, (4.0, -1.0, 0.0), (11.2, 10.4, 7.2))
    end, aim = _through_pedicle(placed, 1.0)
    return Growth(
        tumour=Union((body, _cone(placed, 1.0))),
        needle_end=end,
        needle_aim=aim,
        dense=Difference(body, Grown(body, -_RIM_MM)),
    )


def grow_right_half(placed: PlacedVertebra) -> Growth:
    """The right half of the body, its side wall broken.

    Parameters
    ----------
    placed : PlacedVertebra
        The diseased vertebra.

    Returns
    -------
    Growth
        Biopsied through the right pedicle.
    """
    wide = 0.5 * placed.shape.sizes.lower_width.value
    tumour = Union(
        (
            ball(placed, (-0.45 * wide, -1.0, -0.5), (0.5 * wide, 10.5, 6.8)),
            ball(placed, (-wide - 2.0, 2.0, -0.5), (6.5, 9.0, 7.0)),
            _cone(placed, -1.0),
        )
    )
    end, aim = _through_pedicle(placed, -1.0)
    return Growth(tumour=tumour, needle_end=end, needle_aim=aim)


def make_tract(placed: PlacedVertebra, growth: Growth, skin: Solid) -> Solid:
    """The biopsy needle's way from the skin into the tumour.

    Parameters
    ----------
    placed : PlacedVertebra
        The diseased vertebra.
    growth : Growth
        Where the needle ended and where it came from.
    skin : Solid
        The trunk, smaller by the needle's radius.

    Returns
    -------
    Solid
        A capsule; exact everywhere.
    """
    end, aim = placed.at(growth.needle_end)[0], placed.at(growth.needle_aim)[0]
    low, high = 0.0, 2.0
    for _ in range(40):  # along the needle to where its axis is a radius under the surface
        middle = 0.5 * (low + high)
        inside = skin.signed_distance_mm(end + middle * (aim - end))[0] < 0.0
        low, high = (middle, high) if inside else (low, middle)
    return Capsule(end + low * (aim - end), end, NEEDLE_MM)
