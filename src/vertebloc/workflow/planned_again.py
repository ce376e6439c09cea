"""The saved plan of a case computed anew, so that what is handed out is what its sheet says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vertebloc.anatomy.contours import ContourSet
from vertebloc.case.choices import Choices
from vertebloc.case.provenance import canonical_bytes
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.resection import ResectionPlan
from vertebloc.workflow.compute_plan import Prepared, plan_prepared, prepare_plan
from vertebloc.workflow.drawn_state import with_drawn
from vertebloc.workflow.kept_measures import find_measures, keep_measures, key_of_measures
from vertebloc.workflow.load_case import load_choices, load_contours
from vertebloc.workflow.saying import Say

#: What must come out the same: all that the piece and its words stand on.
_SAME = ("level", "level_confirmation", "tumour", "staging", "resection", "anatomy", "inputs")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlannedAgain:
    """A saved plan with the shapes behind its numbers."""

    case: CaseFolder
    choices: Choices
    contours: ContourSet
    prepared: Prepared
    plan: ResectionPlan
    document: Mapping[str, Any]  #: plan.json as it was saved

    @property
    def code(self) -> str:
        """The short code on the plan's sheet."""
        return str(self.document["code"])

    @property
    def is_confirmed(self) -> bool:
        """Whether a named person confirmed the level and nothing objects."""
        return bool(self.document["level_confirmation"]["confirmed"])


def plan_again(case_dir: Path, say: Say) -> PlannedAgain:
    """Compute a saved plan anew and see that it is the same.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    say : callable
        Called before each long step.

    Returns
    -------
    PlannedAgain
        The plan, and what it stands on.

    Raises
    ------
    InputError
        If there is no plan, it is out of date, or computing it anew gives another one.
    """
    case = CaseFolder.open(case_dir)
    again = f"plan again with vertebloc plan {case_dir}"
    if not case.has("plan"):
        raise InputError(f"{case_dir} holds no plan yet: make one with vertebloc plan {case_dir}")
    choices = load_choices(case)
    inputs = case.inputs(choices)
    reasons = case.stale_reasons(inputs)
    if reasons:
        raise InputError(f"the plan is OUT OF DATE ({'; '.join(reasons)}): {again}")
    say("reading the case")
    key = key_of_measures(case, choices)
    contours = load_contours(case)
    prepared = find_measures(case, key)
    if prepared is None:
        prepared = with_drawn(prepare_plan(contours, choices, say), case)
        keep_measures(case, choices, key, prepared)
    say("placing the cuts as planned")
    plan, computed, _ = plan_prepared(prepared, choices, inputs)
    document = case.json_of("plan")
    differ = differing(computed, document)
    if differ:
        raise InputError(
            f"computed anew, the plan is another one than was saved as {document['code']} "
            f"({', '.join(differ)}): it was made by another version of the program; {again}"
        )
    return PlannedAgain(
        case=case,
        choices=choices,
        contours=contours,
        prepared=prepared,
        plan=plan,
        document=document,
    )


def differing(computed: Mapping[str, Any], saved: Mapping[str, Any]) -> list[str]:
    """Parts of two plans that are not the same.

    Parameters
    ----------
    computed, saved : mapping
        Content of plan.json, as computed and as read back.

    Returns
    -------
    list of str
        Keys; none if piece and words stand on the same.
    """
    return [key for key in _SAME if _bytes(computed[key]) != _bytes(saved[key])]


def _bytes(value: Any) -> bytes:
    return canonical_bytes({"value": value})
