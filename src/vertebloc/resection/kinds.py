"""Kinds of resection: which vertebrae, which half, and what that means in words."""

from __future__ import annotations

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Vertebra
from vertebloc.case.choice_words import KindChoice
from vertebloc.case.choices import Choices
from vertebloc.errors import InputError
from vertebloc.resection.model import HalfCut, Kind
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane
from vertebloc.space.surfaces import TriangleSurface

SAGITTAL_CUT = "sagittal cut"  #: its name in a plan
_BODIES = {1: Kind.WHOLE_BODY, 2: Kind.TWO_BODIES, 3: Kind.THREE_BODIES}


def resected_levels(anatomy: Anatomy, level: Level, named: tuple[str, ...]) -> tuple[Level, ...]:
    """The vertebrae whose bodies come out, from head to feet.

    Parameters
    ----------
    anatomy : Anatomy
        The outlined vertebrae.
    level : Level
        The diseased one.
    named : tuple of str
        Chosen levels; empty: the diseased one only.

    Returns
    -------
    tuple of Level
        One to three neighbours, the diseased one among them.

    Raises
    ------
    InputError
        If a level or a neighbour of the ends is not outlined, or there is a gap.
    """
    order = sorted(anatomy.vertebrae)
    levels = tuple(Level.parse(name) for name in named) or (level,)
    for one in (*levels, level):
        if one not in order:
            raise InputError(
                f"{one} is not among the outlined vertebrae "
                f"({', '.join(map(str, order)) or 'none'}): choose one of them"
            )
    places = [order.index(one) for one in levels]
    if level not in levels or places != list(range(places[0], places[0] + len(places))):
        raise InputError(
            f"levels names {', '.join(map(str, levels))}: use neighbours from head to feet, "
            f"{level} among them"
        )
    for where, place, end in (
        ("above", places[0] - 1, levels[0]), ("below", places[-1] + 1, levels[-1])
    ):  # fmt: skip
        if not 0 <= place < len(order):
            raise InputError(
                f"the vertebra {where} {end} is not outlined: a plan needs both neighbours of "
                "the bodies that come out"
            )
    return levels


def kind_of(choices: Choices, levels: tuple[Level, ...]) -> Kind:
    """The kind of resection that was chosen.

    Parameters
    ----------
    choices : Choices
        The team's choices.
    levels : tuple of Level
        The vertebrae whose bodies come out.

    Returns
    -------
    Kind
        For bodies, by how many there are.
    """
    if choices.kind is KindChoice.HALF_BODY:
        return Kind.HALF_BODY
    return Kind.ARCH_ONLY if choices.kind is KindChoice.ARCH_ONLY else _BODIES[len(levels)]


def taken_half(vertebra: Vertebra, tumour: TriangleSurface, choices: Choices) -> Side:
    """The side of the sagittal cut that comes out: the tumour's middle lies there.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one.
    tumour : TriangleSurface
        All that counts as tumour.
    choices : Choices
        Where the sagittal cut lies.

    Returns
    -------
    Side
        Of the patient.
    """
    middle = tumour.vertices.mean(axis=0)
    x = vertebra.lps_from_vertebra.inverse.points(middle)[0, 0]
    return Side.LEFT if x > choices.sagittal_cut_mm else Side.RIGHT


def sagittal_cut(vertebra: Vertebra, side: Side, x_mm: float) -> HalfCut:
    """The cut lengthwise through the body, from behind.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one.
    side : Side
        The half that comes out.
    x_mm : float, mm
        Where it lies, in the vertebra's frame; +x is left.

    Returns
    -------
    HalfCut
        The normal points away from the half that comes out.
    """
    lps = vertebra.lps_from_vertebra
    entry = lps.points([x_mm, vertebra.posterior_wall_mm, 0.0])[0]
    return HalfCut(
        name=SAGITTAL_CUT,
        side=side,
        plane=Plane(entry, lps.vectors([-float(side.sign), 0.0, 0.0])[0]),
        entry=entry,
        entry_edge=lps.vectors([0.0, 0.0, 1.0])[0],
        blade=lps.vectors([0.0, -1.0, 0.0])[0],
        passes_through=f"body of {vertebra.level}",
        level=vertebra.level or Level("T1"),
    )
