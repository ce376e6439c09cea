"""One scenario judged: both ends of what a way keeps, with and without errors, and why."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import NoSolutionError
from vertebloc.space.frames import Side
from vertebloc.way_out.cell_stock import Shelf, first_cells
from vertebloc.way_out.cells import MOST_HALVINGS, CellSearch
from vertebloc.way_out.clearances import CLIP_MM, FLOOR_MM
from vertebloc.way_out.core import common_core
from vertebloc.way_out.exact_check import ExactCheck, check_exactly
from vertebloc.way_out.finer_way import NO_WAY
from vertebloc.way_out.model import (
    CLOSED_MM,
    Answer,
    Bracket,
    Path,
    Scenario,
    WayOutSettings,
)
from vertebloc.way_out.narrowing import Narrowing, make_narrowing
from vertebloc.way_out.pose_map import LEAST_WORTH_MM, Margin, with_body
from vertebloc.way_out.pose_worths import Asked
from vertebloc.way_out.search import Search
from vertebloc.way_out.tilting import Tilted, with_tilts

#: What a thing kept may cost of the clearance of a way that is no yes in any case, mm.
_WORSE_MM = 0.2

#: A step that tells the best bracket so far begins like this.
SO_FAR = "so far "

#: Wanted between both ends of every entry's model, mm.
BRACKET_MM = 1.5

#: Cells are halved so often to see quickly that there is no way.
_QUICK = 5
_SAY_EVERY = 5  #: pauses, each of half a second or so
_BETWEEN_MM = 0.25  #: between clearances that a "no" is tried for

Say = Callable[[str], None]
Way = tuple[float, NDArray[np.float64]]


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
    shown = f"{low:.1f} mm shown" if low >= 0.0 else "none found that spares the sac"
    best = f"at best {high:.1f} mm" if high != CLOSED_MM else "none exists"
    return f"{SO_FAR}on the {side.value}: room {shown}, {best}"


@dataclass(slots=True, eq=False)
class Judge:
    """Asks a search for answers; measures the common core when the first no is at hand."""

    search: Search
    say: Say
    narrowing: Narrowing = field(init=False)
    _words: str = "searching"
    _pauses: int = 0
    _core: CellSearch | None = None
    _no_core: bool = False
    _uppers: dict[tuple[Side | None, frozenset[str]], float] = field(default_factory=dict)
    _brackets: dict[Scenario, Bracket] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Prepare the cells that all scenarios share."""
        self.narrowing = make_narrowing(self.search.map, self.pause)
        self.search.finer.pause = self.pause

    def pause(self) -> None:
        """Say now and then what is being done: whoever listens may stop it."""
        self._pauses += 1
        if self._pauses % _SAY_EVERY == 0:
            self.say(self._words)

    def begin(self, words: str) -> None:
        """Say what is done next."""
        self._words = words
        self.say(words)

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

    def way(self, scenario: Scenario, margin: Margin, least_mm: float) -> Way:
        """A way shown to be worth something, if one is found."""
        search = self.search
        known = search.known(scenario, margin)
        if known is not None and known[0] >= least_mm:
            return known
        if margin != Margin(False):  # mostly there is none, and large cells tell
            cells = self.narrowing.search(replace(margin, is_upper=True))
            if cells.rules_out(scenario, least_mm, self.pause, _QUICK):
                return CLOSED_MM, NO_WAY
        asked = Asked(search.staying(scenario), scenario.side, margin)
        found = search.finer.one_worth(search.map, asked, least_mm)
        if found[0] >= least_mm:
            search.keep_way(scenario, margin, found[1])
        return found

    def is_yes(self, scenario: Scenario) -> bool:
        """Whether a way keeps the wanted clearance with all obstacles grown."""
        least = self.settings.least_mm
        return self.way(scenario, self.grown, least)[0] >= least

    def bracket(self, scenario: Scenario) -> Bracket:
        """Both ends of the model, brought together as far as it goes."""
        if scenario not in self._brackets:
            lower = self._shown_mm(scenario)
            upper = min(
                (
                    known.upper_mm
                    for other, known in self._brackets.items()
                    if other.side is scenario.side and other.given_up >= scenario.given_up
                ),
                default=np.inf,
            )
            names = self.search.staying(scenario)
            self._brackets[scenario] = self.narrowing.bracket(
                scenario, names, lower, BRACKET_MM, upper
            )
        return self._brackets[scenario]

    def _shown_mm(self, scenario: Scenario) -> float:
        """What the best way of a scenario, or of one that gives up less, is shown to be worth."""
        search, plain = self.search, Margin(False)
        asked = Asked(search.staying(scenario), scenario.side, plain)
        ways = [search.finer.widest(search.map, asked)[1]]
        for other in (scenario, *self._brackets):
            if other.side is scenario.side and other.given_up <= scenario.given_up:
                ways.append((search.known(other, plain) or (CLOSED_MM, NO_WAY))[1])
        worths = [
            search.look.worths(way, asked.names, plain).min() if len(way) else CLOSED_MM
            for way in ways
        ]
        best = int(np.argmax(worths))
        search.keep_way(scenario, plain, ways[best])
        return search.lower_mm(scenario, plain)[0]

    def core_upper_mm(self, scenario: Scenario) -> float:
        """Clearance that nothing in the family can better, obstacles shrunk; infinite: not known.

        The wanted clearance is tried first, then the larger ones.
        """
        key = scenario.side, scenario.given_up
        if key not in self._uppers:
            self._uppers[key] = self._upper_of_core(scenario, self.settings.least_mm)
        return self._uppers[key]

    def _upper_of_core(
        self, scenario: Scenario, target_mm: float, depth: int = MOST_HALVINGS
    ) -> float:
        if self._core is None and not self._no_core:
            self.say("finding what every tilt has in common")
            try:
                core, slack = common_core(self.search.ground.body, self.settings)
            except NoSolutionError:
                self._no_core = True
            else:
                ground = with_body(self.search.ground, core, slack)
                shelf = Shelf(ground, first_cells(self.search.map.lattice))
                self._core = CellSearch(shelf, self.shrunk)
        if self._core is None:
            return float("inf")
        self._words = f"trying to rule out {scenario.side.value if scenario.side else 'any'} ways"
        return self._core.upper_mm(scenario, target_mm, self.pause, depth)

    def entry(self, side: Side, given_up: frozenset[str]) -> Entry:
        """Everything about one scenario."""
        scenario = Scenario(side=side, given_up=given_up)
        search, least = self.search, self.settings.least_mm
        self.begin(f"narrowing the bracket on the {side.value}")
        model = self.bracket(scenario)
        self.say(so_far_words(side, model))
        lower, way = self._with_errors(scenario)
        answer = Answer.CANNOT_TELL
        blocking: tuple[str, ...] = ()
        if lower >= least:
            answer = Answer.YES
        elif self.core_upper_mm(scenario) < least:
            answer, blocking = Answer.NO, self.blocking(scenario)
        return Entry(
            side=side,
            given_up=given_up,
            answer=answer,
            model=model,
            with_errors=Bracket(lower, search.upper_mm(scenario, self.shrunk)),
            path=search.path(scenario, way),
            blocking=blocking,
            decided_by=() if answer is Answer.YES else self.decided_by(scenario),
        )

    def _with_errors(self, scenario: Scenario) -> tuple[float, Margin]:
        """What a way keeps with all obstacles grown, and the margin that way is kept under."""
        search, plain = self.search, Margin(False)
        names, least = search.staying(scenario), self.settings.least_mm
        worth = self.way(scenario, self.grown, least)[0]
        if worth >= least:
            return worth, self.grown
        known = search.known(scenario, plain)
        if known is not None and len(known[1]):
            worth = max(worth, float(search.look.worths(known[1], names, self.grown).min()))
        return (worth if worth >= LEAST_WORTH_MM else CLOSED_MM), plain

    def errors_narrowed(self, entry: Entry) -> Entry:
        """The same entry with the upper end under errors brought down, if it has a way.

        Errors at the sac alone add no more than themselves: that much is tried for first.
        """
        scenario = Scenario(side=entry.side, given_up=entry.given_up)
        errors, margin = entry.with_errors, self.shrunk
        target = entry.model.upper_mm - margin.sac_grown_mm
        if entry.model.lower_mm < 0.0 or target >= errors.upper_mm:
            return entry
        self.begin(f"narrowing what errors may add on the {entry.side.value}")
        upper = min(errors.upper_mm, self.narrowing.upper_mm(scenario, margin, target))
        return replace(entry, with_errors=Bracket(errors.lower_mm, max(upper, errors.lower_mm)))

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

    def tilted(self, entry: Entry) -> tuple[Entry, Tilted | None]:
        """The same entry with its way bettered by tilts and lifts; and what they gain.

        The model's bracket stays that of moves in the plane.
        """
        search, words = self.search, f"tilting the piece on the {entry.side.value}"
        scenario = Scenario(side=entry.side, given_up=entry.given_up)
        found = search.known(scenario, self.grown)
        margin = self.grown if found is not None else Margin(False)
        found = found or search.known(scenario, margin)
        if found is None or not len(found[1]):
            return entry, None
        self.begin(words)
        names = search.staying(scenario)
        tilted = with_tilts(search.look, found[1], names, margin, self.pause)
        if tilted.gained_mm <= 0.0:
            return entry, tilted
        worth = float(search.look.worths(tilted.way, names, self.grown).min())
        lower = max(entry.with_errors.lower_mm, worth if worth >= LEAST_WORTH_MM else CLOSED_MM)
        upper = entry.with_errors.upper_mm
        errors = Bracket(lower, upper if lower <= upper else CLIP_MM)
        answer = Answer.YES if lower >= self.settings.least_mm else entry.answer
        search.keep_way(scenario, margin, tilted.way)
        path = search.path(scenario, margin)
        return replace(entry, answer=answer, with_errors=errors, path=path), tilted

    def no_from_mm(self, given_up: frozenset[str]) -> float:
        """No way of the family keeps more, as far as it was looked at on both sides."""
        found = -np.inf
        for side in Side:
            scenario = Scenario(side=side, given_up=given_up)
            upper = self.core_upper_mm(scenario)
            low, high = self.settings.least_mm, CLIP_MM - _BETWEEN_MM
            if upper > high:
                upper = self._upper_of_core(scenario, high, _QUICK)
            while low <= upper < np.inf and high - low > _BETWEEN_MM:
                middle = (low + high) / 2.0
                one = self._upper_of_core(scenario, middle, _QUICK)
                low, high = (low, middle) if one < np.inf else (middle, high)
                upper = min(upper, one)
            found = max(found, upper)
        return found

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
            makes no yes, what the best way of the model costs; all, if that would press the sac.
        """
        scenario = Scenario(side=side, given_up=given_up)
        search, margin, least = self.search, self.grown, self.settings.least_mm
        if not self.is_yes(scenario):
            margin = Margin(False)
            least = min(least, self.bracket(scenario).lower_mm - _WORSE_MM)
        if least < -_WORSE_MM:
            return given_up
        whole_of = {o.name: o.part_of for o in search.ground.room.obstacles}
        lost: set[str | None] = set()
        for name in order:
            if name not in scenario.given_up or name in lost:
                continue
            kept = replace(scenario, given_up=scenario.given_up - {name})
            way = self.way(scenario, margin, least)[1]
            if search.look.worths(way, search.staying(kept), margin).min() >= least:
                search.keep_way(kept, margin, way)  # the same way is still good
                scenario = kept
            elif self.way(kept, margin, least)[0] >= least:
                scenario = kept
            else:  # then nothing that holds all of it can be kept either
                above: str | None = name
                while above is not None:
                    lost.add(above)
                    above = whole_of[above]
        return scenario.given_up
