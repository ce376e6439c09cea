"""Write the close faces of a case's plan as DICOM regions on its CT."""

from __future__ import annotations

from pathlib import Path

from vertebloc.errors import InputError
from vertebloc.exchange.atomic import say_plainly
from vertebloc.exchange.dicom_objects import OWN_SCHEME, AboutObject, Region, coded
from vertebloc.exchange.dicom_rtstruct_write import write_structures
from vertebloc.exchange.masks import BoxedMask
from vertebloc.reports import export_words
from vertebloc.reports.role_radiation import region_words
from vertebloc.resection.close_faces import REACH_MM, find_close_faces, voxels_near
from vertebloc.workflow.export_contours import object_settings
from vertebloc.workflow.load_case import load_ct
from vertebloc.workflow.planned_again import plan_again
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
        If there is no plan, it is out of date or comes out otherwise, or no face lies close.
    """
    planned = plan_again(case_dir, say)
    prepared, plan, document = planned.prepared, planned.plan, planned.document
    say("finding the close faces")
    vertebra = prepared.anatomy.vertebrae[prepared.level]
    close = find_close_faces(plan, vertebra, prepared.solids.tumour_field)
    if not close:
        raise InputError(
            f"no face is planned nearer to tumour than {plan.wanted_margin_mm:g} mm: there is "
            "nothing to write"
        )
    grid, regions = load_ct(planned.case).grid, []
    for face in close:
        start, inside = voxels_near(face.places, grid)
        words = region_words(document, face.name, face.margin_mm, REACH_MM)
        regions.append(close_region(face.name, words, BoxedMask(start=start, inside=inside)))
    about = AboutObject(
        label="CLOSE FACES",
        description=export_words.object_description(document),
        series=export_words.object_series(document),
        algorithm="vertebloc",
    )
    folder = planned.case.path / FOLDER
    with say_plainly(f"write {folder / CLOSE_FACES}"):
        folder.mkdir(exist_ok=True)
        settings = object_settings(planned.case)
        write_structures(folder / CLOSE_FACES, grid, regions, about, settings)
    return folder / CLOSE_FACES


def close_region(name: str, sentence: str, mask: BoxedMask) -> Region:
    """The surroundings of one close face, named as planned.

    Parameters
    ----------
    name : str
        Of the face.
    sentence : str
        What must be known of it.
    mask : BoxedMask
        Its voxels.

    Returns
    -------
    Region
        For a structure set.
    """
    label = f"PLANNED close face: {name}"[:64]
    return Region(
        words=label,
        description=sentence[:1024],
        category=coded("309825002", "Spatial and Relational Concept"),
        kind=coded("close-face", label, OWN_SCHEME),
        therapy_kind="CONTROL",
        mask=mask,
    )
