"""Whether the piece is a wedge that opens to one side and locks to the other."""

from __future__ import annotations

from vertebloc.anatomy.model import Vertebra
from vertebloc.case.choice_words import DeliverySide
from vertebloc.errors import NoSolutionError
from vertebloc.resection.model import Keystone
from vertebloc.resection.piece import Cuts
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane

#: Wedges flatter than this are called parallel, mm per 10 mm: below what a hand can cut.
PARALLEL_MM_PER_10_MM = 0.1
ARCH_WORDS = "the arch leaves to the back: no body cut can lock it"


def measure_keystone(vertebra: Vertebra, cuts: Cuts, delivery: DeliverySide) -> Keystone:
    """Taper between the two body cuts from right to left.

    Parameters
    ----------
    vertebra : Vertebra
        Its frame gives left, right and height.
    cuts : Cuts
        The half cuts: four, or two for half a body; none for the arch alone.
    delivery : DeliverySide
        The side the piece is to leave by, if chosen.

    Returns
    -------
    Keystone
        Positive: the piece is thicker at the left, so it opens to the left.

    Raises
    ------
    NoSolutionError
        If the piece is thinner on the side it is to leave by: it locks.
    """
    if cuts.is_arch_only:
        return Keystone(opens_to_left_mm_per_10_mm=0.0, words=ARCH_WORDS)
    ends = {Side.LEFT: vertebra.left_wall_mm, Side.RIGHT: vertebra.right_wall_mm}
    if cuts.sagittal is not None:  # half a body ends at its sagittal cut
        local = vertebra.lps_from_vertebra.inverse
        ends[cuts.sides[0].other] = float(local.points(cuts.sagittal.entry)[0, 0])
    left, right = ends[Side.LEFT], ends[Side.RIGHT]
    thick = {
        side: _thickness_mm(
            vertebra, cuts, side if side in cuts.sides else cuts.sides[0], ends[side]
        )
        for side in Side
    }
    taper = (thick[Side.LEFT] - thick[Side.RIGHT]) / (left - right) * 10.0
    if abs(taper) < PARALLEL_MM_PER_10_MM:
        words = (
            "the two body cuts are parallel from side to side: the piece neither opens nor locks"
        )
        return Keystone(opens_to_left_mm_per_10_mm=taper, words=words)
    wide = Side.LEFT if taper > 0 else Side.RIGHT
    words = (
        f"the piece opens {abs(taper):.1f} mm per 10 mm to the {wide.value}; "
        f"to the {wide.other.value} it locks"
    )
    if delivery.value == wide.other.value:
        raise NoSolutionError(
            f"the piece is a wedge that locks: it narrows by {abs(taper):.1f} mm per 10 mm "
            f"towards the {delivery.value}, the side it is to leave by; turn the cuts or the side",
            (words,),
        )
    return Keystone(opens_to_left_mm_per_10_mm=taper, words=words)


def _thickness_mm(vertebra: Vertebra, cuts: Cuts, side: Side, x_mm: float) -> float:
    cranial, caudal = cuts.between(side)
    return _height(vertebra, cranial, x_mm) - _height(vertebra, caudal, x_mm)


def _height(vertebra: Vertebra, plane: Plane, x_mm: float) -> float:
    """Height at which a plane stands over a place of the body's middle, in its own frame."""
    lps = vertebra.lps_from_vertebra
    foot, up = lps.points([x_mm, 0.0, 0.0])[0], lps.vectors([0.0, 0.0, 1.0])[0]
    return float((plane.point - foot) @ plane.normal / (up @ plane.normal))
