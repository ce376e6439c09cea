"""Read back what a case folder holds."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from vertebloc.anatomy.contours import ContourSet, LabelMap
from vertebloc.anatomy.structures import Contour
from vertebloc.case.choices import Choices
from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.choices_file import read_choices
from vertebloc.exchange.drawn_outlines import read_drawn, read_drawn_states
from vertebloc.exchange.nifti import read_nifti_labels, read_nifti_volume
from vertebloc.exchange.surface_files import read_surfaces
from vertebloc.outlining.overlay import lay_over
from vertebloc.outlining.record import OutlineState, is_planned_on
from vertebloc.reports import planning_sheet
from vertebloc.reports.theatre_pages import further_pages
from vertebloc.space.grids import Volume
from vertebloc.space.surfaces import TriangleSurface


def load_contours(case: CaseFolder) -> ContourSet:
    """All outlines of a case.

    Raises
    ------
    InputError
        If the case has none yet.
    """
    labels: LabelMap | None = None
    surfaces: Mapping[Contour, TriangleSurface] = {}
    if case.has("labels"):
        labels, _ = read_nifti_labels(case.path_of("labels"), case.path_of("names"))
    elif case.has("surfaces"):
        surfaces = read_surfaces(case.path_of("surfaces") / "names.json")[0]
    if case.has("drawn"):
        grid = labels.volume.grid if labels is not None else load_ct(case).grid
        drawn = {one.contour: one.mask for one in read_drawn(case, grid).values()}
        planned = {c: mask for c, mask in drawn.items() if is_planned_on(c)}
        labels = lay_over(labels, grid, planned)
        surfaces = {c: surface for c, surface in surfaces.items() if c not in drawn}
    if labels is not None or surfaces:
        return ContourSet(labels, surfaces)
    raise InputError(
        f"{case.path} holds no contours yet: import them with "
        "vertebloc import SOURCE --case DIR --labels FILE --names FILE"
    )


def load_drafts(case: CaseFolder) -> tuple[str, ...]:
    """Outlines a plan stands on that were drawn here and confirmed by nobody, in words."""
    if not case.has("drawn"):
        return ()
    return tuple(
        contour.words
        for contour, state in read_drawn_states(case).items()
        if state is OutlineState.DRAFT and is_planned_on(contour)
    )


def load_ct(case: CaseFolder) -> Volume:
    """The CT of a case."""
    return read_nifti_volume(case.path_of("ct"))


def load_choices(case: CaseFolder) -> Choices:
    """The team's choices; a mistake names its line."""
    return read_choices(case.choices_text())


def load_identity(case: CaseFolder) -> Identity:
    """The person; blank if the images said nothing."""
    return case.identity() if case.has("identity") else Identity()


def load_pictures(case: CaseFolder) -> dict[str, bytes]:
    """The plan's pictures, PNG and SVG, by name; empty if none were drawn."""
    if not case.has("pictures"):
        return {}
    folder: Path = case.path_of("pictures")
    drawn = (path for path in sorted(folder.iterdir()) if path.suffix in (".png", ".svg"))
    return {path.stem: path.read_bytes() for path in drawn}


def print_sheet(
    document: Mapping[str, Any], pictures: Mapping[str, bytes], identity: Identity | None
) -> bytes:
    """The whole sheet as PDF: the planning page and what follows it."""
    return planning_sheet(document, pictures, identity, further=further_pages(document, pictures))


class Restamper:
    """Writes a case's sheet anew from its plan, for instance with an out-of-date band."""

    def __init__(self, case: CaseFolder) -> None:
        self._identity = load_identity(case)
        self._pictures = load_pictures(case)

    def __call__(self, document: dict[str, Any]) -> bytes:
        """The sheet as PDF."""
        return print_sheet(document, self._pictures, self._identity)
