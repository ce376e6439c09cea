"""The lead patient's tumour, its calcified rings and the needle's tract. All invented."""

from __future__ import annotations

import numpy as np

from vertebloc.made_up.spine import PlacedVertebra
from vertebloc.made_up.trunk import trunk_cylinder
from vertebloc.space.solids import (
    Capsule,
    Difference,
    Ellipsoid,
    RoundCone,
    Solid,
    Sphere,
    Union,
)

#: middle and radius of the calcified rings, in the axes of the diseased vertebra, mm
_RINGS = (
    (4.0, -3.0, -1.5, 2.6),
    (9.5, 3.5, 0.5, 2.2),
    (17.5, -3.5, -3.0, 3.2),
    (22.0, 4.0, 1.0, 3.6),
    (24.5, -1.5, -5.0, 2.4),
    (29.5, 11.5, -3.5, 3.0),
    (20.5, 10.0, -6.5, 2.2),
)


def ball(
    placed: PlacedVertebra, centre: tuple[float, float, float], half: tuple[float, float, float]
) -> Ellipsoid:
    """An ellipsoid along a vertebra's own axes.

    Parameters
    ----------
    placed : PlacedVertebra
        The vertebra.
    centre, half : tuple of three float, mm
        Middle and half axes, in its own axes.

    Returns
    -------
    Ellipsoid
        In patient LPS.
    """
    axes = placed.lps_from_own.matrix[:3, :3].T
    return Ellipsoid(placed.at(centre)[0], np.array(half), axes)


def make_lead_tumour(placed: PlacedVertebra) -> Union:
    """Left half of the body, left pedicle, tongue beside the vertebra, bulge into the canal.

    Parameters
    ----------
    placed : PlacedVertebra
        The diseased vertebra.

    Returns
    -------
    Union
        The tumour, in patient LPS; exact outside.
    """
    s = placed.shape
    x, z, back = s.pedicle_x_mm, s.pedicle_z_mm, s.canal_middle_mm
    in_body = ball(placed, (6.5, -1.5, -0.8), (10.5, 11.5, 6.8))
    tongue = ball(placed, (23.6, 1.5, -1.2), (11.5, 16.5, 10.2))
    beside_rib = ball(placed, (30.0, 11.5, -3.0), (10.0, 13.5, 10.6))
    in_canal = ball(placed, (6.5, back - 4.3, z - 0.5), (3.2, 4.3, 6.6))
    start, end = placed.at([[x - 2.0, 8.0, 0.6], [x + 0.2, back - 0.5, z]])
    return Union((in_body, tongue, beside_rib, in_canal, RoundCone(start, end, 5.4, 4.3)))


def make_rings(placed: PlacedVertebra) -> Solid:
    """Thin calcified shells within the tumour, drawn in the CT only.

    Parameters
    ----------
    placed : PlacedVertebra
        The diseased vertebra.

    Returns
    -------
    Solid
        Shells 0.9 mm thick.
    """
    shells: list[Solid] = []
    for x, y, z, radius in _RINGS:
        centre = placed.at([x, y, z])[0]
        shells.append(Difference(Sphere(centre, radius), Sphere(centre, radius - 0.9)))
    return Union(shells)


def make_tract(placed: PlacedVertebra) -> Solid:
    """The biopsy needle's way: skin, left back muscle, left pedicle.

    Parameters
    ----------
    placed : PlacedVertebra
        The diseased vertebra.

    Returns
    -------
    Solid
        A capsule 2.4 mm thick that ends at the skin; exact everywhere.
    """
    s = placed.shape
    end = placed.at([s.pedicle_x_mm, s.canal_middle_mm - 4.0, s.pedicle_z_mm])[0]
    aim = placed.at([s.pedicle_x_mm + 19.0, s.canal_middle_mm + 60.0, s.pedicle_z_mm - 4.0])[0]
    skin = trunk_cylinder(-1.2)
    low, high = 0.0, 2.0
    for _ in range(40):  # along the needle to where its axis is 1.2 mm under the surface
        middle = 0.5 * (low + high)
        inside = skin.signed_distance_mm(end + middle * (aim - end))[0] < 0.0
        low, high = (middle, high) if inside else (low, middle)
    return Capsule(end + low * (aim - end), end, 1.2)
