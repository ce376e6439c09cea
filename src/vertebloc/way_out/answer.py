"""Yes, no, or cannot tell: on which side, with what given up, or what is in the way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import NoSolutionError
from vertebloc.space.frames import Side
from vertebloc.way_out.clearances import CLIP_MM, FLOOR_MM
from vertebloc.way_out.core import common_core
from vertebloc.way_out.exact_check import ExactCheck, check_exactly
from vertebloc.way_out.model import (
    CLOSED_MM,
    Answer,
    Bracket,
    Path,
    Room,
    Scenario,
    Substance,
    WayOutSettings,
)
from vertebloc.way_out.narrowing import make_narrowing
from vertebloc.way_out.pose_map import LEAST_WORTH_MM, Ground, Margin, with_body
from vertebloc.way_out.search import Search, make_search
from vertebloc.way_out.tightening import tighten

#: What a thing kept may cost of the clearance of a way that is no yes in any case, mm.
_WORSE_MM = 0.2

#: A step that tells the best bracket so far begins like this.
SO_FAR = "so far "

#: Wanted between both ends of the best entry's model, mm.
BRACKET_MM = 1.5

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Entry:
    """One line of the ledger: what is given up on a side, and what that gains."""

    side: Side
    given_up: frozenset[str]  #: names of obstacles
    answer: Answer
    model: Bracket  #: outlines as they are; a bracket of the method alone
    with_errors: Bracket  #: obstacles grown (lower) and shrunk (upper) by the stated errors
    path: Path | None
    blocking: tuple[str, ...]  #: a no: obstacles without any of which the proof fails
    decided_by: tuple[str, ...] = ()  #: no yes: without any one of these there would be one
    distraction_mm: float = 0.0  #: the spine is pulled apart by so much, as the team asked


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


def so_far_words(side: Side, bracket: Bracket) -> str:
    """The best bracket that is known while the search goes on.

    Parameters
    ----------
    side : Side
        Of delivery.
    bracket : Bracket
        Of the model, outlines as they are.

    Returns
    -------
    str
        Begins with ``SO_FAR``.
    """
    low, high = bracket.lower_mm, bracket.upper_mm
    shown = f"{low:.1f} mm shown" if low != CLOSED_MM else "none found"
    best = f"at best {high:.1f} mm" if high != CLOSED_MM else "none exists"
    return f"{SO_FAR}on the {side.value}: room {shown}, {best}"


@dataclass(slots=True, eq=False)
class Judge:
    """Asks a search for answers; measures the common core when the first no is at hand."""

    search: Search
    say: Say
    _core: Ground | None = None
    _no_core: bool = False
    _uppers: dict[tuple[Side | None, frozenset[str]], float] = field(default_factory=dict)

    @property
    def settings(self) -> WayOutSettings:
        """Of the room."""
        return self.search.ground.settings

    @property
    def grown(self) -> Margin:
        """Obstacles grown by the stated errors: what a yes must bear."""
        s = self.settings
        return Margin(False, s.contour_error_mm, s.contour_error_mm + s.sac_motion_mm)

    @property
    def shrunk(self) -> Margin:
        """Obstacles shrunk by the stated errors: what a no must bear."""
        s = self.settings
        return Margin(True, -s.contour_error_mm, -s.contour_error_mm - s.sac_motion_mm)

    def is_yes(self, scenario: Scenario) -> bool:
        """Whether a way keeps the wanted clearance with all obstacles grown."""
        return self.search.lower_mm(scenario, self.grown)[0] >= self.settings.least_mm

    def core_upper_mm(self, scenario: Scenario) -> float:
        """Clearance that nothing in the family can better, obstacles shrunk."""
        if self._core is None and not self._no_core:
            self.say("finding what every tilt has in common")
            try:
                core, slack = common_core(self.search.ground.body, self.settings)
            except NoSolutionError:
                self._no_core = True
            else:
                self._core = with_body(self.search.ground, core, slack)
        if self._core is None:
            return float("inf")
        key = scenario.side, scenario.given_up
        if key not in self._uppers:
            self.say(f"trying to rule out {scenario.side.value if scenario.side else 'any'} ways")
            lattice = self.search.map.lattice
            least = self.settings.least_mm
            self._uppers[key] = tighten(self._core, lattice, scenario, self.shrunk, least)
        return self._uppers[key]

    def entry(self, side: Side, given_up: frozenset[str]) -> Entry:
        """Everything about one scenario."""
        scenario = Scenario(side=side, given_up=given_up)
        search = self.search
        model = search.bracket(scenario, grown_mm=0.0, sac_grown_mm=0.0)
        self.say(so_far_words(side, model))
        lower = search.lower_mm(scenario, self.grown)[0]
        upper = search.upper_mm(scenario, self.shrunk)
        answer = Answer.CANNOT_TELL
        blocking: tuple[str, ...] = ()
        if lower >= self.settings.least_mm:
            answer = Answer.YES
        elif self.core_upper_mm(scenario) < self.settings.least_mm:
            answer, blocking = Answer.NO, self.blocking(scenario)
        way = self.grown if lower != CLOSED_MM else Margin(False)
        return Entry(
            side=side,
            given_up=given_up,
            answer=answer,
            model=model,
            with_errors=Bracket(lower, upper),
            path=search.path(scenario, way),
            blocking=blocking,
            decided_by=() if answer is Answer.YES else self.decided_by(scenario),
        )

    def narrowed(self, entry: Entry) -> Entry:
        """The same entry, both ends of its model brought together as far as it goes."""
        search, words = self.search, f"narrowing the bracket on the {entry.side.value}"
        scenario = Scenario(side=entry.side, given_up=entry.given_up)
        names, plain = search.staying(scenario), Margin(False)
        narrowing = make_narrowing(search.map, search.look, lambda: self.say(words))
        found = search.lower_mm(scenario, plain)
        model, way = narrowing.bracket(scenario, names, found, BRACKET_MM)
        model = Bracket(model.lower_mm, min(model.upper_mm, entry.model.upper_mm))
        if model.lower_mm <= found[0]:
            return replace(entry, model=model)
        search.keep_way(scenario, plain, way)
        lower, path = entry.with_errors.lower_mm, search.path(scenario, plain)
        worth = float(search.look.worths(way, names, self.grown).min())
        if worth >= max(LEAST_WORTH_MM, lower):
            lower = worth
        elif lower != CLOSED_MM:
            path = entry.path  # shown to hold with all errors: it stays the way to go
        answer = Answer.YES if lower >= self.settings.least_mm else entry.answer
        errors = Bracket(lower, entry.with_errors.upper_mm)
        return replace(entry, answer=answer, model=model, with_errors=errors, path=path)

    def checked(self, entry: Entry) -> ExactCheck | None:
        """Exact distances of an independent library along an entry's path."""
        ground = self.search.ground
        if entry.path is None:
            return None
        words = "checking the way with exact distances"

        def measure(name: str, moves: NDArray[np.float64]) -> NDArray[np.float64]:
            found = ground.gauges[name].measure(moves, None, (FLOOR_MM, CLIP_MM))
            return found.astype(np.float64)

        return check_exactly(
            ground.room, entry.path, entry.given_up, measure, lambda: self.say(words)
        )

    def no_from_mm(self, given_up: frozenset[str]) -> float:
        """No way of the family keeps more, as far as it was looked at on both sides."""
        return max(self._uppers.get((side, given_up), np.inf) for side in Side)

    def decided_by(self, scenario: Scenario) -> tuple[str, ...]:
        """Obstacles without any one of which the answer would be yes."""
        return tuple(
            name
            for name in self.search.staying(scenario)
            if self.is_yes(replace(scenario, given_up=scenario.given_up | {name}))
        )

    def blocking(self, scenario: Scenario) -> tuple[str, ...]:
        """Obstacles that together shut every way: without any one of them the proof fails."""
        needed = list(self.search.staying(scenario))
        for name in tuple(needed):
            rest = [n for n in needed if n != name]
            gone = frozenset(o.name for o in self.search.ground.room.obstacles) - set(rest)
            if self.core_upper_mm(replace(scenario, given_up=gone)) < self.settings.least_mm:
                needed = rest
        return tuple(needed)

    def spare(
        self, side: Side, given_up: frozenset[str], order: tuple[str, ...]
    ) -> frozenset[str]:
        """Give up as little as the best answer allows, trying to keep things in a given order.

        Parameters
        ----------
        side : Side
            Of delivery.
        given_up : frozenset of str
            All that may be given up.
        order : tuple of str
            Obstacles, the dearest first.

        Returns
        -------
        frozenset of str
            None of it can be kept any more, as far as ways were found. Where even all of it
            makes no yes, what the best way of the model costs.
        """
        scenario = Scenario(side=side, given_up=given_up)
        margin, least = self.grown, self.settings.least_mm
        if not self.is_yes(scenario):
            margin = Margin(False)
            least = min(least, self.search.lower_mm(scenario, margin)[0] - _WORSE_MM)
        if least == CLOSED_MM:
            return given_up
        for name in order:
            if name not in scenario.given_up:
                continue
            kept = replace(scenario, given_up=scenario.given_up - {name})
            way = self.search.lower_mm(scenario, margin)[1]
            names = self.search.staying(kept)
            if self.search.look.worths(way, names, margin).min() >= least:
                self.search.keep_way(kept, margin, way)  # the same way is still good
                scenario = kept
            elif self.search.lower_mm(kept, margin)[0] >= least:
                scenario = kept
        return scenario.given_up


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
        say(so_far_words(side, search.bracket(whole, grown_mm=0.0, sac_grown_mm=0.0)))
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
    narrowed = judge.narrowed(best)
    ledger[ledger.index(best)] = best = narrowed
    if best.answer is Answer.YES and not yes:
        yes = [best]
    if yes:
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
    )
