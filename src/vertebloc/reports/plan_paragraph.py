"""The plan as a paragraph whose numbers and choices can be changed in place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from vertebloc.anatomy.model import Anatomy
from vertebloc.case.choice_words import OpenSide, Placement, StandingSide
from vertebloc.case.choices import LIMITS, ArchChoice, Choices, CutChoice, HalfPlacement
from vertebloc.errors import InputError
from vertebloc.reports import page_words as words
from vertebloc.resection.cuts import PAST_ENDPLATE_MM, heights_between
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.frames import Side

Placements = Mapping[str, Mapping[Side, HalfPlacement]]
_Word = TypeVar("_Word", OpenSide, StandingSide)
_SAME_MM = 0.05  #: halves nearer than this are spoken of as one cut


@dataclass(frozen=True, slots=True)
class Words:
    """Plain words of the paragraph."""

    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """A number that can be typed or dragged."""

    part: str  #: such as ``cranial.both.height``
    label: str  #: said by a screen reader
    value: float
    unit: str
    low: float
    high: float
    step: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """A word that can be chosen among a few."""

    part: str
    label: str
    value: str
    allowed: tuple[tuple[str, str], ...]  #: value and words of each


Part = Words | Number | Choice


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanGround:
    """What heights in the paragraph are counted from: the neighbours' endplates."""

    level: str
    neighbour: Mapping[str, str]  #: ``cranial``, ``caudal`` -> name of the vertebra there
    endplate_mm: Mapping[str, float]  #: its near endplate in the diseased vertebra's frame


def plan_ground(anatomy: Anatomy, solids: ResectionSolids) -> PlanGround:
    """Find the endplates that heights are counted from.

    Parameters
    ----------
    anatomy : Anatomy
        Frames and endplates.
    solids : ResectionSolids
        Names the level and its neighbours.

    Returns
    -------
    PlanGround
        For ``plan_paragraph`` and ``with_changed_part``.
    """
    names, heights = {}, {}
    for which, neighbour, past in (
        ("cranial", solids.neighbours[0], PAST_ENDPLATE_MM),
        ("caudal", solids.neighbours[1], -PAST_ENDPLATE_MM),
    ):
        _, first, _ = heights_between(anatomy, solids.level, neighbour, cranial=which == "cranial")
        names[which], heights[which] = str(neighbour), first - past
    return PlanGround(level=str(solids.level), neighbour=names, endplate_mm=heights)


def plan_paragraph(
    choices: Choices, placements: Placements, ground: PlanGround, side: Side
) -> tuple[Part, ...]:
    """Write the plan's acts as a paragraph.

    Parameters
    ----------
    choices : Choices
        The team's choices.
    placements : mapping
        Where the halves of the two body cuts lie.
    ground : PlanGround
        From ``plan_ground``.
    side : Side
        The side through which the arch is opened, as planned.

    Returns
    -------
    tuple of Part
        In reading order.
    """
    parts: list[Part] = [Words(words.PARAGRAPH_START)]
    for place, which in enumerate(("cranial", "caudal")):
        parts.append(Words(words.cut_through(ground.neighbour[which], first=place == 0)))
        parts += _cut(which, placements[which], ground)
    parts.append(Words(words.OPEN_ARCH.format(level=ground.level)))
    by_rule = words.by_rule(side.value)
    parts.append(Choice(
        part="open_side", label=words.PART_LABELS["open_side"], value=choices.arch.open_side.value,
        allowed=((OpenSide.BY_RULE.value, by_rule), ("left", "left"), ("right", "right")),
    ))  # fmt: skip
    parts.append(Words(words.KEEP_MARGIN))
    low, high = LIMITS["wanted_margin_mm"]
    parts.append(Number(
        part="wanted_margin", label=words.PART_LABELS["wanted_margin"],
        value=choices.wanted_margin_mm, unit="mm", low=low, high=high, step=0.5,
    ))  # fmt: skip
    parts.append(Words(words.STAND_AT))
    parts.append(Choice(
        part="standing", label=words.STANDING, value=choices.standing_side.value,
        allowed=tuple(words.STANDING_WORDS.items()),
    ))  # fmt: skip
    return (*parts, Words("."))


def _cut(which: str, halves: Mapping[Side, HalfPlacement], ground: PlanGround) -> list[Part]:
    left, right = halves[Side.LEFT], halves[Side.RIGHT]
    apart = (
        abs(left.height_mm - right.height_mm) > _SAME_MM
        or abs(left.tilt_deg - right.tilt_deg) > _SAME_MM
    )
    if not apart:
        return _half(which, "both", left, ground)
    said: list[Part] = []
    for side, half in ((Side.LEFT, left), (Side.RIGHT, right)):
        said.append(Words(words.half_of(side.value, first=side is Side.LEFT)))
        said += _half(which, side.value, half, ground)
    return said


def _half(which: str, side: str, half: HalfPlacement, ground: PlanGround) -> list[Part]:
    outward = 1.0 if which == "cranial" else -1.0
    past = outward * (half.height_mm - ground.endplate_mm[which])
    label = words.part_label(which, side)
    return [
        Number(
            part=f"{which}.{side}.height", label=f"{label}: {words.PART_LABELS['height']}",
            value=past, unit="mm", low=-60.0, high=40.0, step=0.5,
        ),
        Words(words.past_endplate(which)),
        Number(
            part=f"{which}.{side}.tilt", label=f"{label}: {words.PART_LABELS['tilt']}",
            value=half.tilt_deg, unit="°", low=-45.0, high=45.0, step=0.5,
        ),
    ]  # fmt: skip


def with_changed_part(
    choices: Choices, placements: Placements, ground: PlanGround, part: str, typed: str
) -> Choices:
    """Choices after one number or word of the paragraph was changed.

    Parameters
    ----------
    choices : Choices
        As they were.
    placements : mapping
        Where the halves of the two body cuts lie now.
    ground : PlanGround
        What heights are counted from.
    part : str
        Which number or word.
    typed : str
        What was typed or chosen.

    Returns
    -------
    Choices
        As they shall be.

    Raises
    ------
    InputError
        If that is no number, no allowed word, or cannot be meant.
    """
    if part == "open_side":
        arch = ArchChoice(open_side=_one_of(OpenSide, typed), parts=choices.arch.parts)
        return replace(choices, arch=arch)
    if part == "standing":
        return replace(choices, standing_side=_one_of(StandingSide, typed))
    value = _number(part, typed)
    if part == "wanted_margin":
        return replace(choices, wanted_margin_mm=value)
    which, half, what = _named(part)
    sides: Sequence[Side] = list(Side) if half == "both" else [Side(half)]
    halves = dict(placements[which])
    for side in sides:
        if what == "tilt":
            halves[side] = replace(halves[side], tilt_deg=value)
        else:
            outward = 1.0 if which == "cranial" else -1.0
            height = round(ground.endplate_mm[which] + outward * value, 2)
            halves[side] = replace(halves[side], height_mm=height)
    cut = CutChoice(placed=Placement.BY_HAND, halves=halves)
    if which == "cranial":
        return replace(choices, cranial_cut=cut)
    return replace(choices, caudal_cut=cut)


def _named(part: str) -> tuple[str, str, str]:
    names = part.split(".")
    halves = ("both", *(side.value for side in Side))
    known = (
        len(names) == 3
        and names[0] in ("cranial", "caudal")
        and names[1] in halves
        and names[2] in ("height", "tilt")
    )
    if not known:
        raise InputError(f"the plan has no number called {part!r}")
    return names[0], names[1], names[2]


def _number(part: str, typed: str) -> float:
    try:
        return float(typed.strip().replace(",", ".").removesuffix("mm").removesuffix("°"))
    except ValueError as error:
        raise InputError(f"{typed!r} is no number: type {part} as a number such as 5.0") from error


def _one_of(words_of: type[_Word], typed: str) -> _Word:
    try:
        return words_of(typed)
    except ValueError as error:
        allowed = ", ".join(repr(word.value) for word in words_of)
        raise InputError(f"{typed!r} cannot be chosen: use one of {allowed}") from error
