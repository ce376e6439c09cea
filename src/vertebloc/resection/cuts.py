"""Half cuts through bodies and cuts through the arch, by the rule or by hand."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Vertebra
from vertebloc.case.choice_words import KindChoice
from vertebloc.case.choices import HalfPlacement
from vertebloc.errors import InputError
from vertebloc.resection.model import HalfCut
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane

#: How default body cuts are placed; printed on the sheet.
CUT_RULE = (
    "each body cut lies square to the diseased vertebra's own axis, both halves in one plane: "
    "in the middle of the disc if the wanted margin is reached there, else through the "
    "neighbour's body, at least 3 mm past its endplate and as near as the wanted margin allows, "
    "never past the middle of that body; the arch is opened on the side whose pedicle holds "
    "no or less tumour; on the other, if diseased, the arch is cut the wanted margin behind the "
    "hindmost tumour in bone, and what lies in front of that cut leaves with the piece"
)
#: The same for the other kinds.
CUT_RULES: Mapping[KindChoice, str] = MappingProxyType(
    {
        KindChoice.WHOLE_BODY: CUT_RULE,
        KindChoice.HALF_BODY: (
            "the body is cut lengthwise from behind where it was chosen, by default in its "
            "mid-plane; the half with the tumour's middle is taken; on it, " + CUT_RULE
        ),
        KindChoice.ARCH_ONLY: (
            "each pedicle is cut square to the vertebra's front-back axis, half way between the "
            "posterior wall and its own end, or farther forward until the wanted margin is "
            "reached, never nearer than 0.5 mm to the wall; all behind leaves to the back"
        ),
    }
)
PAST_ENDPLATE_MM = 3.0  #: assumed: bone a blade needs to hold its course beside an endplate


def half_cut(
    vertebra: Vertebra, placement: HalfPlacement, side: Side, *, cranial: bool, words: str,
    level: Level,
) -> HalfCut:  # fmt: skip
    """One half of a body cut from its numbers in the diseased vertebra's frame.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one, whose frame the numbers are in.
    placement : HalfPlacement
        Height of the entry edge, tilt and roll.
    side : Side
        The patient's side it is made from.
    cranial : bool
        Whether it is the upper of the two cuts.
    words : str
        What it passes through, such as ``body of T9``.
    level : Level
        The vertebra it is made in.

    Returns
    -------
    HalfCut
        The blade runs forward from the back of the body; the normal points out of the piece.
    """
    tilt, roll = np.radians(placement.tilt_deg), np.radians(placement.roll_deg)
    blade = np.array([0.0, -np.cos(tilt), np.sin(tilt)])  # tip towards the head when tilted up
    across = np.array([1.0, 0.0, 0.0])
    up = np.cross(across, -blade)
    across, up = (
        np.cos(roll) * across + np.sin(roll) * up,
        np.cos(roll) * up - np.sin(roll) * across,
    )
    wall = vertebra.left_wall_mm if side is Side.LEFT else vertebra.right_wall_mm
    entry = np.array([wall / 2.0, vertebra.posterior_wall_mm, placement.height_mm])
    lps = vertebra.lps_from_vertebra
    return HalfCut(
        name=f"{side.value} half of the {'cranial' if cranial else 'caudal'} cut",
        side=side,
        plane=Plane(lps.points(entry)[0], lps.vectors(up if cranial else -up)[0]),
        entry=lps.points(entry)[0],
        entry_edge=lps.vectors(across)[0],
        blade=lps.vectors(blade)[0],
        passes_through=words,
        level=level,
    )


def arch_cut(
    vertebra: Vertebra, side: Side, y_mm: float, *, name: str, words: str, towards_back: bool
) -> HalfCut:
    """A cut across a pedicle or the arch, square to the vertebra's front-back axis.

    Parameters
    ----------
    vertebra : Vertebra
        The diseased one.
    side : Side
        Side of the patient.
    y_mm : float, mm
        Where it lies, in the vertebra's frame; +y is the back.
    name, words : str
        Its name, and what it passes through.
    towards_back : bool
        Whether the piece lies in front of it, so that the normal points to the back.

    Returns
    -------
    HalfCut
        The blade runs from the side towards the canal.
    """
    lps = vertebra.lps_from_vertebra
    wall = vertebra.left_wall_mm if side is Side.LEFT else vertebra.right_wall_mm
    entry = lps.points([wall, y_mm, 0.0])[0]
    return HalfCut(
        name=name,
        side=side,
        plane=Plane(entry, lps.vectors([0.0, 1.0 if towards_back else -1.0, 0.0])[0]),
        entry=entry,
        entry_edge=lps.vectors([0.0, 0.0, 1.0])[0],
        blade=lps.vectors([-float(side.sign), 0.0, 0.0])[0],
        passes_through=words,
        level=vertebra.level or Level("T1"),
    )


def heights_between(
    anatomy: Anatomy,
    level: Level,
    neighbour: Level,
    *,
    cranial: bool,
    end: Level | None = None,
) -> tuple[float, float, float]:
    """Heights of the disc's middle, of the first place in the neighbour, and of its middle.

    Parameters
    ----------
    anatomy : Anatomy
        Frames and endplates.
    level, neighbour : Level
        The diseased vertebra, and the one above or below all that comes out.
    cranial : bool
        Whether the neighbour is the one above.
    end : Level or None
        The last vertebra that comes out on this side; None: the diseased one.

    Returns
    -------
    tuple of float, mm
        In the diseased vertebra's frame; above its middle is positive.
    """
    here, there = anatomy.vertebrae[level], anatomy.vertebrae[neighbour]
    into = here.lps_from_vertebra.inverse @ there.lps_from_vertebra
    near = there.lower_endplate_mm if cranial else there.upper_endplate_mm
    past = PAST_ENDPLATE_MM if cranial else -PAST_ENDPLATE_MM
    heights = into.points(np.array([[0.0, 0.0, near], [0.0, 0.0, near + past], [0.0, 0.0, 0.0]]))[
        :, 2
    ]
    last = anatomy.vertebrae[end or level]
    edge = last.upper_endplate_mm if cranial else last.lower_endplate_mm
    onto = here.lps_from_vertebra.inverse @ last.lps_from_vertebra
    own = float(onto.points([0.0, 0.0, edge])[0, 2])
    return (own + float(heights[0])) / 2.0, float(heights[1]), float(heights[2])


def words_for_height(
    anatomy: Anatomy, level: Level, upto: tuple[Level, ...], height_mm: float, *, cranial: bool
) -> tuple[str, Level]:
    """What a body cut at a height passes through, and the vertebra it belongs to.

    Parameters
    ----------
    anatomy : Anatomy
        Frames and endplates.
    level : Level
        The diseased vertebra.
    upto : tuple of Level
        The vertebrae from there on upwards, or downwards, as far as the one beyond all that
        comes out; the diseased one not among them.
    height_mm : float, mm
        In the diseased vertebra's frame.
    cranial : bool
        Whether it is the upper cut.

    Returns
    -------
    tuple of (str, Level)
        Such as ``("body of T9", T9)`` or ``("disc T9/T10", T10)``.

    Raises
    ------
    InputError
        If the cut lies on the wrong side of the diseased body's middle.
    """
    here = anatomy.vertebrae[level]
    outward = 1.0 if cranial else -1.0
    if outward * height_mm <= 0.0:
        raise InputError(
            f"the {'cranial' if cranial else 'caudal'} cut is at {height_mm:.1f} mm, "
            f"{'below' if cranial else 'above'} the middle of {level}: "
            f"use a {'positive' if cranial else 'negative'} height_mm"
        )
    inner = level
    own = here.upper_endplate_mm if cranial else here.lower_endplate_mm
    if outward * (height_mm - own) < 0.0:
        return f"body of {level}", level
    for outer in upto:
        there = anatomy.vertebrae[outer]
        into = here.lps_from_vertebra.inverse @ there.lps_from_vertebra
        ends = (there.lower_endplate_mm, there.upper_endplate_mm)
        near, far = into.points([[0.0, 0.0, end] for end in ends[:: 1 if cranial else -1]])[:, 2]
        if outward * (height_mm - near) < 0.0:
            upper, lower = (outer, inner) if cranial else (inner, outer)
            return f"disc {upper}/{lower}", inner
        if outward * (height_mm - far) < 0.0:
            return f"body of {outer}", outer
        inner = outer
    return f"body of {inner}", inner
