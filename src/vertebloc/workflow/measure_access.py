"""Ring and front of a case: what no cut changes once, the rest with each plan."""

from __future__ import annotations

from dataclasses import dataclass

from vertebloc.access import (
    Front,
    FrontSettings,
    Ring,
    RingMap,
    RingSettings,
    Surroundings,
    collect_surroundings,
    judge_front,
    judge_ring,
    unroll_ring,
)
from vertebloc.access.nibbled import nibbled_on_ring
from vertebloc.access.surroundings import needed_outlines, ring_ground, station_grounds
from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.model import Anatomy
from vertebloc.case.choices import Choices
from vertebloc.resection import ResectionPlan, ResectionSolids
from vertebloc.staging import Staging


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AccessGround:
    """What ring and front are judged on, whatever the cuts are."""

    around: Surroundings
    ring: RingMap


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Access:
    """Where the ring can be opened, and whether the front can be got round."""

    ring: Ring
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
        For ``measure_access``.

    Raises
    ------
    InputError
        If no bone lies about the canal.
    """
    around = collect_surroundings(contours, solids)
    ground = ring_ground(contours, anatomy, solids, around)
    return AccessGround(
        around=around, ring=unroll_ring(ground, RingSettings(contour_error_mm=contour_error_mm))
    )


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
        Ring and front; planning goes on whatever they say.
    """
    settings = FrontSettings(
        finger_reach_mm=choices.finger_reach_mm,
        contour_error_mm=choices.contour_error_mm,
        before=choices.front_before,
    )
    ring = judge_ring(ground.ring, plan, staging, nibbled_on_ring(ground.ring, plan.nibbled))
    front = judge_front(
        station_grounds(anatomy, solids, ground.around, plan, settings),
        settings,
        needed=needed_outlines(solids.level),
        outlined=ground.around.outlined,
        release=choices.front_release,
    )
    return Access(ring=ring, front=front)
