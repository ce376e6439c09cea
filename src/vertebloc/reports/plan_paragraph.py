"""The plan as a paragraph whose numbers and choices can be changed in place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from vertebloc.anatomy.model import Anatomy
from vertebloc.case.choice_words import OpenSide, Placement, RibFateChoice, StandingSide
from vertebloc.case.choices import LIMITS, ArchChoice, Choices, CutChoice, HalfPlacement, RibChoice
from vertebloc.errors import InputError
from vertebloc.reports import page_words as words
from vertebloc.reports import text
from vertebloc.reports.answer import nibbled_in_words
from vertebloc.reports.plan_parts import Choice, Number, Part, Words, read_number, read_word
from vertebloc.resection.cuts import PAST_ENDPLATE_MM, heights_between
from vertebloc.resection.kinds import SAGITTAL_CUT
from vertebloc.resection.model import BoneFate, Kind, ResectionPlan, RibFate
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.frames import Side

Placements = Mapping[str, Mapping[Side, HalfPlacement]]
_SAME_MM = 0.05  #: halves nearer than this are spoken of as one cut

#: Least, most and step of each kind of number, and its unit. They catch what cannot be meant.
_BOUNDS = {
    "height": (-60.0, 40.0, 0.5, "mm"),
    "tilt": (*LIMITS["tilt_deg"], 0.5, "°"),
    "roll": (*LIMITS["roll_deg"], 0.5, "°"),
    "wanted_margin": (*LIMITS["wanted_margin_mm"], 0.5, "mm"),
    "length": (*LIMITS["length_mm"], 5.0, "mm"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanGround:
    """What heights in the paragraph are counted from: the neighbours' endplates."""

    level: str
    neighbour: Mapping[str, str]  #: ``cranial``, ``caudal`` -> name of the vertebra there
    endplate_mm: Mapping[str, float]  #: its near endplate in the diseased vertebra's frame
    outermost: Mapping[str, str]  #: the last vertebra there that comes out: often the diseased one
    own_endplate_mm: Mapping[str, float]  #: its endplate towards the neighbour, in the same frame


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
        _, first, _ = heights_between(
            anatomy,
            solids.level,
            neighbour,
            cranial=which == "cranial",
            end=solids.levels[0 if which == "cranial" else -1],
        )
        names[which], heights[which] = str(neighbour), first - past
    ends = {"cranial": solids.levels[0], "caudal": solids.levels[-1]}
    into = anatomy.vertebrae[solids.level].lps_from_vertebra.inverse
    own = {}
    for which, end in ends.items():
        last = anatomy.vertebrae[end]
        plate = last.upper_endplate_mm if which == "cranial" else last.lower_endplate_mm
        own[which] = float((into @ last.lps_from_vertebra).points([0.0, 0.0, plate])[0, 2])
    return PlanGround(
        level=str(solids.level),
        neighbour=names,
        endplate_mm=heights,
        outermost={which: str(end) for which, end in ends.items()},
        own_endplate_mm=own,
    )


def plan_paragraph(
    choices: Choices, placements: Placements, ground: PlanGround, plan: ResectionPlan
) -> tuple[Part, ...]:
    """Write the plan's acts in a few lines: cuts, arch, ribs, what is kept.

    Parameters
    ----------
    choices : Choices
        The team's choices.
    placements : mapping
        Where the halves of the two body cuts lie.
    ground : PlanGround
        From ``plan_ground``.
    plan : ResectionPlan
        What the rule decided: side of the opening, bone that is nibbled away, ribs.

    Returns
    -------
    tuple of Part
        In reading order. What is as usual is not said: halves in one plane, no roll, a rib's
        length by rule. What can be changed can be changed all the same.
    """
    parts: list[Part] = [Words(words.LINE_CUTS, begins=True)]
    if plan.kind is Kind.ARCH_ONLY:
        parts.append(Words(words.ARCH_OUT.format(level=ground.level)))
        nibbled = _nibbled(plan)
        parts += [Words(words.BETWEEN), *nibbled] if nibbled else []
    else:
        parts += _what_comes_out(choices, plan)
        for which in ("cranial", "caudal"):
            parts += _cut(which, placements[which], ground)
        parts += _arch(choices, ground, plan)
    parts += _ribs(choices, plan)
    parts.append(Words(words.LINE_KEEP, begins=True))
    parts.append(_number_part("wanted_margin", words.PART_LABELS["wanted_margin"],
                              choices.wanted_margin_mm))  # fmt: skip
    parts.append(Words(words.STAND_AT))
    parts.append(Choice(
        part="standing", label=words.STANDING, value=choices.standing_side.value,
        allowed=tuple(words.STANDING_WORDS.items()),
    ))  # fmt: skip
    return (*parts, Words("."))


def _arch(choices: Choices, ground: PlanGround, plan: ResectionPlan) -> list[Part]:
    """Where the arch is opened, and what is nibbled away."""
    opened = Choice(
        part="open_side", label=words.PART_LABELS["open_side"],
        value=choices.arch.open_side.value,
        allowed=((OpenSide.BY_RULE.value, words.by_rule(plan.open_side.value)),
                 ("left", "left"), ("right", "right")),
    )  # fmt: skip
    said = _nibbled(plan)
    return [
        Words(words.LINE_ARCH, begins=True),
        Words(words.OPEN_ARCH.format(level=ground.level)),
        opened,
        *([Words(words.BETWEEN), *said] if said else []),
    ]


def _nibbled(plan: ResectionPlan) -> list[Part]:
    """Bone that is taken piecemeal; all of the arch in one word."""
    if all(fate is BoneFate.PIECEMEAL for fate in plan.bone_fates.values()):
        return [Words(words.NIBBLE_ALL)]
    nibbled = [text.the(part) for part in nibbled_in_words(plan)]
    return [Words(words.nibble(text.listed(nibbled)))] if nibbled else []


def _what_comes_out(choices: Choices, plan: ResectionPlan) -> list[Part]:
    """Said where it is not one whole body."""
    if len(plan.levels) > 1:
        return [Words(words.out_together(text.listed([str(level) for level in plan.levels])))]
    for cut in plan.cuts:
        if cut.name == SAGITTAL_CUT:
            half = text.half_taken(str(plan.level), cut.side, choices.sagittal_cut_mm)
            return [Words(f"{half[:1].lower()}{half[1:].rstrip('.')},")]
    return []


def _number_part(part: str, label: str, value: float | None) -> Number:
    low, high, step, unit = _BOUNDS[part.rpartition(".")[2]]
    return Number(part=part, label=label, value=value, unit=unit, low=low, high=high, step=step)


def _cut(which: str, halves: Mapping[Side, HalfPlacement], ground: PlanGround) -> list[Part]:
    """Both halves in one, or each by itself."""
    left, right = halves[Side.LEFT], halves[Side.RIGHT]
    first = which == "cranial"
    apart = any(
        abs(getattr(left, name) - getattr(right, name)) > _SAME_MM
        for name in ("height_mm", "tilt_deg", "roll_deg")
    )
    if not apart:
        return _half(which, "both", left, ground, first=first)
    said = []
    for side, half in ((Side.LEFT, left), (Side.RIGHT, right)):
        begins = first and side is Side.LEFT
        said += _half(which, side.value, half, ground, first=begins)
    together = Choice(
        part=f"{which}.halves", label=f"{which} cut: {words.PART_LABELS['halves']}",
        value="apart", allowed=words.HALVES_CHOICE,
    )  # fmt: skip
    return [*said, Words(","), together]


def _half(
    which: str, side: str, half: HalfPlacement, ground: PlanGround, *, first: bool
) -> list[Part]:
    """Where one cut or one half of it runs: in the neighbour's body, the disc, or its own."""
    outward = 1.0 if which == "cranial" else -1.0
    past = outward * (half.height_mm - ground.endplate_mm[which])
    neighbour, level = ground.neighbour[which], ground.outermost[which]
    if past >= 0.0:
        begin = words.cut_through(neighbour, first=first)
        end = words.past_endplate(which)
    else:
        above, below = (neighbour, level) if which == "cranial" else (level, neighbour)
        begin = words.cut_in_disc(above, below, first=first)
        if outward * (half.height_mm - ground.own_endplate_mm[which]) < 0.0:
            begin = words.cut_in_own_body(level, first=first)
        end = words.from_endplate(which, neighbour, level)
    if side != "both":
        begin = words.of_half(begin, side)
    label = words.part_label(which, side)
    parts: list[Part] = [
        Words(begin),
        _number_part(f"{which}.{side}.height", f"{label}: {words.PART_LABELS['height']}", past),
        Words(end + words.TILTED),
        _number_part(
            f"{which}.{side}.tilt", f"{label}: {words.PART_LABELS['tilt']}", half.tilt_deg
        ),
    ]
    if abs(half.roll_deg) > _SAME_MM:
        parts.append(Words(words.ROLLED))
        parts.append(
            _number_part(
                f"{which}.{side}.roll", f"{label}: {words.PART_LABELS['roll']}", half.roll_deg
            )
        )
    return parts


def _ribs(choices: Choices, plan: ResectionPlan) -> list[Part]:
    """Each rib that is given up, and how much of it; then those that could be."""
    parts: list[Part] = [Words(words.LINE_RIBS, begins=True)]
    others = [("", words.NO_OTHER_RIB)]
    for name, fate in plan.rib_fates.items():
        side, _, level = name.partition(" rib of ")
        choice = choices.rib(level, Side(side))
        if fate is RibFate.KEPT and choice.fate is RibFateChoice.BY_RULE:
            others.append((f"{side}.{level}", name))
            continue
        between = [Words(words.BETWEEN)] if len(parts) > 1 else []
        parts += [*between, Words(words.rib_is(name))]
        parts.append(Choice(
            part=f"rib.{side}.{level}.fate", label=f"{name}: {words.PART_LABELS['fate']}",
            value=choice.fate.value,
            allowed=tuple((one.value, words.RIB_FATES[one.value].format(fate=fate.value))
                          for one in RibFateChoice),
        ))  # fmt: skip
        if fate is not RibFate.KEPT and choice.fate is not RibFateChoice.BY_RULE:
            parts.append(Words(words.RIB_OVER))
            label = f"{name}: {words.PART_LABELS['length']}"
            parts.append(_number_part(f"rib.{side}.{level}.length", label, choice.length_mm))
    if len(others) > 1:
        parts += [*([Words(words.BETWEEN)] if len(parts) > 1 else []), Words(words.OTHER_RIB)]
        parts.append(Choice(part="rib.add", label=words.OTHER_RIB_LABEL, value="",
                            allowed=tuple(others)))  # fmt: skip
    return parts if len(parts) > 1 else []


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
        arch = ArchChoice(open_side=read_word(OpenSide, typed), parts=choices.arch.parts)
        return replace(choices, arch=arch)
    if part == "standing":
        return replace(choices, standing_side=read_word(StandingSide, typed))
    if part == "wanted_margin":
        return replace(choices, wanted_margin_mm=_number(part, typed))
    if part.startswith("rib."):
        return _with_rib(choices, part, typed)
    which, half, what = _named(part)
    halves = dict(placements[which])
    if what == "halves":
        if typed != "apart":
            halves = dict.fromkeys(Side, halves[_side(typed)])
        return _with_cut(choices, which, halves)
    value = _number(part, typed)
    sides: Sequence[Side] = list(Side) if half == "both" else [Side(half)]
    for side in sides:
        if what == "height":
            outward = 1.0 if which == "cranial" else -1.0
            height = round(ground.endplate_mm[which] + outward * value, 2)
            halves[side] = replace(halves[side], height_mm=height)
        else:
            halves[side] = replace(halves[side], **{f"{what}_deg": value})
    return _with_cut(choices, which, halves)


def _with_cut(choices: Choices, which: str, halves: Mapping[Side, HalfPlacement]) -> Choices:
    cut = CutChoice(placed=Placement.BY_HAND, halves=halves)
    if which == "cranial":
        return replace(choices, cranial_cut=cut)
    return replace(choices, caudal_cut=cut)


def _with_rib(choices: Choices, part: str, typed: str) -> Choices:
    """Choices after a rib's fate or length was changed, or a rib was given up as well."""
    if part == "rib.add":
        side, _, level = typed.partition(".")
        if not level:
            return choices
        chosen = RibChoice(fate=RibFateChoice.REMOVED)
        return replace(choices, ribs={**choices.ribs, (level, _side(side)): chosen})
    names = part.split(".")
    if len(names) != 4 or names[3] not in ("fate", "length"):
        raise InputError(f"the plan has no number called {part!r}")
    side, level, what = names[1:]
    key = (level, _side(side))
    now = choices.rib(*key)
    if what == "length":
        taken = now.fate not in (RibFateChoice.BY_RULE, RibFateChoice.KEPT)
        fate = now.fate if taken else RibFateChoice.REMOVED
        length = _number(part, typed) if typed.strip() else None
        if length is None and not taken:
            return choices
    else:
        fate = read_word(RibFateChoice, typed)
        taken = fate not in (RibFateChoice.BY_RULE, RibFateChoice.KEPT)
        length = now.length_mm if taken else None
    return replace(choices, ribs={**choices.ribs, key: RibChoice(fate=fate, length_mm=length)})


def _named(part: str) -> tuple[str, str, str]:
    """Cut, half and number that a part's name stands for."""
    names = part.split(".")
    if len(names) == 2 and names[1] == "halves":
        names = [names[0], "both", names[1]]
    halves = ("both", *(side.value for side in Side))
    known = (
        len(names) == 3
        and names[0] in ("cranial", "caudal")
        and names[1] in halves
        and names[2] in ("height", "tilt", "roll", "halves")
    )
    if not known:
        raise InputError(f"the plan has no number called {part!r}")
    return names[0], names[1], names[2]


def _number(part: str, typed: str) -> float:
    """What was typed, with or without its own unit, within what can be meant."""
    low, high, _, unit = _BOUNDS[part.rpartition(".")[2]]
    return read_number(_plain(part), typed, (low, high), unit)


def _plain(part: str) -> str:
    """A part's name as people say it."""
    return part.replace(".both", "").replace(".", " ").replace("_", " ")


def _side(word: str) -> Side:
    try:
        return Side(word)
    except ValueError as error:
        raise InputError(f"{word!r} is no side: use 'left' or 'right'") from error
