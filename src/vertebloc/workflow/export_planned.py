"""A plan as DICOM objects that lie in the study of its images: regions and the sheet."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from vertebloc.errors import InputError
from vertebloc.exchange.aside import write_folder_aside
from vertebloc.exchange.atomic import say_plainly
from vertebloc.exchange.dicom_objects import (
    OWN_SCHEME,
    AboutObject,
    ObjectSettings,
    Region,
    coded,
)
from vertebloc.exchange.dicom_pdf_write import write_pdf_object
from vertebloc.exchange.dicom_rtstruct_write import write_structures
from vertebloc.exchange.dicom_seg_write import write_segments
from vertebloc.exchange.masks import BoxedMask, boxed
from vertebloc.exchange.polygon_filling import fill_pixels
from vertebloc.reports import export_words as words
from vertebloc.resection.planned_regions import PlannedRegion, planned_regions
from vertebloc.space.grids import Grid
from vertebloc.space.slices import sections_on_slices
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.workflow.export_contours import ExportReport, object_settings
from vertebloc.workflow.load_case import load_ct
from vertebloc.workflow.planned_again import PlannedAgain, plan_again
from vertebloc.workflow.saying import Say, say_nothing

SEG, STRUCTURES, SHEET = "planned-seg.dcm", "planned-rtstruct.dcm", "planning-sheet.dcm"


def export_planned(case_dir: Path, folder: Path, *, say: Say = say_nothing) -> ExportReport:
    """Write piece, piecemeal bone, cuts and sheet as DICOM; the case is only read.

    Parameters
    ----------
    case_dir : Path
        A planned case.
    folder : Path
        Where to; must not exist yet, or be empty.
    say : callable
        Called before each long step.

    Returns
    -------
    ExportReport
        The files, and what must be known of them.

    Raises
    ------
    InputError
        If there is no current plan, or the folder holds something.
    """
    with say_plainly(f"write to {folder}"), write_folder_aside(folder) as aside:
        planned = plan_again(case_dir, say)
        say("writing the regions")
        settings = object_settings(planned.case)
        names = write_planned(planned, settings, aside)
    lines = [f"written: {folder / name}" for name in names]
    if not settings.study_uid:
        lines.append(words.NO_STUDY)
    lines += [f"CAUTION: {words.PLANNED}", *words.plan_cautions(planned.document)]
    lines.append(words.NAMES_THE_PERSON)
    return ExportReport(files=tuple(folder / name for name in names), lines=tuple(lines))


def write_planned(
    planned: PlannedAgain, settings: ObjectSettings, folder: Path
) -> tuple[str, ...]:
    """Write the objects of a plan.

    Parameters
    ----------
    planned : PlannedAgain
        The plan.
    settings : ObjectSettings
        Whose it is, and in which study it lies.
    folder : Path
        An empty folder.

    Returns
    -------
    tuple of str
        Names of the files.

    Raises
    ------
    InputError
        If the sheet in the case is of another plan.
    """
    document = planned.document
    printed = planned.case.json_of("plan")["code"] if planned.case.has("plan") else "none"
    if printed != planned.code:
        raise InputError(
            f"the sheet in the case carries the code {printed}, the plan is {planned.code}: "
            "write the sheet first"
        )
    prefix = words.file_prefix(document)
    grid = load_ct(planned.case).grid
    thick_mm = max(planned.choices.kerf_mm, float(grid.spacing_mm.max()))
    regions = as_regions(planned_regions(planned.plan, thick_mm=thick_mm), grid, thick_mm)
    about = AboutObject(
        label="PLANNED",
        description=words.object_description(document),
        series=words.object_series(document),
        algorithm="vertebloc",
    )
    write_segments(folder / f"{prefix}{SEG}", grid, regions, about, settings)
    write_structures(folder / f"{prefix}{STRUCTURES}", grid, regions, about, settings)
    sheet = (planned.case.path / "planning-sheet.pdf").read_bytes()
    title, series = words.sheet_title(document), words.sheet_series(document)
    write_pdf_object(folder / f"{prefix}{SHEET}", sheet, title, series, settings)
    return tuple(f"{prefix}{name}" for name in (SEG, STRUCTURES, SHEET))


def as_regions(
    planned: Sequence[PlannedRegion], grid: Grid, thick_mm: float
) -> tuple[Region, ...]:
    """Planned regions as an object of regions holds them.

    Parameters
    ----------
    planned : sequence of PlannedRegion
        Surfaces.
    grid : Grid
        Of the images.
    thick_mm : float, mm
        How thick the cuts were drawn.

    Returns
    -------
    tuple of Region
        Each named as planned.
    """
    return tuple(
        Region(
            words=words.region_label(one.name),
            description=words.region_description(one.name, thick_mm),
            category=coded("309825002", "Spatial and Relational Concept"),
            kind=coded(one.code, words.region_label(one.name), OWN_SCHEME),
            therapy_kind="",
            mask=mask_on_grid(one.surface, grid),
        )
        for one in planned
    )


def mask_on_grid(surface: TriangleSurface, grid: Grid) -> BoxedMask | None:
    """The voxels whose centres lie inside a closed surface.

    Parameters
    ----------
    surface : TriangleSurface
        Patient LPS.
    grid : Grid
        Of the images.

    Returns
    -------
    BoxedMask or None
        None if there is none.
    """
    inside = np.zeros(grid.shape, dtype=bool)
    for k, loops in sections_on_slices(surface, grid).items():
        inside[:, :, k] = fill_pixels(loops, (grid.shape[0], grid.shape[1]))
    return boxed(inside)
