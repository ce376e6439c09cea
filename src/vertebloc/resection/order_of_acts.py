"""The order of the acts in theatre: built from the plan, checked against what each act needs.

The graph is common practice (``published.acts``), not a proof: it knows nothing of the time an
act takes, of blood, or of which nerve roots the team gives up.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from vertebloc.case.choice_words import Act, DeliverySide, TractChoice
from vertebloc.case.choices import Choices
from vertebloc.errors import InputError
from vertebloc.published.acts import PRECONDITIONS, SIGNALS_WHY, STOPPING, Precondition
from vertebloc.resection.acts_model import (
    ActOrder,
    OrderWarning,
    PlannedAct,
    StopAnswer,
    Trouble,
)
from vertebloc.resection.depth_model import DepthFan
from vertebloc.resection.model import BoneFate, HalfCut, RibFate
from vertebloc.space.frames import Side

_DANGEROUS = frozenset(
    {
        Act.SCREWS, Act.OPEN_ARCH, Act.CUT_ARCH, Act.ROOTS, Act.FREE_SAC, Act.FRONT_LEFT,
        Act.FRONT_RIGHT, Act.FIRST_CRANIAL, Act.FIRST_CAUDAL, Act.LAST_CRANIAL,
        Act.LAST_CAUDAL, Act.LIGAMENTS, Act.TURN_OUT, Act.REBUILD,
    }
)  # fmt: skip
_TUMOUR, _SAC, _VESSEL = Trouble.TUMOUR_ENTERED, Trouble.SAC_TORN, Trouble.VESSEL_TORN
_SIGNALS, _STUCK = Trouble.SIGNALS_LOST, Trouble.PIECE_STUCK
_TROUBLES: Mapping[Act, tuple[Trouble, ...]] = {
    Act.INCISION: (_TUMOUR,),
    Act.BARE_ARCH: (_TUMOUR,),
    Act.SCREWS: (_VESSEL, _SIGNALS),
    Act.RIBS_LEFT: (_TUMOUR, _VESSEL),
    Act.RIBS_RIGHT: (_TUMOUR, _VESSEL),
    Act.OPEN_ARCH: (_TUMOUR, _SAC, _SIGNALS),
    Act.CUT_ARCH: (_TUMOUR, _SAC, _SIGNALS),
    Act.ROOTS: (_SAC, _SIGNALS),
    Act.FREE_SAC: (_TUMOUR, _SAC, _SIGNALS),
    Act.FRONT_LEFT: (_TUMOUR, _VESSEL, _SIGNALS),
    Act.FRONT_RIGHT: (_TUMOUR, _VESSEL, _SIGNALS),
    Act.FIRST_CRANIAL: (_TUMOUR, _SAC, _SIGNALS),
    Act.FIRST_CAUDAL: (_TUMOUR, _SAC, _SIGNALS),
    Act.PROTECTOR: (_VESSEL,),
    Act.LAST_CRANIAL: (_TUMOUR, _SAC, _VESSEL, _SIGNALS),
    Act.LAST_CAUDAL: (_TUMOUR, _SAC, _VESSEL, _SIGNALS),
    Act.LIGAMENTS: (_SAC, _VESSEL, _SIGNALS),
    Act.TURN_OUT: (_TUMOUR, _SAC, _VESSEL, _SIGNALS, _STUCK),
    Act.REBUILD: (_SAC, _VESSEL, _SIGNALS),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSteps:
    """What of a plan the order of acts is built from."""

    cuts: tuple[HalfCut, ...]
    depths: tuple[DepthFan, ...]
    open_side: Side
    bone_fates: Mapping[str, BoneFate]
    rib_fates: Mapping[str, RibFate]
    has_tract: bool


def order_acts(steps: PlannedSteps, choices: Choices) -> ActOrder:
    """Build the acts of a plan, in the chosen order or by rule.

    Parameters
    ----------
    steps : PlannedSteps
        Cuts, ribs, arch and tract of the plan.
    choices : Choices
        The order, the delivery side, the tract, and who set which warning aside.

    Returns
    -------
    ActOrder
        Acts with what they need; warnings for what the order breaks.

    Raises
    ------
    InputError
        If the order cannot be done at all, such as turning out a piece that is not cut free.
    """
    parts = _parts(steps, choices)
    chosen = [act for act in choices.acts_order if act in parts]
    order = chosen or _by_rule(parts)
    notes = tuple(
        f"{act.value!r} is in the order of acts, but not in this plan: left out"
        for act in dict.fromkeys(choices.acts_order)
        if act not in parts
    )
    acts = tuple(_planned(place, order, parts) for place in range(len(order)))
    words = (*_broken(order, parts), *_left_out(order, parts), *_without_signals(order))
    by_what = {override.what: override for override in choices.overrides}
    return ActOrder(
        acts=acts,
        by_rule=not chosen,
        warnings=tuple(OrderWarning(words=w, override=by_what.get(w)) for w in words),
        notes=notes,
    )


def _parts(steps: PlannedSteps, choices: Choices) -> dict[Act, tuple[str, ...]]:
    """The acts of this plan by the rule's order, each with what it is about."""
    parts: dict[Act, tuple[str, ...]] = {Act.COUNT_LEVEL: (), Act.SIGNAL_RUN: ()}
    if steps.has_tract and choices.tract is not TractChoice.LEFT:
        parts[Act.MARK_TRACT] = (f"biopsy tract: {choices.tract.value}",)
    parts |= {Act.INCISION: (), Act.BARE_ARCH: (), Act.SCREWS: ()}
    nibbled = tuple(
        part if fate is BoneFate.PIECEMEAL else f"{part} behind the arch cut"
        for part, fate in steps.bone_fates.items()
        if fate in (BoneFate.PIECEMEAL, BoneFate.SPLIT)
    )
    parts[Act.OPEN_ARCH] = (f"on the {steps.open_side.value}", *nibbled)
    arch = tuple(cut.name for cut in steps.cuts if "arch" in cut.name)
    if arch:
        parts[Act.CUT_ARCH] = arch
    parts[Act.ROOTS] = ()
    for act, side in ((Act.RIBS_LEFT, Side.LEFT), (Act.RIBS_RIGHT, Side.RIGHT)):
        ribs = tuple(
            f"{name}: {fate.value}"
            for name, fate in steps.rib_fates.items()
            if name.startswith(side.value) and fate is not RibFate.KEPT
        )
        if ribs:
            parts[act] = ribs
    if not steps.depths:  # nothing is cut through a body: the column stays whole
        return parts | {Act.FREE_SAC: (), Act.TURN_OUT: (), Act.REBUILD: (), Act.CLOSE: ()}
    parts |= {Act.TEMPORARY_ROD: (_rod_side(choices),), Act.FREE_SAC: ()}
    parts |= {Act.FRONT_LEFT: (), Act.FRONT_RIGHT: ()}
    ends = {end: tuple(f.cut_name for f in steps.depths if end in f.cut_name) for end in _ENDS}
    ends = {end: halves for end, halves in ends.items() if halves}
    parts |= {_ENDS[end][0]: halves for end, halves in ends.items()}
    parts[Act.PROTECTOR] = tuple(fan.protector_in_words for fan in steps.depths)
    parts |= {_ENDS[end][1]: halves for end, halves in ends.items()}
    parts[Act.LIGAMENTS] = ()
    return parts | {Act.TURN_OUT: (_delivery(choices),), Act.REBUILD: (), Act.CLOSE: ()}


_ENDS = {
    "cranial": (Act.FIRST_CRANIAL, Act.LAST_CRANIAL),
    "caudal": (Act.FIRST_CAUDAL, Act.LAST_CAUDAL),
}


_LAST_PASSES = frozenset(last for _, last in _ENDS.values())


def _rod_side(choices: Choices) -> str:
    if choices.delivery_side is DeliverySide.UNDECIDED:
        return "on the side away from delivery, which is not chosen yet"
    return f"on the {Side(choices.delivery_side.value).other.value}, away from delivery"


def _delivery(choices: Choices) -> str:
    if choices.delivery_side is DeliverySide.UNDECIDED:
        return "side of delivery not chosen yet"
    return f"to the {choices.delivery_side.value}"


def _by_rule(parts: Mapping[Act, tuple[str, ...]]) -> list[Act]:
    """The rule's order with a signal run before and after each dangerous act."""
    order: list[Act] = []
    watched = False  # whether signals were run since the last dangerous act
    for act in parts:
        if act in _DANGEROUS and not watched:
            order.append(Act.SIGNAL_RUN)
        order.append(act)
        watched = act is Act.SIGNAL_RUN or (watched and act not in _DANGEROUS)
        if act in _DANGEROUS:
            order.append(Act.SIGNAL_RUN)
            watched = True
    return order


def _conditions(act: Act, parts: Mapping[Act, tuple[str, ...]]) -> list[Precondition]:
    return [c for c in PRECONDITIONS if c.then == act.value and Act(c.first) in parts]


def _planned(place: int, order: Sequence[Act], parts: Mapping[Act, tuple[str, ...]]) -> PlannedAct:
    act = order[place]
    stop = STOPPING[_stopping_key(order[: place + 1])]
    return PlannedAct(
        act=act,
        parts=parts[act],
        needs=tuple(Act(condition.first) for condition in _conditions(act, parts)),
        dangerous=act in _DANGEROUS,
        stop=StopAnswer(stop.answer),
        stop_in_words=stop.with_what.what,
        troubles=_TROUBLES.get(act, ()),
    )


def _stopping_key(done: Sequence[Act]) -> str:
    """Under which words it is known whether one can stop after the last of the acts done."""
    acts = [act for act in done if act is not Act.SIGNAL_RUN] or [Act.COUNT_LEVEL]
    if acts[-1] not in _LAST_PASSES:
        return str(acts[-1].value)
    return "last passes of both cuts" if set(acts) >= _LAST_PASSES else "last passes"


def _broken(order: Sequence[Act], parts: Mapping[Act, tuple[str, ...]]) -> Iterable[str]:
    """A warning for each precondition that does not hold; what cannot be done is refused."""
    for place, act in enumerate(order):
        if Act.CLOSE in order[:place] and act is not Act.SIGNAL_RUN:
            raise InputError(
                f"acts_order: {act.value!r} comes after 'close', when the wound is closed: "
                "put it before"
            )
        for condition in _conditions(act, parts):
            if Act(condition.first) in order[:place]:
                continue
            if condition.impossible:
                raise InputError(
                    f"acts_order: {act.value!r} cannot come before {condition.first!r}: "
                    f"{condition.why.what}; put {condition.first!r} first"
                )
            yield f"{act.value!r} comes before {condition.first!r}: {condition.why.what}"


def _left_out(order: Sequence[Act], parts: Mapping[Act, tuple[str, ...]]) -> Iterable[str]:
    for act in parts:
        if act not in order and act is not Act.SIGNAL_RUN:
            yield f"{act.value!r} is part of this plan, but not in the order of acts"


def _without_signals(order: Sequence[Act]) -> Iterable[str]:
    """One warning that names every dangerous act without a signal run before or after it."""
    marks = [act for act in order if act is Act.SIGNAL_RUN or act in _DANGEROUS]
    bare = [
        act.value
        for place, act in enumerate(marks)
        if act is not Act.SIGNAL_RUN
        and not (
            place > 0
            and marks[place - 1] is Act.SIGNAL_RUN
            and Act.SIGNAL_RUN in marks[place + 1 : place + 2]
        )
    ]
    if bare:
        yield f"no signal run both before and after: {', '.join(bare)}; {SIGNALS_WHY.what}"
