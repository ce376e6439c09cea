"""The arch split into its named parts by planes in the vertebra's own frame.

Nature draws no line between lamina and facet; these planes do, so that each bit of bone belongs
to exactly one part and a choice for a part means the same each time.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Vertebra
from vertebloc.case.choice_words import ArchPart
from vertebloc.published.morphometry import VERTEBRA_SIZES
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane
from vertebloc.space.sections import Solid, trimmed, united

PEDICLE_TO = 0.5  #: a pedicle ends at this share of the canal's depth (assumed)
LAMINA_MM = 7.0  #: bone farther behind the canal than this is spinous process (assumed)
SPINOUS_HALF_MM = 4.0  #: half the width of the spinous process (assumed)
FACETS_FROM = 0.5  #: facets begin at this share of the canal's half width (assumed)

PEDICLE = {Side.LEFT: ArchPart.LEFT_PEDICLE, Side.RIGHT: ArchPart.RIGHT_PEDICLE}
LAMINA = {Side.LEFT: ArchPart.LEFT_LAMINA, Side.RIGHT: ArchPart.RIGHT_LAMINA}
TRANSVERSE = {
    Side.LEFT: ArchPart.LEFT_TRANSVERSE_PROCESS,
    Side.RIGHT: ArchPart.RIGHT_TRANSVERSE_PROCESS,
}
FACETS = {Side.LEFT: ArchPart.LEFT_FACETS, Side.RIGHT: ArchPart.RIGHT_FACETS}

#: How the parts are told apart; printed where a part was chosen.
PARTS_RULE = (
    "parts of the arch are told apart by planes in the vertebra's own frame: a pedicle ends at "
    "half the canal's depth, a transverse process begins beside the pedicle, facets lie above "
    "and below the body's endplates, the spinous process is the middle 8 mm from 7 mm behind "
    "the canal on; canal and pedicle have published mean sizes of the level"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchPlanes:
    """Where one part ends and the next begins, mm in the vertebra's own frame."""

    wall_mm: float  #: y of the posterior wall
    pedicle_end_mm: float  #: y
    lamina_back_mm: float  #: y
    transverse_from_mm: float  #: distance from the midline
    facets_from_mm: float  #: distance from the midline
    facets_above_mm: float  #: z
    facets_below_mm: float  #: z
    spinous_half_mm: float  #: distance from the midline


def arch_planes(vertebra: Vertebra) -> ArchPlanes:
    """Place the planes between the parts.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one; walls and endplates are its own.

    Returns
    -------
    ArchPlanes
        Canal and pedicle with the published mean sizes of its level, or of the nearest level
        that has any.
    """
    sizes = VERTEBRA_SIZES[_nearest_with_sizes(vertebra.level)]
    depth, half_width = sizes.canal_depth.value, sizes.canal_width.value / 2.0
    wall = vertebra.posterior_wall_mm
    return ArchPlanes(
        wall_mm=wall,
        pedicle_end_mm=wall + PEDICLE_TO * depth,
        lamina_back_mm=wall + depth + LAMINA_MM,
        transverse_from_mm=half_width + sizes.pedicle_width.value,
        facets_from_mm=FACETS_FROM * half_width,
        facets_above_mm=vertebra.upper_endplate_mm,
        facets_below_mm=vertebra.lower_endplate_mm,
        spinous_half_mm=SPINOUS_HALF_MM,
    )


def split_arch(arch: Solid, vertebra: Vertebra) -> Mapping[ArchPart, Solid]:
    """Split the arch into its parts.

    Parameters
    ----------
    arch : Solid
        Bone behind the posterior wall.
    vertebra : Vertebra
        Its frame.

    Returns
    -------
    mapping of ArchPart to Solid
        Every part, some perhaps empty; together they are the arch, and none overlap.
    """
    at = arch_planes(vertebra)
    rear = trimmed(arch, [_y(vertebra, at.pedicle_end_mm, front=False)])
    spinous = trimmed(
        rear,
        [
            _y(vertebra, at.lamina_back_mm, front=False),
            *(_x(vertebra, side, at.spinous_half_mm, outside=False) for side in Side),
        ],
    )
    parts = {ArchPart.SPINOUS_PROCESS: spinous}
    rear = rear - spinous
    for side in Side:
        middle = _x(vertebra, side, 0.0, outside=True)
        parts[PEDICLE[side]] = trimmed(arch, [middle, _y(vertebra, at.pedicle_end_mm, front=True)])
        half = trimmed(rear, [middle])
        aside = _x(vertebra, side, at.transverse_from_mm, outside=True)
        parts[TRANSVERSE[side]] = trimmed(half, [aside])
        near = trimmed(half, [_x(vertebra, side, at.transverse_from_mm, outside=False)])
        beside = trimmed(near, [_x(vertebra, side, at.facets_from_mm, outside=True)])
        parts[FACETS[side]] = united(
            [
                trimmed(beside, [_z(vertebra, at.facets_above_mm, above=True)]),
                trimmed(beside, [_z(vertebra, at.facets_below_mm, above=False)]),
            ]
        )
        parts[LAMINA[side]] = near - parts[FACETS[side]]
    return parts


def part_planes(vertebra: Vertebra) -> Iterator[tuple[str, Side, Plane, bool]]:
    """Every plane that two parts may share.

    Parameters
    ----------
    vertebra : Vertebra
        Its frame.

    Yields
    ------
    tuple of (str, Side, Plane, bool)
        What lies there, the side it is reached from, the plane, and whether parts of both
        sides meet it; if not, only its half on that side counts.
    """
    at = arch_planes(vertebra)
    for side in Side:
        end = _y(vertebra, at.pedicle_end_mm, front=True)
        yield f"behind the {side.value} pedicle", side, end, False
        aside = _x(vertebra, side, at.transverse_from_mm, outside=False)
        yield f"at the {side.value} transverse process", side, aside, False
        beside = _x(vertebra, side, at.facets_from_mm, outside=False)
        yield f"beside the {side.value} facets", side, beside, False
        for above in (True, False):
            height = at.facets_above_mm if above else at.facets_below_mm
            words = f"at the {side.value} {'upper' if above else 'lower'} facet"
            yield words, side, _z(vertebra, height, above=not above), False
        near = _x(vertebra, side, at.spinous_half_mm, outside=False)
        yield f"{side.value} of the spinous process", side, near, False
    behind = _y(vertebra, at.lamina_back_mm, front=True)
    yield "in front of the spinous process", Side.LEFT, behind, True
    yield "in the midline", Side.LEFT, _x(vertebra, Side.LEFT, 0.0, outside=True), True


def _nearest_with_sizes(level: Level | None) -> str:
    known = [Level(name) for name in VERTEBRA_SIZES]
    place = level or known[0]
    order = sorted([*known, place])
    return min(known, key=lambda one: abs(order.index(one) - order.index(place))).name


def _y(vertebra: Vertebra, at_mm: float, *, front: bool) -> Plane:
    """Square to front-back; its negative side is the front, or the back."""
    lps = vertebra.lps_from_vertebra
    return Plane(
        lps.points([0.0, at_mm, 0.0])[0], lps.vectors([0.0, 1.0 if front else -1.0, 0.0])[0]
    )


def _x(vertebra: Vertebra, side: Side, at_mm: float, *, outside: bool) -> Plane:
    """Square to left-right; its negative side is farther from the midline, or nearer to it."""
    lps = vertebra.lps_from_vertebra
    out = float(side.sign)
    return Plane(
        lps.points([out * at_mm, 0.0, 0.0])[0],
        lps.vectors([-out if outside else out, 0.0, 0.0])[0],
    )


def _z(vertebra: Vertebra, at_mm: float, *, above: bool) -> Plane:
    """Square to the axis; its negative side is above, or below."""
    lps = vertebra.lps_from_vertebra
    return Plane(
        lps.points([0.0, 0.0, at_mm])[0], lps.vectors([0.0, 0.0, -1.0 if above else 1.0])[0]
    )
