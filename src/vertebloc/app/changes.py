"""What was changed on the page, as choices: in the paragraph, or on the card of the bone."""

from __future__ import annotations

from dataclasses import replace

from vertebloc.case.choice_words import (
    CountedFrom,
    FrontBefore,
    FrontRelease,
    RibPairs,
    Transitional,
)
from vertebloc.case.choices import LIMITS, Choices
from vertebloc.case.theatre_choice import C_ARM_LIMITS
from vertebloc.case.way_out_choice import (
    WAY_OUT_LIMITS,
    FrontBridge,
    RootsKept,
    Spared,
    WayOutChoice,
)
from vertebloc.errors import InputError
from vertebloc.reports.bone_choices import BONE_PARTS, with_changed_bone
from vertebloc.reports.plan_paragraph import plan_ground, with_changed_part
from vertebloc.workflow.open_case import OpenCase


def changed_choices(case: OpenCase, part: str, typed: str) -> Choices:
    """Choices after a number or word of the page was changed.

    Parameters
    ----------
    case : OpenCase
        Measured.
    part : str
        Which.
    typed : str
        Its new value.

    Returns
    -------
    Choices
        As they shall be.

    Raises
    ------
    InputError
        If it cannot be meant.
    """
    prepared = case.prepared
    assert prepared is not None
    if part.split(".")[0] in BONE_PARTS:
        return with_changed_bone(case.choices, prepared.anatomy, prepared.level, part, typed)
    ground = plan_ground(prepared.anatomy, prepared.solids)
    return with_changed_part(case.choices, case.placements(), ground, part, typed)


def changed_level(choices: Choices, part: str, value: str) -> Choices:
    """Choices with another diseased level, another end to count from, or another answer.

    Parameters
    ----------
    choices : Choices
        As they were.
    part : str
        Which part of what is said about the level.
    value : str
        Its new value.

    Returns
    -------
    Choices
        As they shall be: unconfirmed until somebody counts again, since a count stands on all of
        these.

    Raises
    ------
    InputError
        If it cannot be meant.
    """
    now = choices.level
    words: dict[str, type[CountedFrom | RibPairs | Transitional]] = {
        "counted_from": CountedFrom,
        "rib_pairs": RibPairs,
        "transitional": Transitional,
    }
    said = words[part](value) if part in words else value
    if getattr(now, part) == said:
        return choices
    fresh = replace(now, confirmed_by="", confirmed_at="", count=0)
    return replace(choices, level=replace(fresh, **{part: said}))  # type: ignore[arg-type]


def changed_front(choices: Choices, part: str, typed: str) -> Choices:
    """Choices after something said about the front was changed.

    Parameters
    ----------
    choices : Choices
        As they were.
    part : str
        ``finger_reach``, ``before`` or ``release``.
    typed : str
        Its new value.

    Returns
    -------
    Choices
        As they shall be.

    Raises
    ------
    InputError
        If a length is no number, or not within its limits.
    """
    if part == "before":
        return replace(choices, front_before=FrontBefore(typed))
    if part == "release":
        return replace(choices, front_release=FrontRelease(typed))
    try:
        reach = float(typed.replace(",", ".").removesuffix("mm"))
    except ValueError as error:
        low, high = LIMITS["finger_reach_mm"]
        raise InputError(
            f"finger reach is {typed!r}: use a number from {low:g} to {high:g} mm"
        ) from error
    return replace(choices, finger_reach_mm=reach)


def changed_c_arm(choices: Choices, name: str, typed: str) -> Choices:
    """Choices after a measure of the team's C-arm was changed.

    Parameters
    ----------
    choices : Choices
        As they were.
    name : str
        Of the measure, such as ``c_arm_detector_cm``.
    typed : str
        Its new value; nothing, or 0: nobody says it.

    Returns
    -------
    Choices
        As they shall be.

    Raises
    ------
    InputError
        If it is no number, not within its limits, or no such machine can stand there.
    """
    unit = name.rpartition("_")[2]
    bare = typed.replace(",", ".").strip().removesuffix(unit).strip() or "0"
    try:
        value = float(bare)
    except ValueError as error:
        low, high = C_ARM_LIMITS[name]
        raise InputError(
            f"{name} is {typed!r}: use a number from {low:g} to {high:g} {unit}, or 0 if nobody "
            "says it"
        ) from error
    return replace(choices, theatre=replace(choices.theatre, **{name: value}))  # type: ignore[arg-type]


def changed_way_out(now: WayOutChoice, part: str, typed: str) -> WayOutChoice:
    """What is said about the way out after something of it was changed.

    Parameters
    ----------
    now : WayOutChoice
        As it was.
    part : str
        A setting's name, ``front_bridge``, ``roots``, or ``spare.`` and a place in the order,
        from 0.
    typed : str
        Its new value; for a place in the order a word, or nothing to take it out.

    Returns
    -------
    WayOutChoice
        As it shall be.

    Raises
    ------
    InputError
        If a length is no number, or not within its limits.
    """
    if part.startswith("spare."):
        order = list(now.spare_first)
        place = int(part.removeprefix("spare."))
        del order[place:]
        if typed:
            order = [one for one in order if one.value != typed] + [Spared(typed)]
        return replace(now, spare_first=tuple(order))
    if part == "front_bridge":
        return replace(now, front_bridge=FrontBridge(typed))
    if part == "roots":
        return replace(now, roots=RootsKept(typed))
    low, high = WAY_OUT_LIMITS[part]
    try:
        value = float(typed.replace(",", ".").removesuffix("mm"))
    except ValueError as error:
        raise InputError(f"{part} is {typed!r}: use a number from {low:g} to {high:g}") from error
    return replace(now, **{part: value})  # type: ignore[arg-type]
