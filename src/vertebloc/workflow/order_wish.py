"""Another order of acts: what it breaks, and what taking it asks of a person."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from vertebloc.case.choice_words import Act
from vertebloc.case.choices import Choices, Override
from vertebloc.errors import InputError
from vertebloc.resection.model import ResectionPlan
from vertebloc.resection.order_of_acts import PlannedSteps, order_acts


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderWish:
    """An order of acts that somebody wishes for, and has not taken yet."""

    choices: Choices  #: with the order in them
    breaks: tuple[str, ...]  #: warnings that nobody has set aside

    @property
    def needs_a_name(self) -> bool:
        """Whether it can only be taken by a named person for a reason."""
        return bool(self.breaks)


def moved_act(order: Sequence[Act], place: int, by: int) -> tuple[Act, ...]:
    """The order with one act moved past its neighbours.

    Parameters
    ----------
    order : sequence of Act
        As it is.
    place : int
        Which act, from 0.
    by : int
        How many places: negative is earlier.

    Returns
    -------
    tuple of Act
        The new order.

    Raises
    ------
    InputError
        If the act, or its new place, is outside the order.
    """
    to = place + by
    if not (0 <= place < len(order) and 0 <= to < len(order)):
        raise InputError(
            f"act {place + 1} cannot be moved to place {to + 1}: "
            f"the order has places 1 to {len(order)}"
        )
    rest = [act for at, act in enumerate(order) if at != place]
    return (*rest[:to], order[place], *rest[to:])


def wish_order(
    plan: ResectionPlan, choices: Choices, order: Sequence[Act], *, has_tract: bool
) -> OrderWish:
    """Find out what an order of acts would break.

    Parameters
    ----------
    plan : ResectionPlan
        Whose acts.
    choices : Choices
        The team's, with the warnings that were set aside so far.
    order : sequence of Act
        As it is wished for; empty: by the rule.
    has_tract : bool
        Whether a biopsy tract is outlined.

    Returns
    -------
    OrderWish
        To take at once if it breaks nothing, else with a name and a reason.

    Raises
    ------
    InputError
        If it cannot be done at all.
    """
    steps = PlannedSteps(
        cuts=plan.cuts,
        depths=plan.depths,
        open_side=plan.open_side,
        bone_fates=plan.bone_fates,
        rib_fates=plan.rib_fates,
        has_tract=has_tract,
    )
    wished = replace(choices, acts_order=tuple(order))
    found = order_acts(steps, wished)
    # who set a warning aside answered for that order only: it is asked again if it comes back
    ended = {one.words for one in plan.acts.warnings} - {one.words for one in found.warnings}
    kept = tuple(one for one in choices.overrides if one.what not in ended)
    return OrderWish(
        choices=replace(wished, overrides=kept),
        breaks=tuple(one.words for one in found.open_warnings),
    )


def taken_order(wish: OrderWish, *, who: str, reason: str) -> Choices:
    """Choices with the order taken, and each warning set aside by name.

    Parameters
    ----------
    wish : OrderWish
        From ``wish_order``.
    who, reason : str
        Who takes it although it breaks something, and why; both go on the sheet.

    Returns
    -------
    Choices
        To save.

    Raises
    ------
    InputError
        If it breaks something and the name or the reason is empty.
    """
    set_aside = tuple(Override(what=what, who=who, reason=reason) for what in wish.breaks)
    return replace(wish.choices, overrides=(*wish.choices.overrides, *set_aside))
