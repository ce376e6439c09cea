"""Where the ring can be opened: openings on each side, the least contaminated one, the rules."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.access import ring_words as words
from vertebloc.access.openings import (
    DRAWN,
    GROWN,
    SHRUNK,
    Windows,
    beside_deg,
    best_window,
    blocked_rays,
    find_windows,
    least_crossing,
)
from vertebloc.access.ring_model import (
    Demand,
    Gap,
    LeastContaminated,
    Opening,
    Ring,
    RingMap,
    UnmeasuredRing,
)
from vertebloc.access.ring_rules import compare_with_rules
from vertebloc.access.unmeasured import Unmeasured
from vertebloc.resection.model import Kind, ResectionPlan
from vertebloc.space.frames import Side
from vertebloc.staging import Answer, Staging

_DEMANDS = {Kind.ARCH_ONLY: Demand.BOTH_SIDES, Kind.HALF_BODY: Demand.ONE_PLACE}
_ASKED = (Side.LEFT, Side.RIGHT, None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Readings:
    """All openings by the outlines shrunk, as drawn, and grown."""

    windows: tuple[Windows, Windows, Windows]

    @classmethod
    def of(cls, ring: RingMap) -> Readings:
        """Measure all three."""
        shrunk, drawn, grown = (find_windows(ring, one) for one in (SHRUNK, DRAWN, GROWN))
        return cls(windows=(shrunk, drawn, grown))


def judge_ring(
    ring: RingMap, plan: ResectionPlan, staging: Staging, nibbled: NDArray[np.bool_]
) -> Ring:
    """Say where the ring can be opened, and what the published rules say beside it.

    Parameters
    ----------
    ring : RingMap
        From ``unroll_ring``.
    plan : ResectionPlan
        Its kind, and the side on which it opens the arch.
    staging : Staging
        What the rules go by.
    nibbled : (h, a) bool
        Bone that the plan takes piecemeal, from ``nibbled_on_ring``.

    Returns
    -------
    Ring
        Never refuses: without a clean opening it names the least contaminated one.
    """
    readings = Readings.of(ring)
    demand = _DEMANDS.get(plan.kind, Demand.OPENING)
    if demand is Demand.OPENING:
        openings = tuple(_opening(ring, readings, side) for side in _ASKED)
    else:
        openings = tuple(_clean_edge(ring, side) for side in (Side.LEFT, Side.RIGHT))
    answer = _answer(demand, openings, plan.open_side)
    clean = answer is Answer.YES
    least = None if clean else _least(ring, readings.windows[DRAWN], demand)
    rule_words, disagreements = compare_with_rules(demand, answer, openings, staging)
    planned = _planned_opening(demand, openings, plan.open_side)
    if demand is Demand.OPENING and planned.answer is not Answer.YES and clean:
        disagreements = (words.planned_side_disagrees(planned, openings), *disagreements)
    return Ring(
        demand=demand,
        answer=answer,
        decided_by=words.decided_by(demand, answer, openings, ring.surrogate),
        gaps=_gaps(ring),
        openings=openings,
        least=least,
        planned_side=plan.open_side,
        planned_words=words.planned(planned, plan.open_side),
        rule_words=rule_words,
        disagreements=disagreements,
        map=ring,
        nibbled=nibbled,
        assumptions=ring.settings.assumptions,
    )


def ring_not_measured(plan: ResectionPlan, staging: Staging, why: Unmeasured) -> UnmeasuredRing:
    """The answer where the ring could not be measured.

    Parameters
    ----------
    plan : ResectionPlan
        Its kind, and the side on which it opens the arch.
    staging : Staging
        What the published rules go by.
    why : Unmeasured
        The reason.

    Returns
    -------
    UnmeasuredRing
        Cannot tell, decided by the reason.
    """
    demand = _DEMANDS.get(plan.kind, Demand.OPENING)
    rule_words, disagreements = compare_with_rules(demand, Answer.CANNOT_TELL, (), staging)
    return UnmeasuredRing(
        demand=demand,
        decided_by=why.reason,
        planned_side=plan.open_side,
        rule_words=rule_words,
        disagreements=disagreements,
    )


def _opening(ring: RingMap, readings: Readings, side: Side | None) -> Opening:
    """The best clean opening on one side, or behind only."""
    shrunk, drawn, grown = readings.windows
    best = [best_window(one, one.free & _on(ring, one, side)) for one in readings.windows]
    is_yes = best[GROWN] is not None and grown.spare_mm[best[GROWN]] >= 0.0
    is_no = best[SHRUNK] is None or shrunk.spare_mm[best[SHRUNK]] < 0.0
    answer = Answer.YES if is_yes else Answer.NO if is_no else Answer.CANNOT_TELL
    at = best[DRAWN]
    if at is None:
        return Opening(
            side=side, first_deg=0.0, last_deg=0.0, width_mm=0.0, needed_mm=0.0, answer=answer,
            words=words.no_gap(ring, side),
        )  # fmt: skip
    first, last = float(drawn.first_deg[at]), float(drawn.last_deg[at])
    return Opening(
        side=side,
        first_deg=first,
        last_deg=last,
        width_mm=float(drawn.width_mm[at]),
        needed_mm=float(drawn.needed_mm[at]),
        answer=answer,
        words=words.stretch(ring, first, last),
    )


def _on(ring: RingMap, windows: Windows, side: Side | None) -> NDArray[np.bool_]:
    if side is not None:
        return windows.reaches(side, beside_deg(ring, side))
    reach = [windows.reaches(one, beside_deg(ring, one)) for one in Side]
    return ~(reach[0] | reach[1])


def _clean_edge(ring: RingMap, side: Side) -> Opening:
    """A clean place to cut between the body and the tumour on one side."""
    runs = [_clean_from_body(ring, side, reading) for reading in (SHRUNK, DRAWN, GROWN)]
    answer = Answer.YES if runs[GROWN] else Answer.CANNOT_TELL if runs[SHRUNK] else Answer.NO
    drawn = runs[DRAWN]
    if drawn is None:
        return Opening(
            side=side, first_deg=0.0, last_deg=0.0, width_mm=0.0, needed_mm=0.0, answer=answer,
            words=words.no_gap(ring, side),
        )  # fmt: skip
    return Opening(
        side=side, first_deg=drawn[0], last_deg=drawn[1], width_mm=np.inf, needed_mm=0.0,
        answer=answer, words=words.stretch(ring, *drawn),
    )  # fmt: skip


def _clean_from_body(ring: RingMap, side: Side, reading: int) -> tuple[float, float] | None:
    """The tumour-free stretch of arch that begins at the body on a side."""
    blocked = blocked_rays(ring, reading)
    arch = np.flatnonzero(ring.is_arch)
    order = arch[::-1] if side is Side.LEFT else arch
    tumour = np.flatnonzero(blocked[order])
    end = int(tumour[0]) if len(tumour) else len(order)
    if end == 0:
        return None
    ends = sorted((float(ring.angles_deg[order[0]]), float(ring.angles_deg[order[end - 1]])))
    return ends[0] - 0.5, ends[1] + 0.5


def _answer(demand: Demand, openings: tuple[Opening, ...], open_side: Side) -> Answer:
    if demand is Demand.OPENING:
        said = [one.answer for one in openings if one.side is not None]
        return next((a for a in (Answer.YES, Answer.CANNOT_TELL) if a in said), Answer.NO)
    if demand is Demand.BOTH_SIDES:
        said = [one.answer for one in openings]
        return next((a for a in (Answer.NO, Answer.CANNOT_TELL) if a in said), Answer.YES)
    return _on_side(openings, open_side.other).answer  # half a body: where the half that stays is


def _on_side(openings: tuple[Opening, ...], side: Side) -> Opening:
    return next(one for one in openings if one.side is side)


def _planned_opening(demand: Demand, openings: tuple[Opening, ...], side: Side) -> Opening:
    return _on_side(openings, side.other if demand is Demand.ONE_PLACE else side)


def _least(ring: RingMap, drawn: Windows, demand: Demand) -> LeastContaminated | None:
    """The opening that crosses least tumour, of both sides."""
    if demand is not Demand.OPENING:
        return None
    found = [(side, least_crossing(ring, drawn, side)) for side in (Side.LEFT, Side.RIGHT)]
    made = [_contaminated(ring, drawn, side, at) for side, at in found if at is not None]
    return min(made, key=lambda one: (one.crossed_mm2, one.between_share), default=None)


def _contaminated(ring: RingMap, drawn: Windows, side: Side, at: int) -> LeastContaminated:
    first, last = int(drawn.first[at]), int(drawn.last[at])
    crossed = float(ring.crossed_mm2[first] + ring.crossed_mm2[last])
    strip = ring.growth_mm[:, first : last + 1] <= 0.0
    banks = [ring.growth_mm[:, ray].min() for ray in (first, last)]
    ends = float(drawn.first_deg[at]), float(drawn.last_deg[at])
    return LeastContaminated(
        side=side,
        first_deg=ends[0],
        last_deg=ends[1],
        crossed_mm2=crossed,
        between_share=float(strip.mean()),
        margin_class=words.margin_class(min(banks), ring.settings.contour_error_mm),
        place=words.banks(ring, ends, [float(ring.crossed_mm2[ray]) for ray in (first, last)]),
    )


def _gaps(ring: RingMap) -> tuple[Gap, ...]:
    """Tumour-free stretches of the arch, as drawn, from right to left."""
    free = ring.is_arch & ~blocked_rays(ring, DRAWN)
    steps = np.diff(np.concatenate(([0], free.astype(np.int8), [0])))
    starts, ends = np.flatnonzero(steps == 1), np.flatnonzero(steps == -1) - 1
    found = []
    for start, end in zip(starts, ends, strict=True):
        first, last = float(ring.angles_deg[start]) - 0.5, float(ring.angles_deg[end]) + 0.5
        found.append(Gap(first_deg=first, last_deg=last, words=words.stretch(ring, first, last)))
    return tuple(found)
