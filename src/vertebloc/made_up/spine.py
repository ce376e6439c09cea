"""Vertebrae and discs stacked into a gently bent spine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from vertebloc.anatomy.levels import Level
from vertebloc.made_up.rods import draw_curve
from vertebloc.made_up.sizes import FACET_GAP_MM, LEAD_PLAN, SpinePlan
from vertebloc.made_up.vertebrae import VertebraShape
from vertebloc.space.frames import Frame
from vertebloc.space.solids import (
    Complement,
    Difference,
    EllipticCylinder,
    Grown,
    HalfSpace,
    Intersection,
    Moved,
    Solid,
    Union,
)
from vertebloc.space.transforms import Points, Transform


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedVertebra:
    """One vertebra at its place in the patient."""

    shape: VertebraShape
    lps_from_own: Transform  #: from its own axes, both in mm
    solid: Solid  #: bone, in patient LPS

    def at(self, points: ArrayLike) -> Points:
        """Points given in the vertebra's own axes, in patient LPS, (n, 3)."""
        return self.lps_from_own.points(points)

    def place(self, solid: Solid) -> Solid:
        """A solid given in the vertebra's own axes, in patient LPS."""
        return Moved(solid, self.lps_from_own)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MadeUpSpine:
    """All vertebrae from the head to the feet, and the discs under them."""

    vertebrae: Mapping[Level, PlacedVertebra]
    discs: Mapping[Level, Solid]  #: by the vertebra above

    @property
    def is_thoracic(self) -> bool:
        """Whether it reaches no farther down than L2."""
        return Level("L3") not in self.vertebrae

    def canal_curve(self, spacing_mm: float) -> Points:
        """Points along the middle of the canal, from head to feet, a little beyond the ends."""
        knots = []
        for placed in self.vertebrae.values():
            y, z = placed.shape.canal_middle_mm, 0.3 * placed.shape.height_mm
            knots += [placed.at([0.0, y, z])[0], placed.at([0.0, y, -z])[0]]
        first = knots[0] + 2.0 * (knots[0] - knots[1])
        last = knots[-1] + 2.0 * (knots[-1] - knots[-2])
        return draw_curve(np.array([first, *knots, last]), spacing_mm)


def make_spine(plan: SpinePlan = LEAD_PLAN) -> MadeUpSpine:
    """Stack the vertebrae, one body in the origin.

    Parameters
    ----------
    plan : SpinePlan
        Which vertebrae, and how the spine is bent.

    Returns
    -------
    MadeUpSpine
        The plan's vertebrae and the discs between them, in patient LPS.
    """
    shapes = {level: VertebraShape(level) for level in plan.levels}
    axes = {level: _axes(shape, plan) for level, shape in shapes.items()}
    centres = _stack(shapes, axes, plan.origin)
    motions = {level: _placement(axes[level], centres[level]) for level in shapes}
    placed = {}
    for level, shape in shapes.items():
        solid: Solid = Moved(shape.solid(), motions[level])
        if level is not plan.levels[-1]:
            below = plan.levels[plan.levels.index(level) + 1]
            facets = Union([Moved(f, motions[below]) for f in shapes[below].upper_facets()])
            solid = Difference(solid, Grown(facets, FACET_GAP_MM))
        placed[level] = PlacedVertebra(shape=shape, lps_from_own=motions[level], solid=solid)
    discs = {above: _disc(placed[above], placed[below]) for above, below in pairwise(plan.levels)}
    return MadeUpSpine(vertebrae=placed, discs=discs)


def _axes(shape: VertebraShape, plan: SpinePlan) -> Points:
    """Columns: the vertebra's own left, back and head in patient LPS."""
    name = shape.level.name
    tilt = np.deg2rad(plan.backward_tilt_deg.get(name, shape.shape.backward_tilt_deg))
    up = np.array([0.0, np.sin(tilt), np.cos(tilt)])
    columns = np.column_stack(([1.0, 0.0, 0.0], [0.0, up[2], -up[1]], up))
    aside = np.deg2rad(plan.left_tilt_deg.get(name, 0.0))
    turn = np.deg2rad(plan.turn_deg.get(name, 0.0))
    if aside == 0.0 and turn == 0.0:
        return columns
    c, s = np.cos(aside), np.sin(aside)
    lean = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
    c, s = np.cos(turn), np.sin(turn)
    own = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])
    return np.asarray(lean @ columns @ own)


def _placement(axes: Points, centre: Points) -> Transform:
    matrix = np.eye(4)
    matrix[:3, :3] = axes
    matrix[:3, 3] = centre
    return Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)


def _stack(
    shapes: Mapping[Level, VertebraShape], axes: Mapping[Level, Points], origin: Level
) -> dict[Level, Points]:
    """Middles of the bodies: half a body, a disc, half a body, along the mean direction."""
    levels = list(shapes)
    centres = {levels[0]: np.zeros(3)}
    for above, below in pairwise(levels):
        upper, lower = shapes[above], shapes[below]
        between = axes[above][:, 2] + axes[below][:, 2]
        between /= np.linalg.norm(between)
        centres[below] = (
            centres[above]
            - 0.5 * upper.height_mm * axes[above][:, 2]
            - upper.shape.disc_below_mm * between
            - 0.5 * lower.height_mm * axes[below][:, 2]
        )
    return {level: centre - centres[origin] for level, centre in centres.items()}


def _disc(above: PlacedVertebra, below: PlacedVertebra) -> Solid:
    """What lies between two endplates, within their mean outline and before both canals."""
    roof = above.shape.endplates()[1].moved(above.lps_from_own)
    floor = below.shape.endplates()[0].moved(below.lps_from_own)
    up, down = above.shape.sizes, below.shape.sizes
    half = 0.25 * np.array(
        [
            up.lower_width.value + down.upper_width.value,
            up.lower_depth.value + down.upper_depth.value,
        ]
    )
    middle = 0.5 * (
        above.at([0.0, 0.0, -0.5 * above.shape.height_mm])[0]
        + below.at([0.0, 0.0, 0.5 * below.shape.height_mm])[0]
    )
    axes = above.lps_from_own.matrix[:3, :3].T
    return Intersection(
        (
            EllipticCylinder(middle, half, 12.0, axes),
            Complement(HalfSpace(roof)),
            Complement(HalfSpace(floor)),
            Complement(above.place(above.shape.canal())),
            Complement(below.place(below.shape.canal())),
        )
    )
