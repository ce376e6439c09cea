"""What the team decided that the plan must repeat: sides, warnings set aside, the tract."""

from __future__ import annotations

from vertebloc.anatomy import Anatomy, ContourSet, Structure
from vertebloc.anatomy.model import SideVerdict
from vertebloc.case.choices import Choices
from vertebloc.errors import InputError


def has_tract(contours: ContourSet) -> bool:
    """Whether a biopsy tract is outlined.

    Parameters
    ----------
    contours : ContourSet
        All outlines.

    Returns
    -------
    bool
        True if there is one.
    """
    return bool(contours.of(Structure.TRACT))


def team_assumptions(anatomy: Anatomy, choices: Choices, *, tract: bool) -> tuple[str, ...]:
    """What people decided, as lines for the plan's assumptions, with the names that stand for it.

    Parameters
    ----------
    anatomy : Anatomy
        With its finding about left and right.
    choices : Choices
        The team's choices.
    tract : bool
        Whether a biopsy tract is outlined.

    Returns
    -------
    tuple of str
        One sentence each.

    Raises
    ------
    InputError
        If left and right contradict each other and no named person answers for them.
    """
    lines = [
        f"warning set aside by {one.who}: {one.what!r}; reason: {one.reason}"
        for one in choices.overrides
    ]
    if tract:
        lines.append(
            f"biopsy tract in soft tissue: {choices.tract.value} (the team's choice); it is not "
            "part of the piece that is measured here"
        )
    return (*_sides(anatomy, choices), *lines)


def _sides(anatomy: Anatomy, choices: Choices) -> tuple[str, ...]:
    """Refuse images whose left and right contradict, unless a named person answers for them."""
    if anatomy.handedness.verdict is not SideVerdict.CONTRADICTS:
        return ()
    if not choices.sides.confirmed_by:
        raise InputError(
            f"{anatomy.handedness.words} If the sides are right all the same, set confirmed_by "
            "and reason under [sides] in choices.toml"
        )
    return (
        f"left and right contradict each other; {choices.sides.confirmed_by} answers for them: "
        f"{choices.sides.reason}",
    )
