"""Plan a case: anatomy, staging, resection, sheet; saved with the hashes of what went in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vertebloc.anatomy import describe_anatomy
from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, CountedFrom, LevelConfirmation
from vertebloc.case.choice_words import StandingSide
from vertebloc.case.choices import Choices
from vertebloc.case.provenance import Inputs, canonical_bytes
from vertebloc.case.short_code import short_code
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.reports import (
    PlanOrigin,
    Scene,
    plan_document,
    plan_json,
    planning_pictures,
    planning_sheet,
    published_hand_error,
)
from vertebloc.resection import ResectionPlan, ResectionSolids, collect_solids, plan_resection
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.staging import Staging, StagingSettings, stage_tumour, tumour_side
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.load_case import (
    Restamper,
    load_choices,
    load_contours,
    load_ct,
    load_identity,
)
from vertebloc.workflow.saying import Say, say_nothing
from vertebloc.workflow.sheet_copy import renew_copy
from vertebloc.workflow.team_words import team_assumptions

#: What the short code does not stand for: itself, the time, and words made from the rest.
NOT_IN_CODE = ("code", "made_at", "stale", "answer", "answer_parts")
_STANDING = {
    StandingSide.LEFT: Side.LEFT,
    StandingSide.RIGHT: Side.RIGHT,
    StandingSide.HEAD_UP: None,
}
SOURCES = ("Cartiaux 2010: mean location error of free-hand cuts, drawn as a bracket",)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanReport:
    """What was planned and where it lies."""

    document: Mapping[str, Any]
    plan_json: bytes
    sheet: Path
    plan_path: Path
    copy_without_identity: Path | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Computed:
    anatomy: Anatomy
    solids: ResectionSolids
    staging: Staging
    plan: ResectionPlan
    document: dict[str, Any]


def plan_case(
    case_dir: Path, *, without_identity: bool = False, say: Say = say_nothing
) -> PlanReport:
    """Compute the plan of a case anew and save plan.json and the planning sheet.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    without_identity : bool
        Also write a copy of the sheet that does not name the person.
    say : callable
        Called before each long step.

    Returns
    -------
    PlanReport
        The plan, and where its files lie.

    Raises
    ------
    InputError
        If contours are missing, choices are mistaken, or left and right contradict each other.
    """
    case = CaseFolder.open(case_dir)
    for note in case.notes:
        say(note)
    choices = load_choices(case)
    say("reading the case")
    contours, ct = load_contours(case), load_ct(case)
    inputs = case.inputs(choices)
    computed = _compute(contours, choices, inputs, say)
    say("drawing the sheet")
    scene = _scene(computed, choices, ct)
    pictures = planning_pictures(scene, computed.staging)
    identity = load_identity(case)
    sheet = planning_sheet(computed.document, pictures, identity)
    saved = plan_json(computed.document)
    now = read_clock()
    with case.transaction(now=now, what="plan computed", restamp=Restamper(case)) as change:
        change.put_bytes("plan", "plan.json", saved)
        change.put_bytes("sheet", "planning-sheet.pdf", sheet)
        for name, picture in pictures.items():
            change.put_bytes("pictures", f"{name}.png", picture)
        change.record_plan(inputs, computed.document["code"])
    copy = renew_copy(case, wanted=without_identity)
    return PlanReport(
        document=computed.document,
        plan_json=saved,
        sheet=case_dir / "planning-sheet.pdf",
        plan_path=case_dir / "plan.json",
        copy_without_identity=copy,
    )


def _compute(contours: ContourSet, choices: Choices, inputs: Inputs, say: Say) -> _Computed:
    say("finding canal, vertebrae and ribs")
    chosen = Level.parse(choices.level.diseased) if choices.level.diseased else None
    anatomy = describe_anatomy(contours, diseased=chosen)
    level = chosen or _diseased(anatomy)
    said = team_assumptions(anatomy, contours, choices)
    say("measuring tumour and bone")
    solids = collect_solids(contours, anatomy, level)
    say("staging")
    settings = StagingSettings(contour_error_mm=choices.contour_error_mm)
    staging = stage_tumour(
        canal=anatomy.canal,
        vertebra=anatomy.vertebrae[level],
        tumour=solids.tumour_field,
        bone=solids.bone_field,
        sac=solids.sac_field,
        tumour_extent=solids.tumour_extent,
        settings=settings,
    )
    side = tumour_side(
        vertebra=anatomy.vertebrae[level],
        tumour=solids.tumour_field,
        tumour_extent=solids.tumour_extent,
        settings=settings,
    )
    say("placing the cuts")
    plan = plan_resection(anatomy=anatomy, solids=solids, choices=choices, level=level)
    made_at, code = read_clock(), "-"
    for _ in range(2):  # once to know what the code stands for, once with the code in it
        origin = PlanOrigin(
            made_at=made_at,
            code=code,
            inputs=inputs.as_dict(),
            sources=SOURCES,
            assumptions=(*said, *anatomy.warnings),
        )
        document = plan_document(
            plan=plan,
            staging=staging,
            anatomy=anatomy,
            confirmation=_confirmation(anatomy, choices),
            tumour_side=side,
            origin=origin,
        )
        code = short_code(canonical_bytes(document, leave_out=NOT_IN_CODE))
    return _Computed(anatomy=anatomy, solids=solids, staging=staging, plan=plan, document=document)


def _diseased(anatomy: Anatomy) -> Level:
    for level, vertebra in anatomy.vertebrae.items():
        if vertebra.frame_from_neighbours:
            return level
    raise InputError(
        "the diseased vertebra is not known: set diseased under [level] in choices.toml"
    )


def _confirmation(anatomy: Anatomy, choices: Choices) -> LevelConfirmation:
    word = choices.level.counted_from.value
    counted = CountedFrom(word) if word else None
    return LevelConfirmation(
        confirmed_by=choices.level.confirmed_by or None,
        counted_from=counted,
        end_in_view=counted in anatomy.ends_in_view,
    )


def _scene(computed: _Computed, choices: Choices, ct: Volume) -> Scene:
    solids, plan = computed.solids, computed.plan
    maybe = {
        "tumour": solids.tumour,
        "sac": solids.sac,
        "cord": solids.cord,
        "aorta": solids.aorta,
        "piece": plan.piece,
        "nibbled": plan.nibbled,
        "bone": _together(tuple(solids.bone.values())),
        **solids.ribs,
    }
    return Scene(
        plan=plan,
        vertebra=computed.anatomy.vertebrae[plan.level],
        surfaces={name: surface for name, surface in maybe.items() if surface is not None},
        ct=ct,
        vertebrae=computed.anatomy.vertebrae,
        standing=_STANDING[choices.standing_side],
        hand=published_hand_error(),
    )


def _together(surfaces: tuple[TriangleSurface, ...]) -> TriangleSurface:
    """Several surfaces as one, for drawing."""
    import numpy as np

    starts = np.cumsum([0] + [len(s.vertices) for s in surfaces])
    return TriangleSurface(
        np.concatenate([s.vertices for s in surfaces]),
        np.concatenate([s.triangles + start for s, start in zip(surfaces, starts, strict=False)]),
    )
