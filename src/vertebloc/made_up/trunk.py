"""What surrounds the spine: chest wall, lungs, muscles, skin. All invented."""

from __future__ import annotations

import numpy as np

from vertebloc.made_up.rods import continue_curve
from vertebloc.made_up.spine import MadeUpSpine
from vertebloc.space.frames import Frame
from vertebloc.space.planes import Plane
from vertebloc.space.solids import (
    Complement,
    Ellipsoid,
    EllipticCylinder,
    Grown,
    HalfSpace,
    Intersection,
    Layer,
    Moved,
    Rod,
    RoundCone,
    RoundedBox,
    Solid,
    Union,
)
from vertebloc.space.transforms import Points, Transform

_LEAN_DEG = 5.0  #: of the trunk's long axis, backwards towards the head
_TRUNK_Y_MM = -38.0  #: middle of the chest before the middle of T10
_CAVITY_MM = np.array([112.0, 84.0])  #: half width and half depth of the chest's inside
_OUTSIDE_MM = np.array([140.0, 112.0])  #: of the skin
_LUNG_MIDDLE_MM, _LUNG_HALF_LENGTH_MM = 48.0, 120.0  #: along the trunk: -72 to +168 mm
SKIN_MM = 2.0
PLEURA_MM = 2.0  #: least room between lung and what it lies on


def trunk_axes() -> Points:
    """Rows: the trunk's own axes: left, back, head."""
    lean = np.deg2rad(_LEAN_DEG)
    up = np.array([0.0, np.sin(lean), np.cos(lean)])
    return np.array([[1.0, 0.0, 0.0], [0.0, up[2], -up[1]], up])


def trunk_cylinder(grow_mm: float) -> EllipticCylinder:
    """The trunk's outside grown by a length.

    Parameters
    ----------
    grow_mm : float, mm
        By how much; negative to shrink it.

    Returns
    -------
    EllipticCylinder
        Longer than any field of view.
    """
    half = _OUTSIDE_MM + grow_mm
    return EllipticCylinder(np.array([0.0, _TRUNK_Y_MM, 0.0]), half, 600.0, trunk_axes())


def on_chest_wall(angle_deg: float, up_mm: float, depth_mm: float) -> Points:
    """A point on the left chest wall.

    Parameters
    ----------
    angle_deg : float, degrees
        From the back round the side: 0 behind, 90 at the side.
    up_mm : float, mm
        Height along the trunk's own axis.
    depth_mm : float, mm
        How far outside the chest's inner wall.

    Returns
    -------
    (3,) float64, mm
        The point in patient LPS.
    """
    angle = np.deg2rad(angle_deg)
    half = _CAVITY_MM + depth_mm
    own = np.array([half[0] * np.sin(angle), half[1] * np.cos(angle), up_mm])
    return np.array([0.0, _TRUNK_Y_MM, 0.0]) + own @ trunk_axes()


def make_skin() -> tuple[Solid, Solid]:
    """The body's whole outline, and the skin as a layer 2 mm thick."""
    whole = trunk_cylinder(0.0)
    return whole, Layer(whole, SKIN_MM)


def make_muscle(spine: MadeUpSpine, side: float, moved: Transform | None = None) -> Solid:
    """The muscle column beside the spinous processes.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine that it follows.
    side : float, -
        +1 left, -1 right.
    moved : Transform or None
        Where the trunk lies, if not where it does in the lead patient.

    Returns
    -------
    Solid
        Four strands side by side, as far as the fat under the skin; the solid reaches into
        bone, which is drawn over it.
    """
    p = spine.canal_curve(8.0)
    strands = ((13.0, 21.0, 10.0), (25.0, 24.0, 12.5), (39.0, 22.0, 12.0), (50.0, 18.5, 9.0))
    rods = [Rod(p + np.array([side * x, y, 0.0]), np.full(len(p), r)) for x, y, r in strands]
    within: Solid = trunk_cylinder(-7.0)
    return Intersection((Union(rods), within if moved is None else Moved(within, moved)))


def make_mediastinum() -> tuple[Solid, Solid]:
    """Fat in front of the spine, and a heart in it."""
    fat = RoundedBox(np.array([4.0, -48.0, 0.0]), np.array([24.0, 46.0, 400.0]), 12.0)
    heart = Ellipsoid(np.array([18.0, -86.0, 68.0]), np.array([52.0, 38.0, 60.0]))
    return fat, heart


def make_abdomen() -> Solid:
    """Two domes under the lungs, and what lies below them."""
    right = Ellipsoid(np.array([-56.0, -58.0, -90.0]), np.array([62.0, 62.0, 98.0]))
    left = Ellipsoid(np.array([54.0, -62.0, -98.0]), np.array([60.0, 58.0, 96.0]))
    middle = Ellipsoid(np.array([0.0, -84.0, -95.0]), np.array([60.0, 60.0, 90.0]))
    return Union((right, left, middle))


def make_mediastinal_wall(spine: MadeUpSpine) -> tuple[Solid, ...]:
    """What the pleura lies on beside the spine.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine that it follows.

    Returns
    -------
    tuple of Solid
        A column round the bodies and rods round the necks of the ribs.
    """
    placed = list(spine.vertebrae.values())
    middles = continue_curve(np.array([v.at([0.0, -0.5, 0.0])[0] for v in placed]))
    widths = [0.5 * v.shape.sizes.lower_width.value + 3.4 for v in placed]
    column = Rod(middles, np.array([widths[0], *widths, widths[-1]]))
    necks: list[Solid] = []
    for v in placed[1:-1]:
        head, knuckle = v.shape.points_of_left_rib()
        for side in (1.0, -1.0):
            ends = v.at(np.array([head, knuckle]) * [side, 1.0, 1.0])
            necks.append(RoundCone(ends[0], ends[1], 8.0, 9.0))
    return column, *necks


def make_lung(side: float, lies_on: Solid) -> Solid:
    """The chest's inside on one side, without the middle, the domes and what it lies on.

    Parameters
    ----------
    side : float, -
        +1 left, -1 right.
    lies_on : Solid
        What pleura covers beside the spine; the lung keeps ``PLEURA_MM`` off it.

    Returns
    -------
    Solid
        The lung; its distance is exact inside, a bound outside.
    """
    fat, heart = make_mediastinum()
    chest = np.array([0.0, _TRUNK_Y_MM, 0.0]) + trunk_axes()[2] * _LUNG_MIDDLE_MM
    gutter = Plane(np.array([side * 19.0, 14.0, 0.0]), np.array([-side * 24.0, 34.0, 0.0]))
    return Intersection(
        (
            EllipticCylinder(chest, _CAVITY_MM, _LUNG_HALF_LENGTH_MM, trunk_axes()),
            HalfSpace(Plane(np.array([side * 4.0, 0.0, 0.0]), np.array([-side, 0.0, 0.0]))),
            HalfSpace(gutter.moved(_leaning())),
            Complement(Union((fat, heart))),
            Complement(Grown(make_abdomen(), PLEURA_MM)),
            Complement(Grown(lies_on, PLEURA_MM)),
        )
    )


def _leaning() -> Transform:
    matrix = np.eye(4)
    matrix[:3, :3] = trunk_axes().T
    return Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
