"""Yes, no, or cannot tell: on which side, with what given up, or what is in the way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from vertebloc.space.frames import Side
from vertebloc.way_out.exact_check import ExactCheck
from vertebloc.way_out.judge import BRACKET_MM, SO_FAR, Entry, Judge, so_far_words
from vertebloc.way_out.model import (
    CLOSED_MM,
    Answer,
    Room,
    Scenario,
    Substance,
    WayOutSettings,
)
from vertebloc.way_out.search import make_search
from vertebloc.way_out.tilting import Tilted

__all__ = ["BRACKET_MM", "SO_FAR", "Entry", "WayOut", "find_way_out", "so_far_words"]

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WayOut:
    """The answer for a room."""

    answer: Answer
    side: Side | None  #: a yes: on which side
    best: Entry  #: what the answer rests on
    ledger: tuple[Entry, ...]
    family: str  #: moves that a no covers
    scenarios_searched: int
    settings: WayOutSettings
    exact: ExactCheck | None = None  #: of the best entry's path; None: no path
    yes_up_to_mm: float = CLOSED_MM  #: the answer is yes for every wanted clearance up to this
    tilted: Tilted | None = None  #: the best entry's way with tilts and lifts; None: no way
    no_from_mm: float = np.inf  #: and no for every one above this, as far as was looked at


def family_words(settings: WayOutSettings) -> str:
    """The moves that a proof of "no" covers.

    Parameters
    ----------
    settings : WayOutSettings
        Their limits.

    Returns
    -------
    str
        In words.
    """
    return (
        "moves in the plane midway between the two cuts with any turn in it, tilts up to "
        f"{settings.tilt_deg:.0f} degrees and lifts up to {settings.lift_mm:.1f} mm, within "
        f"{settings.sideways_mm:.0f} mm to either side and {settings.forward_mm:.0f} mm forward"
    )


def is_contradicted(exact: ExactCheck | None) -> bool:
    """Whether an independent library measured other distances: then a yes is none."""
    return exact is not None and not exact.agrees


def ledger_of(judge: Judge, room: Room) -> list[Entry]:
    """What each side costs: plans of which nothing can be kept any more, with their brackets.

    Parameters
    ----------
    judge : Judge
        Of the room.
    room : Room
        What may be given up says so.

    Returns
    -------
    list of Entry
        Side by side; where giving up all of it is a plan, no other is needed to judge the side.
    """
    everything = everything_of(room)
    ribs = _ribs_of(room)
    roots = tuple(o.name for o in room.obstacles if o.substance is Substance.ROOT)
    ledger: list[Entry] = []
    for side in Side:
        own_ribs, own_roots = (
            tuple(n for n in names if n.startswith(side.value)) for names in (ribs, roots)
        )
        other = tuple(n for n in (*roots, *ribs) if n not in {*own_ribs, *own_roots})
        orders = ((*other, *own_roots, *own_ribs), (*other, *own_ribs, *own_roots))
        judge.begin(f"narrowing the bracket on the {side.value}")
        whole = Scenario(side=side, given_up=everything)
        judge.say(so_far_words(side, judge.bracket(whole)))
        judge.begin(f"searching ways out on the {side.value}")
        plans = [judge.spare(side, everything, order) for order in orders]
        ledger += [judge.entry(side, given_up) for given_up in dict.fromkeys(plans)]
        if everything not in plans:
            for root in own_roots:  # is it needed whatever else is given up?
                if all(root in given_up for given_up in plans):
                    ledger.append(judge.entry(side, everything - {root}))
    return ledger


def _ribs_of(room: Room) -> tuple[str, ...]:
    """What stays of ribs, rib by rib: the smallest part first, each in all that follow."""
    whole_of = {o.name: o.part_of for o in room.obstacles if o.substance is Substance.RIB}
    found: list[str] = []
    for name in sorted(set(whole_of) - set(whole_of.values()), reverse=True):
        above: str | None = name
        while above is not None:
            found.append(above)
            above = whole_of[above]
    return tuple(found)


def everything_of(room: Room) -> frozenset[str]:
    """Names of all obstacles that may be given up.

    Parameters
    ----------
    room : Room
        Obstacles.

    Returns
    -------
    frozenset of str
        Ribs and roots.
    """
    return frozenset(o.name for o in room.obstacles if o.sacrifice is not None and not o.is_kept)


def best_of(ledger: list[Entry]) -> Entry:
    """The entry that an answer rests on: a yes if there is one, then the most room.

    Parameters
    ----------
    ledger : list of Entry
        At least one.

    Returns
    -------
    Entry
        Of equal ones the one that gives up least.
    """
    yes = [entry for entry in ledger if entry.answer is Answer.YES]
    return max(
        yes or ledger,
        key=lambda e: (e.with_errors.lower_mm, e.model.lower_mm, -len(e.given_up)),
    )


def _answer_of(ledger: list[Entry], everything: frozenset[str]) -> Answer:
    if any(entry.answer is Answer.YES for entry in ledger):
        return Answer.YES
    sides = {e.side for e in ledger if e.given_up == everything and e.answer is Answer.NO}
    return Answer.NO if len(sides) == len(Side) else Answer.CANNOT_TELL


def find_way_out(room: Room, settings: WayOutSettings, say: Say) -> WayOut:
    """Say whether the piece can be delivered, on which side, at what price.

    Parameters
    ----------
    room : Room
        Piece and obstacles; what may be given up says so.
    settings : WayOutSettings
        Lengths.
    say : callable
        Called before each long step; it may raise to stop.

    Returns
    -------
    WayOut
        Yes if any side has a way with all obstacles grown, at the price in the ledger; no if on
        both sides even the common core cannot leave with everything given up and all obstacles
        shrunk; else cannot tell.
    """
    search = make_search(room, settings, say)
    judge = Judge(search, say)
    everything = everything_of(room)
    ledger = ledger_of(judge, room)
    best = best_of(ledger)
    at = ledger.index(best)
    best, tilted = judge.tilted(judge.errors_narrowed(best))
    ledger[at] = best
    answer = _answer_of(ledger, everything)
    exact = judge.checked(best)
    if answer is Answer.YES and is_contradicted(exact):
        answer = Answer.CANNOT_TELL
        ledger[at] = best = replace(best, answer=answer)
    return WayOut(
        answer=answer,
        side=best.side if answer is Answer.YES else None,
        best=best,
        ledger=tuple(ledger),
        family=family_words(settings),
        scenarios_searched=search.scenarios_searched,
        settings=settings,
        exact=exact,
        yes_up_to_mm=max(entry.with_errors.lower_mm for entry in ledger),
        no_from_mm=judge.no_from_mm(everything),
        tilted=tilted,
    )
