"""Plan a case: anatomy, staging, resection, sheet; saved with the hashes of what went in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vertebloc.access import Ring
from vertebloc.case.choice_words import StandingSide
from vertebloc.case.choices import Choices
from vertebloc.case.provenance import Inputs
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.fluoroscopy import Projector
from vertebloc.reports import (
    Scene,
    plan_json,
    planning_pictures,
    published_hand_error,
)
from vertebloc.reports.access_pages import FRONT, OPENED_RING
from vertebloc.reports.carton import unfold
from vertebloc.reports.carton_layout import PAPER
from vertebloc.reports.carton_svg import carton_svg
from vertebloc.reports.cut_card_picture import BARE_VIEW, bare_view, half_width_mm
from vertebloc.reports.depth_picture import depth_picture
from vertebloc.reports.front_picture import front_picture_svg
from vertebloc.reports.ring_picture import ring_picture_svg
from vertebloc.reports.theatre_pages import CARTON, DEPTHS
from vertebloc.reports.travel_data import scene_of
from vertebloc.reports.travel_moments import moments_svg
from vertebloc.reports.way_out_pages import MOMENTS
from vertebloc.resection import ResectionPlan
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.workflow.beside import kept_beside
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.compute_plan import Prepared, plan_prepared, prepare_plan
from vertebloc.workflow.drawn_state import with_drawn
from vertebloc.workflow.kept_measures import keep_measures, key_of_measures
from vertebloc.workflow.load_case import (
    Restamper,
    load_choices,
    load_contours,
    load_ct,
    load_identity,
    print_sheet,
)
from vertebloc.workflow.measure_access import Access
from vertebloc.workflow.predict_fluoroscopy import plan_c_arm, predict_for_sheet
from vertebloc.workflow.saying import Say, say_nothing
from vertebloc.workflow.sheet_copy import renew_copy
from vertebloc.workflow.way_out import kept_way_out

_STANDING = {
    StandingSide.LEFT: Side.LEFT,
    StandingSide.RIGHT: Side.RIGHT,
    StandingSide.HEAD_UP: None,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanReport:
    """What was planned and where it lies."""

    document: Mapping[str, Any]
    plan_json: bytes
    sheet: Path
    plan_path: Path
    copy_without_identity: Path | None


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
    inputs = case.inputs(choices)
    say("reading the case")
    key = key_of_measures(case, choices)
    contours = load_contours(case)
    prepared = with_drawn(prepare_plan(contours, choices, say), case)
    keep_measures(case, choices, key, prepared)
    say("placing the cuts")
    plan, document, access = plan_prepared(
        prepared, choices, inputs, beside=kept_beside(case, inputs, choices)
    )
    say("drawing the sheet")
    scene = make_scene(prepared, plan, choices, load_ct(case))
    measured = (prepared, access)
    return save_plan(case, document, scene, measured, inputs=inputs, copy=without_identity)


def save_plan(
    case: CaseFolder,
    document: dict[str, Any],
    scene: Scene,
    measured: tuple[Prepared, Access],
    *,
    inputs: Inputs,
    copy: bool = False,
) -> PlanReport:
    """Draw the sheet of a computed plan and save it with its hashes, in one change.

    Parameters
    ----------
    case : CaseFolder
        Where to.
    document : dict
        Content of plan.json.
    scene : Scene
        What the pictures are drawn from.
    measured : tuple of (Prepared, Access)
        Staging, the tumour's distances for the carton; ring and front.
    inputs : Inputs
        What it was computed from.
    copy : bool
        Also write a copy of the sheet that does not name the person.

    Returns
    -------
    PlanReport
        Where the files lie.

    Raises
    ------
    InputError
        If the disk refuses.
    """
    prepared, access = measured
    pictures = planning_pictures(scene, prepared.staging)
    pictures |= _drawings(scene, prepared, document) | _access_drawings(scene, access)
    pictures |= _way_out_drawings(case, document)
    if scene.c_arm is not None and scene.ct is not None:
        pictures |= predict_for_sheet(Projector.of(scene.ct), scene.c_arm)
    sheet = print_sheet(document, pictures, load_identity(case))
    saved = plan_json(document)
    now = read_clock()
    with case.transaction(now=now, what="plan computed", restamp=Restamper(case)) as change:
        change.put_bytes("plan", "plan.json", saved)
        change.put_bytes("sheet", "planning-sheet.pdf", sheet)
        for name, picture in pictures.items():
            ending = "png" if picture.startswith(b"\x89PNG") else "svg"
            change.put_bytes("pictures", f"{name}.{ending}", picture)
        change.record_plan(inputs, document["code"])
    return PlanReport(
        document=document,
        plan_json=saved,
        sheet=case.path / "planning-sheet.pdf",
        plan_path=case.path / "plan.json",
        copy_without_identity=renew_copy(case, wanted=copy),
    )


def _drawings(scene: Scene, prepared: Prepared, document: Mapping[str, Any]) -> dict[str, bytes]:
    """The drawings of the sheet's further pages and of the cut cards."""
    carton = unfold(scene.plan, scene.vertebra, prepared.solids.tumour_field)
    return {
        CARTON: carton_svg(carton, PAPER).encode(),
        DEPTHS: depth_picture(scene.plan.depths, scene.vertebra).encode(),
        BARE_VIEW: bare_view(scene, half_width_mm(document)),
    }


def _access_drawings(scene: Scene, access: Access) -> dict[str, bytes]:
    """Ring and front, turned as the surgeon stands."""
    drawn = {}
    if isinstance(access.ring, Ring):
        drawn[OPENED_RING] = ring_picture_svg(access.ring, scene.standing).encode()
    if access.front.stations:
        drawn[FRONT] = front_picture_svg(access.front).encode()
    return drawn


def _way_out_drawings(case: CaseFolder, document: Mapping[str, Any]) -> dict[str, bytes]:
    """Six moments of the way that the answer rests on."""
    ledger = document.get("way_out", {}).get("ledger", ())
    kept = kept_way_out(case) if ledger else None
    if kept is None:
        return {}
    way = next(line["way"] for line in ledger if line["chosen"])
    return {MOMENTS: moments_svg(scene_of(kept, way), kept["ways"][way]).encode()}


def make_scene(prepared: Prepared, plan: ResectionPlan, choices: Choices, ct: Volume) -> Scene:
    """Collect what the pictures are drawn from.

    Parameters
    ----------
    prepared : Prepared
        Anatomy and solids.
    plan : ResectionPlan
        The plan.
    choices : Choices
        Where the surgeon stands.
    ct : Volume
        Hounsfield units.

    Returns
    -------
    Scene
        For ``planning_pictures``.
    """
    solids = prepared.solids
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
        vertebra=prepared.anatomy.vertebrae[plan.level],
        surfaces={name: surface for name, surface in maybe.items() if surface is not None},
        ct=ct,
        vertebrae=prepared.anatomy.vertebrae,
        standing=_STANDING[choices.standing_side],
        hand=published_hand_error(),
        c_arm=plan_c_arm(prepared.anatomy, solids, plan, choices),
    )


def _together(surfaces: tuple[TriangleSurface, ...]) -> TriangleSurface:
    """Several surfaces as one, for drawing."""
    import numpy as np

    starts = np.cumsum([0] + [len(s.vertices) for s in surfaces])
    return TriangleSurface(
        np.concatenate([s.vertices for s in surfaces]),
        np.concatenate([s.triangles + start for s, start in zip(surfaces, starts, strict=False)]),
    )
