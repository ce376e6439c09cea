"""Compute a plan from contours and choices: the costly part once, the rest at each choice."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from vertebloc.anatomy import describe_anatomy
from vertebloc.anatomy.confirming import judge_confirmation
from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy
from vertebloc.anatomy.owners import Owners, find_owners
from vertebloc.case.choices import Choices
from vertebloc.case.level_choice import LevelChoice
from vertebloc.case.provenance import Inputs, canonical_bytes
from vertebloc.case.short_code import short_code
from vertebloc.case.theatre_choice import TheatreChoice
from vertebloc.errors import InputError
from vertebloc.reports import PlanOrigin, plan_document
from vertebloc.reports.access_document import add_access
from vertebloc.reports.access_text import CODE_PENDING
from vertebloc.reports.beside_document import NOTHING_BESIDE, KeptBeside, add_beside
from vertebloc.reports.c_arm_document import c_arm_document
from vertebloc.reports.owners_words import owners_document
from vertebloc.resection import ResectionPlan, ResectionSolids, collect_solids, plan_resection
from vertebloc.resection.piece import BoneSolids
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.tubes import join_surfaces, tube_surface
from vertebloc.staging import Staging, StagingSettings, stage_tumour, tumour_side
from vertebloc.staging.model import SideShare
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.measure_access import (
    Access,
    AccessGround,
    measure_access,
    prepare_access,
)
from vertebloc.workflow.plan_day import plan_day
from vertebloc.workflow.predict_fluoroscopy import plan_c_arm
from vertebloc.workflow.saying import Say
from vertebloc.workflow.team_words import has_tract, team_assumptions
from vertebloc.workflow.tumour_checks import check_outline, check_place

#: What the short code does not stand for: itself, the time, and words made from the rest.
NOT_IN_CODE = ("code", "made_at", "stale", "answer", "answer_parts")
SOURCES = ("Cartiaux 2010: mean location error of free-hand cuts, drawn as a bracket",)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Prepared:
    """What stays the same while cuts move: anatomy, solids and staging of one level."""

    level: Level
    contour_error_mm: float
    levels: tuple[str, ...]  #: as chosen; empty: the diseased one only
    anatomy: Anatomy
    solids: ResectionSolids
    staging: Staging
    tumour_side: SideShare
    access: AccessGround
    has_tract: bool
    owners: Owners
    strands: Mapping[str, TriangleSurface]  #: roots and segmental vessels to draw, by kind
    drafts: tuple[str, ...] = ()  #: outlines that nobody has confirmed, in words
    drawn_hash: str = ""  #: of the drawn outlines it was measured on; empty: none
    notes: tuple[str, ...] = ()  #: what the outlines leave to be said, one sentence each

    def serves(self, choices: Choices) -> bool:
        """Whether choices can be planned on it, or need it made anew.

        Parameters
        ----------
        choices : Choices
            The team's choices.

        Returns
        -------
        bool
            False once other levels or another contour error were chosen.
        """
        chosen = choices.level.diseased
        return (not chosen or Level.parse(chosen) == self.level) and (
            choices.contour_error_mm,
            choices.levels,
        ) == (self.contour_error_mm, self.levels)


def prepare_plan(contours: ContourSet, choices: Choices, say: Say) -> Prepared:
    """Measure everything that a plan stands on and no cut changes.

    Parameters
    ----------
    contours : ContourSet
        All outlines.
    choices : Choices
        Names the level and the contour error.
    say : callable
        Called before each long step.

    Returns
    -------
    Prepared
        For ``plan_prepared``.

    Raises
    ------
    InputError
        If the contours do not suffice.
    """
    notes = check_outline(contours)
    say("finding canal, vertebrae and ribs")
    chosen = Level.parse(choices.level.diseased) if choices.level.diseased else None
    anatomy = describe_anatomy(contours, diseased=chosen)
    level = chosen or _diseased(anatomy)
    team_assumptions(anatomy, choices, tract=False)  # contradicting sides are refused early
    say("measuring tumour and bone")
    solids = collect_solids(contours, anatomy, level, choices.levels)
    check_place(contours, solids)
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
    owners = find_owners(contours, anatomy)
    side = tumour_side(
        vertebra=anatomy.vertebrae[level],
        tumour=solids.tumour_field,
        tumour_extent=solids.tumour_extent,
        settings=settings,
    )
    say("unrolling the ring, looking at the front")
    access = prepare_access(contours, anatomy, solids, choices.contour_error_mm)
    return Prepared(
        level=level,
        contour_error_mm=choices.contour_error_mm,
        levels=choices.levels,
        anatomy=anatomy,
        solids=solids,
        staging=staging,
        tumour_side=side,
        access=access,
        has_tract=has_tract(contours),
        owners=owners,
        strands=_strand_surfaces(owners),
        notes=notes,
    )


def _strand_surfaces(owners: Owners) -> dict[str, TriangleSurface]:
    """Tubes to draw: roots and vessels apart, and what is modelled apart from what is drawn."""
    tubes: dict[str, list[TriangleSurface]] = {}
    for name, strands in (("root", owners.roots), ("segmental", owners.segmental_vessels)):
        for one in strands:
            kind = f"{name} modelled" if one.modelled else name
            tubes.setdefault(kind, []).append(tube_surface(one.lps_mm, one.radius_mm))
    return {kind: join_surfaces(each) for kind, each in tubes.items()}


def same_resection(one: Choices, other: Choices) -> bool:
    """Whether two choices cut alike: they differ at most in the level's count and the day.

    Parameters
    ----------
    one, other : Choices
        The team's choices.

    Returns
    -------
    bool
        True if the piece and all that is measured on it are the same.
    """
    level = LevelChoice(diseased=other.level.diseased)
    return one.level.diseased == other.level.diseased and replace(
        one, level=level, other_counts=(), theatre=TheatreChoice()
    ) == replace(other, level=level, other_counts=(), theatre=TheatreChoice())


def plan_prepared(
    prepared: Prepared,
    choices: Choices,
    inputs: Inputs,
    plan: ResectionPlan | None = None,
    beside: KeptBeside = NOTHING_BESIDE,
) -> tuple[ResectionPlan, dict[str, Any], Access]:
    """Place the cuts and measure the piece, the ring and the front.

    Parameters
    ----------
    prepared : Prepared
        From ``prepare_plan``.
    choices : Choices
        The team's choices.
    inputs : Inputs
        Hashes of what went in.
    plan : ResectionPlan or None
        The plan of choices that cut alike, if it is at hand already.
    beside : KeptBeside
        What is kept with the case and computed apart from the plan.

    Returns
    -------
    tuple of (ResectionPlan, dict, Access)
        The plan, the content of plan.json, and ring and front for their pictures.

    Raises
    ------
    InputError
        If choices contradict each other or the anatomy.
    NoSolutionError
        If the cuts free no piece, or one that locks.
    """
    plan = plan_cuts(prepared, choices, plan=plan)
    access = measure_access(
        prepared.access, prepared.anatomy, prepared.solids, prepared.staging, plan, choices
    )
    return plan, document_of(prepared, choices, inputs, plan, access, beside), access


def plan_cuts(
    prepared: Prepared,
    choices: Choices,
    bones: BoneSolids | None = None,
    plan: ResectionPlan | None = None,
) -> ResectionPlan:
    """Place the cuts and measure the piece, without ring and front.

    Parameters
    ----------
    prepared : Prepared
        From ``prepare_plan``.
    choices : Choices
        The team's choices.
    bones : BoneSolids or None
        The bones ready for cutting, if they are at hand already.
    plan : ResectionPlan or None
        The plan of choices that cut alike, if it is at hand already.

    Returns
    -------
    ResectionPlan
        Cuts, faces, piece, depths.

    Raises
    ------
    InputError
        If choices contradict each other or the anatomy.
    NoSolutionError
        If the cuts free no piece, or one that locks.
    """
    team_assumptions(prepared.anatomy, choices, tract=prepared.has_tract)  # refuses contradictions
    return plan or plan_resection(
        anatomy=prepared.anatomy,
        solids=prepared.solids,
        choices=choices,
        level=prepared.level,
        bones=bones,
    )


def document_of(
    prepared: Prepared,
    choices: Choices,
    inputs: Inputs,
    plan: ResectionPlan,
    access: Access | None,
    beside: KeptBeside,
) -> dict[str, Any]:
    """Put a plan together as plan.json holds it.

    Parameters
    ----------
    prepared : Prepared
        From ``prepare_plan``.
    choices : Choices
        The team's choices.
    inputs : Inputs
        Hashes of what went in.
    plan : ResectionPlan
        From ``plan_cuts``.
    access : Access or None
        Ring and front; None: they are still being measured.
    beside : KeptBeside
        What is kept with the case and computed apart from the plan.

    Returns
    -------
    dict
        Content of plan.json. Without ring and front it is for the screen only and has no code
        yet: the code stands for all of it.

    Raises
    ------
    InputError
        If a number is not finite, or left and right contradict each other.
    """
    if access is None:
        return add_beside(_document(prepared, choices, inputs, plan, CODE_PENDING), beside)
    document = _document(prepared, choices, inputs, plan, "-")
    document = add_access(document, access.ring, access.front)
    document["theatre"] = plan_day(prepared.anatomy, prepared.solids, plan, choices)
    document["c_arm"] = c_arm_document(
        plan_c_arm(prepared.anatomy, prepared.solids, plan, choices),
        judge_confirmation(prepared.anatomy, prepared.level, choices),
    )
    document = add_beside(document, beside)
    code = short_code(canonical_bytes(document, leave_out=NOT_IN_CODE))
    return {**document, "code": code}


def _document(
    prepared: Prepared, choices: Choices, inputs: Inputs, plan: ResectionPlan, code: str
) -> dict[str, Any]:
    anatomy = prepared.anatomy
    said = team_assumptions(anatomy, choices, tract=prepared.has_tract)
    document = plan_document(
        plan=plan,
        staging=prepared.staging,
        anatomy=anatomy,
        confirmation=judge_confirmation(anatomy, prepared.level, choices),
        tumour_side=prepared.tumour_side,
        origin=PlanOrigin(
            made_at=read_clock(),
            code=code,
            inputs=inputs.as_dict(),
            drafts=prepared.drafts,
            sources=SOURCES,
            assumptions=(*said, *prepared.notes, *anatomy.warnings),
        ),
    )
    document["owners"] = owners_document(prepared.owners)
    return document


def _diseased(anatomy: Anatomy) -> Level:
    for level, vertebra in anatomy.vertebrae.items():
        if vertebra.frame_from_neighbours:
            return level
    raise InputError(
        "the diseased vertebra is not known: set diseased under [level] in choices.toml"
    )
