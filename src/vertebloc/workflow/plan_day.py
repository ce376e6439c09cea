"""What the role sheets need beside the plan: landmarks, signals, the team's own words."""

from __future__ import annotations

from typing import Any

from vertebloc.anatomy.model import Anatomy
from vertebloc.case.choices import Choices
from vertebloc.reports.day_document import day_document
from vertebloc.reports.document_numbers import all_rounded
from vertebloc.resection import ResectionPlan, ResectionSolids
from vertebloc.surgery_day import describe_entries, find_landmarks, signal_runs, watched_roots
from vertebloc.surgery_day.watch import control_words


def plan_day(
    anatomy: Anatomy, solids: ResectionSolids, plan: ResectionPlan, choices: Choices
) -> dict[str, Any]:
    """Measure and list what the role sheets print beside the plan.

    Parameters
    ----------
    anatomy : Anatomy
        Frames.
    solids : ResectionSolids
        Bones, ribs and tumour.
    plan : ResectionPlan
        Cuts and acts.
    choices : Choices
        Roots, muscles and blood as the team says.

    Returns
    -------
    dict
        For ``theatre`` in plan.json.
    """
    vertebra = anatomy.vertebrae[plan.level]
    landmarks = find_landmarks(anatomy.vertebrae, solids.bone, solids.ribs, solids.tumour)
    said = choices.theatre
    levels = [
        {
            "level": str(level),
            "lps_mm": all_rounded(one.lps_from_vertebra.origin, f"middle of {level}"),
        }
        for level, one in anatomy.vertebrae.items()
    ]
    return {"levels": levels} | day_document(
        vertebra=vertebra,
        landmarks=landmarks,
        entries=describe_entries(plan.cuts, vertebra, landmarks, plan.levels),
        outline_error_mm=choices.contour_error_mm + solids.bone_error_mm,
        watched=(
            signal_runs(plan.acts.acts),
            watched_roots(plan.levels, said.muscles, said.roots),
            control_words(plan.levels),
        ),
        said=(said, choices.standing_side),
    )
