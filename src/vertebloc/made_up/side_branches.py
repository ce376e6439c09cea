"""Nerve roots and segmental vessels, and the gullet and great vein before the spine.

All invented, after anatomy books: a root leaves the sac below the pedicle of its own number and
runs through the foramen; the segmental vessels run round the waist of their body.
"""

from __future__ import annotations

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.made_up.rods import continue_curve, draw_curve
from vertebloc.made_up.sizes import SpinePlan
from vertebloc.made_up.spine import MadeUpSpine, PlacedVertebra
from vertebloc.space.frames import Side
from vertebloc.space.solids import Rod, Solid
from vertebloc.space.transforms import Points

ROOT_RADIUS_MM = {"T": 1.6, "L": 2.4}
SEGMENTAL_RADIUS_MM = 1.3
_OFF_BONE_MM = 1.0  #: between a segmental vessel's wall and the body's widest outline


def make_roots(spine: MadeUpSpine, plan: SpinePlan) -> dict[Contour, Solid]:
    """Both roots of every outlined vertebra.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine that they leave.
    plan : SpinePlan
        Which levels are outlined.

    Returns
    -------
    dict of Contour to Solid
        Rods from the sac below the own pedicle, out and down; exact.
    """
    found: dict[Contour, Solid] = {}
    for level in plan.outlined:
        placed = spine.vertebrae[level]
        for side in (Side.LEFT, Side.RIGHT):
            course = draw_curve(root_course(placed, float(side.sign)), 2.0)
            radius = ROOT_RADIUS_MM[level.region]
            found[Contour(Structure.ROOT, level, side)] = Rod(course, np.full(len(course), radius))
    return found


def root_course(placed: PlacedVertebra, side: float) -> Points:
    """Points that a root passes through.

    Parameters
    ----------
    placed : PlacedVertebra
        The vertebra whose number the root carries.
    side : float, -
        +1 left, -1 right.

    Returns
    -------
    (4, 3) float64, mm
        Sac, below the pedicle, out of the foramen, beside the spine; patient LPS.
    """
    s = placed.shape
    below = s.pedicle_z_mm - 0.5 * s.sizes.pedicle_height.value
    room = ROOT_RADIUS_MM[s.level.region] + 1.0
    y, x = s.canal_middle_mm, s.pedicle_x_mm
    lumbar = s.level.region == "L"
    out, forward, down = (x + 9.0, 3.0, 6.0) if lumbar else (x + 8.0, 1.0, 1.0)
    far = (x + 20.0, 9.0, 22.0) if lumbar else (x + 19.0, -4.0, 2.0)
    return placed.at(
        np.array(
            [
                [side * 4.0, y, below - room + (8.0 if lumbar else 2.0)],
                [side * x, y - 1.0, below - room],
                [side * out, y - forward, below - room - down],
                [side * far[0], y - far[1], below - room - far[2]],
            ]
        )
    )


def make_segmental_vessels(spine: MadeUpSpine, plan: SpinePlan) -> dict[Contour, Solid]:
    """Segmental artery and vein of both sides as one strand, round the waist of each body.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine that they follow.
    plan : SpinePlan
        Which levels are outlined.

    Returns
    -------
    dict of Contour to Solid
        Rods at mid-body from the front to before the foramen; exact.
    """
    found: dict[Contour, Solid] = {}
    for level in plan.outlined:
        for side in (Side.LEFT, Side.RIGHT):
            course = segmental_course(spine.vertebrae[level], float(side.sign))
            found[Contour(Structure.SEGMENTAL_VESSEL, level, side)] = Rod(
                course, np.full(len(course), SEGMENTAL_RADIUS_MM)
            )
    return found


def segmental_course(placed: PlacedVertebra, side: float) -> Points:
    """Points along the middle of a segmental strand.

    Parameters
    ----------
    placed : PlacedVertebra
        The vertebra that it runs round.
    side : float, -
        +1 left, -1 right.

    Returns
    -------
    (24, 3) float64, mm
        From the front round the side to before the foramen, at mid-body; patient LPS.
    """
    sizes = placed.shape.sizes
    off = SEGMENTAL_RADIUS_MM + _OFF_BONE_MM
    wide = 0.5 * max(sizes.upper_width.value, sizes.lower_width.value) + off
    deep = 0.5 * max(sizes.upper_depth.value, sizes.lower_depth.value) + off
    # the back of a body is squarer than its front: the strand keeps a little wider there
    angle = np.deg2rad(np.linspace(8.0, 112.0, 24))
    squarer = 1.0 + 0.12 * np.clip((angle - np.pi / 3.0) / (np.pi / 4.0), 0.0, 1.0)
    across, back = side * squarer * wide * np.sin(angle), -squarer * deep * np.cos(angle)
    return placed.at(np.column_stack((across, back, np.full(len(angle), -0.5))))


def make_gullet(spine: MadeUpSpine) -> Solid:
    """The oesophagus in front of the thoracic spine, between aorta and azygos vein.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine that it follows.

    Returns
    -------
    Solid
        A rod 12 mm thick; exact.
    """
    places = {level: (-4.0, 25.0) for level in spine.vertebrae if level.region == "T"}
    return _before(spine, places, 6.0)


def make_inferior_cava(spine: MadeUpSpine, *, lumbar: bool) -> Solid:
    """The inferior vena cava: right in front of lumbar bodies, farther in front in the chest.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine that it follows.
    lumbar : bool
        Whether the diseased vertebra is a lumbar one.

    Returns
    -------
    Solid
        A rod 18 mm thick; exact.
    """
    places = {
        level: (-9.0, 45.0)
        if not lumbar
        else (-24.0, 26.0)
        if level.region == "T"
        else (-18.0, 18.0)
        if level.number == 1
        else (-14.0, 12.0)
        for level in spine.vertebrae
    }
    return _before(spine, places, 9.0)


def _before(
    spine: MadeUpSpine, places: dict[Level, tuple[float, float]], radius_mm: float
) -> Solid:
    """A rod to the side of, and before, the fronts of the bodies: (side, before) by level."""
    axis = []
    for level, (side, before) in places.items():
        v = spine.vertebrae[level]
        axis.append(v.at([side, -0.5 * v.shape.depth_mm - before, 0.0])[0])
    p = draw_curve(continue_curve(np.array(axis)), 6.0)
    return Rod(p, np.full(len(p), radius_mm))
