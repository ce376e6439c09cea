"""What was changed on the page, as choices: in the paragraph, or on the card of the bone."""

from __future__ import annotations

from dataclasses import replace

from vertebloc.case.choice_words import CountedFrom
from vertebloc.case.choices import Choices
from vertebloc.case.level_choice import LevelChoice
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


def changed_level(
    choices: Choices, *, diseased: str | None, confirmed_by: str | None, counted_from: str | None
) -> Choices:
    """Choices with another diseased level, another confirmation, or another end to count from.

    Parameters
    ----------
    choices : Choices
        As they were.
    diseased, confirmed_by, counted_from : str or None
        None: as it is. Another vertebra is unconfirmed until somebody confirms it again.

    Returns
    -------
    Choices
        As they shall be.

    Raises
    ------
    InputError
        If it cannot be meant.
    """
    now = choices.level
    if diseased is not None and diseased != now.diseased:
        return replace(choices, level=LevelChoice(diseased=diseased))
    return replace(choices, level=LevelChoice(
        diseased=now.diseased,
        confirmed_by=now.confirmed_by if confirmed_by is None else confirmed_by,
        counted_from=now.counted_from if counted_from is None else CountedFrom(counted_from),
    ))  # fmt: skip
