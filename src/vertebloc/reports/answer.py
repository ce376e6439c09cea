"""The plan in a few sentences: what is found, how far it may be off, what is not known."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import LevelConfirmation, Vertebra
from vertebloc.case.choice_words import CountedFrom
from vertebloc.errors import InputError
from vertebloc.reports import outline_words, text
from vertebloc.resection.kinds import SAGITTAL_CUT
from vertebloc.resection.model import (
    Allowance,
    BoneFate,
    Contamination,
    FaceKind,
    FaceMargin,
    HalfCut,
    Kind,
    OpensTumour,
    ResectionPlan,
    RibFate,
)
from vertebloc.space import tolerances
from vertebloc.space.frames import Side

#: A plane that leans more than this from a body's axis is no cut across the body (cosine).
_ACROSS_BODY_COSINE = 0.5


class About(Enum):
    """What a sentence of the answer speaks of, in the order in which they come."""

    TUMOUR_LEFT = "tumour left"
    STALE = "stale"
    CONTAMINATION = "contamination"
    OUTLINES = "outlines"
    LEVEL = "level"
    CUTS = "cuts"
    RIBS = "ribs"
    BONE = "bone margins"
    SOFT = "soft margins"
    DISTANCES = "distances"
    STILL_OPEN = "still open"


@dataclass(frozen=True, slots=True)
class AnswerPart:
    """One sentence of the answer."""

    about: About
    words: str
    must_not_be_overlooked: bool = False


def answer_parts(
    *,
    plan: ResectionPlan,
    vertebrae: Mapping[Level, Vertebra],
    confirmation: LevelConfirmation,
    stale: Sequence[str],
    drafts: Sequence[str] = (),
) -> tuple[AnswerPart, ...]:
    """Say the plan in sentences, the gravest first.

    Parameters
    ----------
    plan : ResectionPlan
        The piece and what was measured on it.
    vertebrae : mapping of Level to Vertebra
        Frames and endplates of the bodies that are cut.
    confirmation : LevelConfirmation
        Who confirmed the level.
    stale : sequence of str
        What has changed since the plan was computed; empty if nothing.
    drafts : sequence of str
        Outlines that nobody has confirmed.

    Returns
    -------
    tuple of AnswerPart
        Joined by spaces they are the answer.

    Raises
    ------
    InputError
        If the plan has no bone face, or a cut vertebra is not described.

    Notes
    -----
    Begins with tumour left outside the piece if there is any; ends with what is not computed.
    Says nothing of chance, of the way out or of the front.
    """
    parts = _warnings(plan, confirmation, stale, drafts)
    parts.append(AnswerPart(About.CUTS, _acts(plan, vertebrae)))
    fates = [
        (fate.value, [name for name, value in plan.rib_fates.items() if value is fate])
        for fate in (RibFate.REMOVED, RibFate.HEAD_ON_PIECE)
    ]
    if any(names for _, names in fates):
        parts.append(
            AnswerPart(About.RIBS, text.ribs([(fate, names) for fate, names in fates if names]))
        )
    parts += _bone_margins(plan)
    parts += _soft_margins(plan)
    if plan.distance_error_words:
        parts.append(AnswerPart(About.DISTANCES, text.sentence(plan.distance_error_words)))
    parts.append(AnswerPart(About.STILL_OPEN, text.still_open()))
    return tuple(parts)


def is_tumour_left(plan: ResectionPlan) -> bool:
    """Whether any tumour stays outside the piece."""
    return plan.tumour_left.total_ml * 1000.0 > tolerances.EMPTY


def why_unconfirmed(confirmation: LevelConfirmation) -> tuple[str, ...]:
    """Every reason for which the level is unconfirmed, in words; empty if it is confirmed."""
    reasons = list(confirmation.conflicts)
    if not confirmation.confirmed_by:
        reasons.append(text.no_one_signed())
    if confirmation.counted_from is CountedFrom.NOT_COUNTED:
        reasons.append(text.no_end_named())
    elif not confirmation.end_in_view:
        reasons.append(text.end_not_in_view(confirmation.counted_from.value))
    reasons += confirmation.doubts
    return tuple(reasons)


def gravest_reasons(confirmation: LevelConfirmation) -> tuple[str, ...]:
    """What contradicts the level, the first thing that is missing, and how many more are."""
    reasons, conflicts = why_unconfirmed(confirmation), len(confirmation.conflicts)
    missing = reasons[conflicts:]
    if len(missing) < 3:
        return reasons
    return (*reasons[:conflicts], missing[0], text.more_is_open(len(missing) - 1))


def least_room(face: FaceMargin) -> tuple[float, float]:
    """Order of bone faces: thinnest first; of equal printed margins, what may err least first.

    Answer, picture and table all go by it, so that they name the same face.
    """
    offset = face.allowance.offset_mm if face.allowance is not None else 0.0
    return text.printed_mm(face.margin_mm), offset


def body_cut_height_mm(cut: HalfCut, vertebra: Vertebra) -> float | None:
    """Height of a cut above the lower endplate of the body it crosses.

    Parameters
    ----------
    cut : HalfCut
        The cut.
    vertebra : Vertebra
        The vertebra it passes through.

    Returns
    -------
    float or None, mm
        Along the body's own axis, at its middle; None if the cut does not cross that axis, as
        one through the arch, or runs in a disc.
    """
    if cut.passes_through.startswith("disc"):
        return None
    axis = vertebra.lps_from_vertebra.axis(2)
    lean = float(axis @ cut.plane.normal)
    if abs(lean) < _ACROSS_BODY_COSINE:
        return None
    to_plane = cut.plane.point - vertebra.lps_from_vertebra.origin
    return float(to_plane @ cut.plane.normal) / lean - vertebra.lower_endplate_mm


def vertebra_of(vertebrae: Mapping[Level, Vertebra], level: Level) -> Vertebra:
    """The description of a vertebra that is cut.

    Raises
    ------
    InputError
        If there is none.
    """
    if level not in vertebrae:
        raise InputError(
            f"a cut passes through {level}, but the anatomy describes only "
            f"{', '.join(map(str, sorted(vertebrae))) or 'nothing'}: outline {level} as well"
        )
    return vertebrae[level]


def _warnings(
    plan: ResectionPlan,
    confirmation: LevelConfirmation,
    stale: Sequence[str],
    drafts: Sequence[str],
) -> list[AnswerPart]:
    """Tumour left, out of date, contamination, outlines and level unconfirmed: in this order."""
    parts = []
    if is_tumour_left(plan):
        places = [(place, amount) for place, amount in plan.tumour_left.by_place_ml.items()]
        places = sorted((p for p in places if p[1] > 0), key=lambda p: (-p[1], p[0]))
        parts.append(
            AnswerPart(
                About.TUMOUR_LEFT, text.tumour_left(plan.tumour_left.total_ml, places), True
            )
        )
    if stale:
        parts.append(AnswerPart(About.STALE, text.stale(stale), True))
    if plan.contamination:
        parts.append(AnswerPart(About.CONTAMINATION, _contamination(plan.contamination), True))
    if drafts:
        parts.append(AnswerPart(About.OUTLINES, outline_words.unconfirmed(drafts), True))
    if not confirmation.is_confirmed:
        reasons = gravest_reasons(confirmation)
        parts.append(AnswerPart(About.LEVEL, text.unconfirmed(str(plan.level), reasons), True))
    return parts


def _contamination(opened: Sequence[Contamination]) -> str:
    """Cuts through tumour, nibbled bone that holds tumour, and bone that only touches it."""
    return text.contamination(
        [(one.name, one.area_mm2) for one in opened if one.how is OpensTumour.CUT],
        [(one.name, one.volume_ml) for one in opened if one.how is OpensTumour.NIBBLED],
        [one.name for one in opened if one.how is OpensTumour.TOUCHED],
    )


def _acts(plan: ResectionPlan, vertebrae: Mapping[Level, Vertebra]) -> str:
    """Which bodies are cut where, which side the arch is opened, what is nibbled away."""
    bodies = []
    for level in sorted({cut.level for cut in plan.cuts if cut.level != plan.level}):
        vertebra = vertebra_of(vertebrae, level)
        above_lower = level < plan.level  # the neighbour towards the head keeps its upper part
        body = vertebra.upper_endplate_mm - vertebra.lower_endplate_mm
        heights = [
            height if above_lower else body - height
            for cut in plan.cuts
            if cut.level == level and (height := body_cut_height_mm(cut, vertebra)) is not None
        ]
        if heights:
            bodies.append(text.cut_height(str(level), heights, above_lower))
    levels = text.listed([str(level) for level in plan.levels])
    parts = nibbled_in_words(plan)
    if plan.kind is Kind.ARCH_ONLY:
        return text.arch_taken(levels, parts)
    said = text.acts(levels, bodies, plan.open_side, parts)
    lengthwise = next((cut for cut in plan.cuts if cut.name == SAGITTAL_CUT), None)
    if lengthwise is None:
        return said
    local = vertebra_of(vertebrae, plan.level).lps_from_vertebra.inverse
    x_mm = float(local.points(lengthwise.entry)[0, 0])
    return f"{text.half_taken(levels, lengthwise.side, x_mm)} {said}"


def nibbled_in_words(plan: ResectionPlan) -> list[str]:
    """Bone that is taken piecemeal, pairs together, such as ``both pedicles``."""
    nibbled = [name for name, fate in plan.bone_fates.items() if fate is BoneFate.PIECEMEAL]
    parts = _pairs_together(nibbled)
    split = [name for name, fate in plan.bone_fates.items() if fate is BoneFate.SPLIT]
    for side in Side:
        if any(name.startswith(side.value) for name in split):
            parts.append(text.behind_the_arch_cut(side))
    return parts


def _pairs_together(parts: list[str]) -> list[str]:
    """Parts named for both sides become one: ``both pedicles``; facets are many already."""
    found: list[str] = []
    for part in parts:
        side, _, name = part.partition(" ")
        other = {"left": "right", "right": "left"}.get(side, "")
        if other and f"{other} {name}" in parts:
            whole = text.both(name)
            if whole not in found:
                found.append(whole)
        else:
            found.append(part)
    return found


def _bone_margins(plan: ResectionPlan) -> list[AnswerPart]:
    """Cuts in tumour, else the nearest cut and how far it may err."""
    bone = [face for face in plan.faces if face.kind is FaceKind.BONE]
    if not bone:
        raise InputError("the plan has no bone face: nothing was cut, so there is no answer")
    crossed = [face for face in bone if face.margin_mm < 0]
    if crossed:
        return [
            AnswerPart(
                About.BONE,
                text.through_tumour(
                    face.name, -face.margin_mm, face.tumour_crossed_mm2, face.weakest_in_words
                ),
                True,
            )
            for face in sorted(crossed, key=lambda face: face.margin_mm)
        ]
    nearest = min(bone, key=least_room)
    words = text.nearest_face(nearest.name, nearest.margin_mm, nearest.weakest_in_words)
    short = nearest.margin_mm < plan.wanted_margin_mm
    if nearest.allowance is None:
        raise InputError(f"the bone face {nearest.name!r} has no allowance: measure it first")
    room = _room(nearest.allowance)
    if short:
        room = f"{text.short_of_wanted(plan.wanted_margin_mm)}; {room}"
    return [AnswerPart(About.BONE, f"{words}; {room}.", short)]


def _room(allowance: Allowance) -> str:
    """How far one cut may err, offset or tilt, not both."""
    if allowance.offset_mm <= 0 or allowance.tilt_deg <= 0:
        return text.may_not_err()
    offset, tilt = text.mm(allowance.offset_mm), text.degrees(allowance.tilt_deg)
    if allowance.offset_mm >= allowance.searched_to_mm - tolerances.POSITION_MM:
        offset = text.at_least(offset)
    if allowance.tilt_deg >= allowance.searched_to_deg - np.rad2deg(tolerances.COSINE):
        tilt = text.at_least(tilt)
    return text.may_err(offset, tilt, allowance.keeps_mm)


def _soft_margins(plan: ResectionPlan) -> list[AnswerPart]:
    """Soft faces that tumour reaches through, and those on which it lies bare."""
    soft: list[FaceMargin] = [face for face in plan.faces if face.kind is FaceKind.SOFT]
    through = [face for face in soft if text.mm(face.margin_mm).startswith("-")]
    bare = [face.name for face in soft if text.mm(face.margin_mm) == text.mm(0.0)]
    parts = [
        AnswerPart(About.SOFT, text.soft_crossed(f.name, -f.margin_mm), True) for f in through
    ]
    return parts + ([AnswerPart(About.SOFT, text.bare(bare), True)] if bare else [])
