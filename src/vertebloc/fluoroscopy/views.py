"""The views of a plan: from behind, from the side, each half cut as a line, the level strip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.model import Anatomy, LevelConfirmation
from vertebloc.errors import NoSolutionError
from vertebloc.fluoroscopy.bone_in_way import bone_in_way_mm, bones_at, cut_lines
from vertebloc.fluoroscopy.lines import angles_for_line
from vertebloc.fluoroscopy.model import (
    Beam,
    CArm,
    CArmPlan,
    CArmView,
    CutLine,
    HeadAt,
    LineView,
    NotSeen,
)
from vertebloc.fluoroscopy.strip import level_strip
from vertebloc.resection import ResectionPlan, ResectionSolids
from vertebloc.space.frames import Side
from vertebloc.space.surfaces import TriangleSurface

_END_ON = 0.7  #: cosine of blade to beam above which the blade is seen more end on than along
_BEHIND_DEG = 180.0  #: primary angle with the detector behind the back
ASSUMPTIONS = (
    "the patient lies prone as straight as in the CT, which was taken supine: start from these "
    "angles, then turn until the endplates beside the cut are lines",
    "tube below the table, detector above; from the side the detector stands where the surgeon "
    "stands, the tube opposite (common practice, no source)",
    "bone is counted as outlined, before anything is taken away",
)


def plan_views(
    anatomy: Anatomy,
    solids: ResectionSolids,
    plan: ResectionPlan,
    confirmation: LevelConfirmation,
    *,
    standing: Side | None,
    arm: CArm,
) -> CArmPlan:
    """Find every view of a plan.

    Parameters
    ----------
    anatomy : Anatomy
        Vertebrae.
    solids : ResectionSolids
        Bones and ribs.
    plan : ResectionPlan
        Cuts and depths.
    confirmation : LevelConfirmation
        From which end theatre counts.
    standing : Side or None
        Where the surgeon stands; None: pictures are shown head up.
    arm : CArm
        The machine.

    Returns
    -------
    CArmPlan
        Of each half cut those views in which it is a line, first where its depth can be
        read, then the least bone in the way; a cut that neither view can show says why.
    """
    middle = anatomy.vertebrae[plan.level].lps_from_vertebra.origin
    side = standing or Side.LEFT
    straight = {
        Beam.FROM_BEHIND: straight_view(Beam.FROM_BEHIND, middle, standing, arm),
        Beam.FROM_THE_SIDE: straight_view(Beam.FROM_THE_SIDE, middle, standing, arm),
    }
    bones = (*solids.bone.values(), *solids.ribs.values())
    lines: list[LineView] = []
    not_seen: list[NotSeen] = []
    cuts = cut_lines(plan)
    at_plane: dict[tuple[float, ...], tuple[TriangleSurface, ...]] = {}
    for cut in cuts:
        plane = (*np.round(cut.normal, 6), round(float(cut.normal @ cut.entry), 3))
        if plane not in at_plane:  # both halves of a cut share one
            at_plane[plane] = bones_at(cut, bones)
        seen, missed = _views_of(cut, straight, at_plane[plane])
        lines += seen
        not_seen += missed
    strip, why_not = level_strip(anatomy, plan.level, confirmation, straight[Beam.FROM_BEHIND])
    return CArmPlan(
        arm=arm,
        level=plan.level,
        behind=straight[Beam.FROM_BEHIND],
        side=straight[Beam.FROM_THE_SIDE],
        stands_at=side,
        cuts=cuts,
        lines=tuple(lines),
        not_seen=tuple(not_seen),
        strip=strip,
        strip_why_not=why_not,
        middles={at: v.lps_from_vertebra.origin for at, v in anatomy.vertebrae.items()},
        assumptions=(*_measures(arm), *ASSUMPTIONS),
    )


def straight_view(
    beam: Beam, aim: NDArray[np.float64], standing: Side | None, arm: CArm
) -> CArmView:
    """A straight view of a prone patient, shown as theatre sees it.

    Parameters
    ----------
    beam : Beam
        From behind: tube below the table; from the side: tube opposite the surgeon.
    aim : (3,) float64, mm
        On the central ray.
    standing : Side or None
        Where the surgeon stands; None: head up, seen from the left.
    arm : CArm
        The machine.

    Returns
    -------
    CArmView
        Turned as the theatre views are: standing at the left, the head is at the picture's left.
    """
    head_at = {Side.LEFT: HeadAt.LEFT_EDGE, Side.RIGHT: HeadAt.RIGHT_EDGE, None: HeadAt.TOP_EDGE}
    side = standing or Side.LEFT
    return CArmView(
        primary_deg=_BEHIND_DEG if beam is Beam.FROM_BEHIND else 90.0 * side.sign,
        secondary_deg=0.0,
        aim=aim,
        head_at=head_at[standing],
        arm=arm,
    )


def _views_of(
    cut: CutLine, straight: dict[Beam, CArmView], bones: Sequence[TriangleSurface]
) -> tuple[list[LineView], list[NotSeen]]:
    """Both ways of seeing one cut as a line, as far as the C-arm can be turned."""
    found: list[LineView] = []
    missed: list[NotSeen] = []
    for beam, view in straight.items():
        try:
            primary, secondary = angles_for_line(cut.normal, view.primary_deg)
        except NoSolutionError as error:
            missed.append(NotSeen(cut_name=cut.name, beam=beam, why=", ".join(error.reasons)))
            continue
        off = abs(primary - view.primary_deg) + abs(secondary)
        if off > view.arm.most_tilt_deg:
            why = f"it would need {off:.0f} degrees, more than {view.arm.most_tilt_deg:.0f}"
            missed.append(NotSeen(cut_name=cut.name, beam=beam, why=why))
            continue
        turned = replace(view, primary_deg=primary, secondary_deg=secondary, aim=cut.middle)
        mean, worst = bone_in_way_mm(turned, cut, bones)
        found.append(
            LineView(
                cut_name=cut.name,
                side=cut.side,
                level=cut.level,
                beam=beam,
                view=turned,
                off_straight_deg=off,
                bone_in_way_mm=mean,
                worst_bone_mm=worst,
                shows_depth=abs(float(cut.blade @ turned.towards_detector)) < _END_ON,
                along_beam_mm=_along_beam_mm(cut, turned.towards_detector),
                is_best=False,
            )
        )
    found.sort(key=lambda one: (not one.shows_depth, one.bone_in_way_mm))
    return [replace(one, is_best=n == 0) for n, one in enumerate(found)], missed


def _along_beam_mm(cut: CutLine, beam: NDArray[np.float64]) -> float:
    """How far what is cut reaches along the beam: a little off, it is seen as a band of that."""
    loops = [loop for face in cut.faces for loop in face.loops_lps()]
    points = np.concatenate([*loops, [cut.entry, cut.far]])
    return float(np.ptp(points @ beam))


def _measures(arm: CArm) -> tuple[str, ...]:
    """The machine's measures that the team did not say."""
    lengths = {
        "tube to detector": ("source_detector_mm", arm.source_detector_mm),
        "tube to spine": ("source_object_mm", arm.source_object_mm),
        "detector": ("detector_mm", arm.detector_mm),
    }
    assumed = [
        f"{words} {length_mm / 10.0:g} cm"
        for words, (name, length_mm) in lengths.items()
        if name not in arm.said
    ]
    return (f"a usual C-arm: {', '.join(assumed)} (assumed)",) if assumed else ()
