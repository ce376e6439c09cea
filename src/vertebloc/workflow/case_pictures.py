"""What images and contours a case holds, without computing anything on them."""

from __future__ import annotations

from pathlib import Path

from vertebloc.anatomy.structures import Contour
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.drawn_outlines import read_drawn_states
from vertebloc.exchange.names_file import NamesFile, read_names_file
from vertebloc.exchange.nifti import read_nifti_sizes
from vertebloc.outlining.record import is_planned_on
from vertebloc.reports.page_views import PageView, empty_view, pictures_view
from vertebloc.workflow.load_case import load_identity


def describe_pictures(case_dir: Path) -> PageView:
    """Say whose case this is and what it holds; fast, since no voxel is read.

    Parameters
    ----------
    case_dir : Path
        The case folder; need not exist.

    Returns
    -------
    PageView
        The first page.

    Raises
    ------
    InputError
        If the case is damaged.
    """
    if not CaseFolder.is_case(case_dir):
        return empty_view()
    case = CaseFolder.open(case_dir)
    if not case.has("ct"):
        return empty_view()
    sizes, spacing_mm = read_nifti_sizes(case.path_of("ct"))
    return pictures_view(
        identity=load_identity(case),
        sizes=sizes,
        spacing_mm=spacing_mm,
        facts=case.json_of("series"),
        contours=frozenset(_named(case)),
    )


def _named(case: CaseFolder) -> tuple[Contour, ...]:
    drawn = tuple(read_drawn_states(case)) if case.has("drawn") else ()
    return (*_imported(case), *(contour for contour in drawn if is_planned_on(contour)))


def _imported(case: CaseFolder) -> tuple[Contour, ...]:
    names: NamesFile
    if case.has("labels"):
        names = read_names_file(case.path_of("names"))
    elif case.has("surfaces"):
        names = read_names_file(case.path_of("surfaces") / "names.json")
    else:
        return ()
    drawn = tuple(contour for several in names.labels.values() for contour in several)
    return (*drawn, *(contour for _, contour in names.surfaces))
