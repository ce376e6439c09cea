"""Ring and front of a case: what no cut changes once, the rest with each plan."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass

from vertebloc.access import (
    Front,
    FrontSettings,
    Ring,
    RingMap,
    RingSettings,
    Surroundings,
    collect_surroundings,
    judge_ring,
    unroll_ring,
)
from vertebloc.access.front import front_not_measured, judge_stations, measure_station
from vertebloc.access.nibbled import nibbled_on_ring
from vertebloc.access.ring import ring_not_measured
from vertebloc.access.ring_model import UnmeasuredRing
from vertebloc.access.surroundings import needed_outlines, ring_ground, station_grounds
from vertebloc.access.unmeasured import BREAKS_OFF, Unmeasured
from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.model import Anatomy
from vertebloc.case.choices import Choices
from vertebloc.resection import ResectionPlan, ResectionSolids
from vertebloc.staging import Staging


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AccessGround:
    """What ring and front are judged on, whatever the cuts are."""

    around: Surroundings | Unmeasured
    ring: RingMap | Unmeasured


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Access:
    """Where the ring can be opened, and whether the front can be got round."""

    ring: Ring | UnmeasuredRing
    front: Front


def prepare_access(
    contours: ContourSet, anatomy: Anatomy, solids: ResectionSolids, contour_error_mm: float
) -> AccessGround:
    """Unroll the ring and collect what lies before the body.

    Parameters
    ----------
    contours : ContourSet
        All outlines.
    anatomy : Anatomy
        Canal, frames, ribs.
    solids : ResectionSolids
        Bones, tumour, vessels.
    contour_error_mm : float, mm
        How far outlines may be wrong.

    Returns
    -------
    AccessGround
        For ``measure_access``. What breaks off is *cannot tell* there, with its reason.
    """
    try:
        around = collect_surroundings(contours, solids)
    except BREAKS_OFF as error:
        unmeasured = Unmeasured.because(error)
        return AccessGround(around=unmeasured, ring=unmeasured)
    try:
        ground = ring_ground(contours, anatomy, solids, around)
        ring = unroll_ring(ground, RingSettings(contour_error_mm=contour_error_mm))
    except BREAKS_OFF as error:
        return AccessGround(around=around, ring=Unmeasured.because(error))
    return AccessGround(around=around, ring=ring)


def measure_access(
    ground: AccessGround,
    anatomy: Anatomy,
    solids: ResectionSolids,
    staging: Staging,
    plan: ResectionPlan,
    choices: Choices,
) -> Access:
    """Judge ring and front of a plan.

    Parameters
    ----------
    ground : AccessGround
        From ``prepare_access``.
    anatomy : Anatomy
        Frames and ribs.
    solids : ResectionSolids
        Bones and tumour.
    staging : Staging
        What the published rules go by.
    plan : ResectionPlan
        Cuts, and what is nibbled away.
    choices : Choices
        Finger reach, what was done in front before, a stage in front.

    Returns
    -------
    Access
        Ring and front; planning goes on whatever they say. What breaks off is *cannot tell*,
        with its reason.
    """
    steps = access_in_steps(ground, anatomy, solids, staging, plan, choices)
    while True:
        try:
            next(steps)
        except StopIteration as done:
            found: Access = done.value
            return found


def access_in_steps(
    ground: AccessGround,
    anatomy: Anatomy,
    solids: ResectionSolids,
    staging: Staging,
    plan: ResectionPlan,
    choices: Choices,
) -> Generator[None, None, Access]:
    """Judge ring and front bit by bit, so that whoever asks can give up in between.

    Parameters
    ----------
    ground, anatomy, solids, staging, plan, choices
        As for ``measure_access``.

    Yields
    ------
    None
        After each bit, a tenth of a second or two of work.

    Returns
    -------
    Access
        As ``measure_access`` gives it.
    """
    ring = yield from _ring(ground.ring, plan, staging)
    front = yield from _front(ground.around, anatomy, solids, plan, choices)
    return Access(ring=ring, front=front)


def _ring(
    ground: RingMap | Unmeasured, plan: ResectionPlan, staging: Staging
) -> Generator[None, None, Ring | UnmeasuredRing]:
    if isinstance(ground, Unmeasured):
        return ring_not_measured(plan, staging, ground)
    try:
        nibbled = nibbled_on_ring(ground, plan.nibbled)
        yield
        ring = judge_ring(ground, plan, staging, nibbled)
    except BREAKS_OFF as error:
        return ring_not_measured(plan, staging, Unmeasured.because(error))
    yield
    return ring


def _front(
    around: Surroundings | Unmeasured,
    anatomy: Anatomy,
    solids: ResectionSolids,
    plan: ResectionPlan,
    choices: Choices,
) -> Generator[None, None, Front]:
    settings = FrontSettings(
        finger_reach_mm=choices.finger_reach_mm,
        contour_error_mm=choices.contour_error_mm,
        before=choices.front_before,
    )
    if isinstance(around, Unmeasured):
        return front_not_measured(settings, around)
    try:
        stations = []
        for one in station_grounds(anatomy, solids, around, plan, settings):
            stations.append(measure_station(one, settings))
            yield
        return judge_stations(
            tuple(stations),
            settings,
            needed=needed_outlines(solids.level),
            outlined=around.outlined,
            release=choices.front_release,
        )
    except BREAKS_OFF as error:
        return front_not_measured(settings, Unmeasured.because(error))
