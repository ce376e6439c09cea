"""Compute the way out of a case and keep it; the sheet is written anew with it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vertebloc.case.choices import Choices
from vertebloc.case.provenance import Inputs
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.resection import ResectionPlan
from vertebloc.workflow.beside import kept_beside
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.compute_plan import Prepared, plan_prepared, prepare_plan
from vertebloc.workflow.drawn_state import with_drawn
from vertebloc.workflow.kept_measures import find_measures, keep_measures, key_of_measures
from vertebloc.workflow.load_case import Restamper, load_choices, load_contours, load_ct
from vertebloc.workflow.plan_case import PlanReport, make_scene, save_plan
from vertebloc.workflow.saying import Say, say_nothing
from vertebloc.workflow.way_out import (
    find_way_out_of,
    key_of_way_out,
    put_way_out,
)

COMPUTED = "way out computed"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ground:
    """What a case's way out stands on."""

    prepared: Prepared
    plan: ResectionPlan
    choices: Choices
    inputs: Inputs


def compute_way_out(case_dir: Path, say: Say) -> dict[str, Any]:
    """Compute the way out of a case as it lies there; nothing is saved.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    say : callable
        Called before each long step; may raise to stop.

    Returns
    -------
    dict
        To be kept with ``put_way_out``.

    Raises
    ------
    InputError, NoSolutionError
        If the contours do not suffice, the choices free no piece, or no sac is outlined.
    """
    return _compute(CaseFolder.open(case_dir), say)[0]


def way_out_case(case_dir: Path, *, say: Say = say_nothing) -> PlanReport:
    """Compute the way out, keep it, and write plan.json and the sheet with it.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    say : callable
        Called before each long step; may raise to stop: the case is then as it was.

    Returns
    -------
    PlanReport
        The plan with its way out, and where its files lie.

    Raises
    ------
    InputError, NoSolutionError
        As for ``compute_way_out``; also if the case was changed while it was computed.
    """
    case = CaseFolder.open(case_dir)
    found, ground = _compute(case, say)
    now_choices = load_choices(case)
    if key_of_way_out(case.inputs(now_choices), now_choices) != found["key"]:
        raise InputError(
            "the case was changed while the way out was computed: nothing is saved, compute again"
        )
    say("saving the way out")
    restamp = Restamper(case)
    with case.transaction(now=read_clock(), what=COMPUTED, restamp=restamp) as change:
        put_way_out(change, found)
    inputs = case.inputs(now_choices)
    plan, document, access = plan_prepared(
        ground.prepared,
        now_choices,
        inputs,
        plan=ground.plan,
        beside=kept_beside(case, inputs, now_choices),
    )
    say("drawing the sheet")
    scene = make_scene(ground.prepared, plan, now_choices, load_ct(case))
    return save_plan(case, document, scene, (ground.prepared, access), inputs=inputs)


def _compute(case: CaseFolder, say: Say) -> tuple[dict[str, Any], _Ground]:
    choices = load_choices(case)
    inputs = case.inputs(choices)
    say("reading the case")
    key = key_of_measures(case, choices)
    contours = load_contours(case)
    prepared = find_measures(case, key)
    if prepared is None:
        prepared = with_drawn(prepare_plan(contours, choices, say), case)
        keep_measures(case, choices, key, prepared)
    say("placing the cuts")
    plan, _, _ = plan_prepared(prepared, choices, inputs)
    found = find_way_out_of(contours, prepared, plan, choices, inputs, say)
    return found, _Ground(prepared=prepared, plan=plan, choices=choices, inputs=inputs)
