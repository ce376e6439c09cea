"""The C-arm's views as plan.json holds them: angles and distances, no pictures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from vertebloc.anatomy.model import LevelConfirmation
from vertebloc.errors import InputError
from vertebloc.fluoroscopy import CArm, CArmPlan, CArmView
from vertebloc.fluoroscopy.lines import band_mm
from vertebloc.fluoroscopy.model import Beam, CutLine, LineView, StripView
from vertebloc.reports import c_arm_text as words
from vertebloc.reports.document_numbers import all_rounded, rounded


@dataclass(frozen=True, slots=True, kw_only=True)
class CArmSaid:
    """What a card needs to know of the C-arm for one half cut."""

    words: str  #: one sentence: from where the cut is a line, how long, where first passes stop
    how: str  #: how to set the C-arm; empty if no view shows the cut as a line
    beam: str  #: ``from behind`` or ``from the side``; empty likewise
    primary_deg: float  #: of DICOM's positioner; 0 likewise
    secondary_deg: float


def c_arm_of_cut(document: Mapping[str, Any], cut: str) -> CArmSaid:
    """What the C-arm shows of one half cut, and how it is set.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    cut : str
        The half cut's name, such as ``left half of the cranial cut``.

    Returns
    -------
    CArmSaid
        Angles of the view where its depth can be read, with the least other bone in the way.

    Raises
    ------
    InputError
        If the plan is of an older version without these views, or has no such cut.
    """
    known = document.get("c_arm", {}).get("cuts", ())
    for one in known:
        if one["cut"] == cut:
            best = one["views"][0] if one["views"] else {}
            return CArmSaid(
                words=words.cut_sentence(one),
                how=best.get("how", ""),
                beam=best.get("beam", ""),
                primary_deg=best.get("primary_deg", 0.0),
                secondary_deg=best.get("secondary_deg", 0.0),
            )
    names = ", ".join(one["cut"] for one in known) or "none: plan the case anew"
    raise InputError(f"the plan's views of the C-arm name no cut {cut!r}: they name {names}")


def c_arm_document(plan: CArmPlan, confirmation: LevelConfirmation) -> dict[str, Any]:
    """Write the views down.

    Parameters
    ----------
    plan : CArmPlan
        From ``plan_views``.
    confirmation : LevelConfirmation
        The agreed end.

    Returns
    -------
    dict
        ``c_arm`` of plan.json.

    Raises
    ------
    InputError
        If a number is not finite.
    """
    straight = {Beam.FROM_BEHIND: plan.behind, Beam.FROM_THE_SIDE: plan.side}
    arm = plan.arm
    written: dict[str, Any] = {
        "source_detector_mm": rounded(arm.source_detector_mm, "C-arm"),
        "source_object_mm": rounded(arm.source_object_mm, "C-arm"),
        "detector_mm": rounded(arm.detector_mm, "C-arm"),
        "distances": _distances(arm),
        "detector_at": plan.stands_at.value,
        "straight": [_view(plan, beam, view, "straight view") for beam, view in straight.items()],
        "cuts": [_cut(plan, cut) for cut in plan.cuts],
        "strip": {
            "counted_from": confirmation.counted_from.value,
            "why_not": plan.strip_why_not,
            "level_confirmed": confirmation.is_confirmed,
            "views": [_strip(plan, one) for one in plan.strip],
        },
        "assumed": list(plan.assumptions),
    }
    said = f"{words.answer_words(written)} {words.strip_words(written['strip'], str(plan.level))}"
    return written | {"words": said}


def _cut(plan: CArmPlan, cut: CutLine) -> dict[str, Any]:
    deep = float(np.linalg.norm(cut.far - cut.entry))
    lines = [one for one in plan.lines if one.cut_name == cut.name]
    return {
        "cut": cut.name,
        "side": cut.side.value,
        "level": str(cut.level),
        "deep_mm": rounded(deep, cut.name),
        "stop_mm": rounded(cut.stop_mm, cut.name),
        "views": [_line(plan, one) for one in lines],
        "not_seen": [
            {"beam": one.beam.value, "why": one.why}
            for one in plan.not_seen
            if one.cut_name == cut.name
        ],
    }


def _line(plan: CArmPlan, one: LineView) -> dict[str, Any]:
    return _view(plan, one.beam, one.view, one.cut_name) | {
        "off_straight_deg": rounded(one.off_straight_deg, one.cut_name),
        "bone_in_way_mm": rounded(one.bone_in_way_mm, one.cut_name),
        "worst_bone_mm": rounded(one.worst_bone_mm, one.cut_name),
        "shows_depth": one.shows_depth,
        "band_mm": rounded(band_mm(one.along_beam_mm, words.BAND_OFF_DEG), one.cut_name),
    }


def _strip(plan: CArmPlan, one: StripView) -> dict[str, Any]:
    return _view(plan, Beam.FROM_BEHIND, one.view, "level strip") | {
        "vertebrae": [
            {"level": str(level), "number": number} for level, number in one.numbers.items()
        ]
    }


def _view(plan: CArmPlan, beam: Beam, view: CArmView, what: str) -> dict[str, Any]:
    straight = plan.behind if beam is Beam.FROM_BEHIND else plan.side
    angles = all_rounded((view.primary_deg, view.secondary_deg), what)
    base = words.base_words(beam.value, plan.stands_at)
    end = words.end_words(beam.value, straight.towards_detector, view.towards_detector)
    aim = words.aim_words(beam.value, view.aim - plan.middles[plan.level], str(plan.level))
    return {
        "beam": beam.value,
        "primary_deg": angles[0],
        "secondary_deg": angles[1],
        "aim_lps_mm": all_rounded(view.aim, what),
        "end": end,
        "central_ray": aim,
        "how": words.how_words(base, end, _distances(view.arm), aim, angles),
    }


def _distances(arm: CArm) -> str:
    return words.distance_words(
        arm.source_object_mm,
        arm.source_detector_mm,
        said={"source_object_mm", "source_detector_mm"} <= arm.said,
    )
