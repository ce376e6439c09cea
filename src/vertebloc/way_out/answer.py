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
    everything = frozenset(
        o.name for o in room.obstacles if o.sacrifice is not None and not o.is_kept
    )
    ribs = tuple(
        o.name
        for o in sorted(room.obstacles, key=lambda o: o.name, reverse=True)
        if o.substance is Substance.RIB
    )
    roots = tuple(o.name for o in room.obstacles if o.substance is Substance.ROOT)
    ledger: list[Entry] = []
    for side in Side:
        say(f"searching ways out on the {side.value}")
        own_ribs, own_roots = (
            tuple(n for n in names if n.startswith(side.value)) for names in (ribs, roots)
        )
        other = tuple(n for n in (*roots, *ribs) if n not in {*own_ribs, *own_roots})
        orders = ((*other, *own_roots, *own_ribs), (*other, *own_ribs, *own_roots))
        whole = Scenario(side=side, given_up=everything)
        judge.begin(f"narrowing the bracket on the {side.value}")
        say(so_far_words(side, judge.bracket(whole)))
        judge.begin(f"searching ways out on the {side.value}")
        plans = [judge.spare(side, everything, order) for order in orders]
        ledger += [judge.entry(side, given_up) for given_up in dict.fromkeys(plans)]
        if everything not in plans:
            for root in own_roots:  # is it needed whatever else is given up?
                if all(root in given_up for given_up in plans):
                    ledger.append(judge.entry(side, everything - {root}))
    yes = [entry for entry in ledger if entry.answer is Answer.YES]
    best = max(
        yes or ledger,
        key=lambda e: (e.with_errors.lower_mm, e.model.lower_mm, -len(e.given_up)),
    )
    at = ledger.index(best)
    best, tilted = judge.tilted(best)
    ledger[at] = best
    if yes or best.answer is Answer.YES:
        answer = Answer.YES
    else:
        sides = {e.side for e in ledger if e.given_up == everything and e.answer is Answer.NO}
        all_no = len(sides) == len(Side)
        answer = Answer.NO if all_no else Answer.CANNOT_TELL
    exact = judge.checked(best)
    if answer is Answer.YES and is_contradicted(exact):
        answer = Answer.CANNOT_TELL
        ledger[ledger.index(best)] = best = replace(best, answer=answer)
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
