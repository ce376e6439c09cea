"""Write the close faces of a case's plan as DICOM regions on its CT."""

from __future__ import annotations

from pathlib import Path

from vertebloc.errors import InputError
from vertebloc.exchange.atomic import say_plainly
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.dicom_close_faces import write_close_faces
from vertebloc.exchange.dicom_objects import ObjectSettings
from vertebloc.exchange.masks import BoxedMask
from vertebloc.reports.role_radiation import region_words
from vertebloc.resection.close_faces import REACH_MM, find_close_faces, voxels_near
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.compute_plan import plan_prepared, prepare_plan
from vertebloc.workflow.drawn_state import with_drawn
from vertebloc.workflow.kept_measures import find_measures, key_of_measures
from vertebloc.workflow.load_case import load_choices, load_contours, load_ct, load_identity
from vertebloc.workflow.role_sheets import FOLDER
from vertebloc.workflow.saying import Say, say_nothing

CLOSE_FACES = "close-faces-rtstruct.dcm"


def write_close_regions(case_dir: Path, *, say: Say = say_nothing) -> Path:
    """Compute the saved plan's close faces and write them as a structure set beside its sheets.

    Parameters
    ----------
    case_dir : Path
        A planned case.
    say : callable
        Called before each long step.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    InputError
        If there is no plan, it is out of date, or no face lies close.
    """
    case = CaseFolder.open(case_dir)
    again = f"vertebloc plan {case_dir}"
    if not case.has("plan"):
        raise InputError(f"{case_dir} holds no plan: make one with {again}")
    choices = load_choices(case)
    inputs = case.inputs(choices)
    reasons = case.stale_reasons(inputs)
    if reasons:
        raise InputError(f"the plan is OUT OF DATE ({'; '.join(reasons)}): {again}")
    say("finding the close faces")
    prepared = find_measures(case, key_of_measures(case, choices))
    if prepared is None:
        prepared = with_drawn(prepare_plan(load_contours(case), choices, say), case)
    plan, _, _ = plan_prepared(prepared, choices, inputs)
    vertebra = prepared.anatomy.vertebrae[prepared.level]
    close = find_close_faces(plan, vertebra, prepared.solids.tumour_field)
    if not close:
        raise InputError(
            f"no face is planned nearer to tumour than {plan.wanted_margin_mm:g} mm: there is "
            "nothing to write"
        )
    grid, document = load_ct(case).grid, case.json_of("plan")
    regions = []
    for face in close:
        start, inside = voxels_near(face.places, grid)
        words = region_words(document, face.name, face.margin_mm, REACH_MM)
        regions.append((face.name, words, BoxedMask(start=start, inside=inside)))
    folder = case.path / FOLDER
    with say_plainly(f"write {folder / CLOSE_FACES}"):
        folder.mkdir(exist_ok=True)
        write_close_faces(folder / CLOSE_FACES, grid, regions, _settings(case))
    return folder / CLOSE_FACES


def _settings(case: CaseFolder) -> ObjectSettings:
    facts = case.json_of("series") if case.has("series") else {}
    now = read_clock()
    return ObjectSettings(
        seed_text=f"{facts.get('series_uid', '')} close faces {now.isoformat()}",
        made_at=now,
        identity=load_identity(case),
        study_uid=str(facts.get("study_uid") or ""),
        study_id=str(facts.get("study_id") or ""),
        frame_of_reference_uid=str(facts.get("frame_of_reference_uid") or ""),
    )
