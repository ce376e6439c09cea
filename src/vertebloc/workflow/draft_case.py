"""Have a first draft made in a case that is not open in a browser."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.space.grids import Grid
from vertebloc.workflow.drawing import Drawing
from vertebloc.workflow.first_drafts import maker_named
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.outline_tools import first_draft
from vertebloc.workflow.saying import Say, say_nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftReport:
    """What was drafted, in lines for people."""

    lines: tuple[str, ...]


def draft_case(
    case_dir: Path, what: str, places: Sequence[str], *, by: str = "", say: Say = say_nothing
) -> DraftReport:
    """Draft one structure of a case; the outline is a draft until a named person confirms it.

    Parameters
    ----------
    case_dir : Path
        The case folder.
    what : str
        Such as ``vertebra of T8`` or ``aorta``.
    places : sequence of str
        Voxels of the CT as ``i,j,k``, counted from 0; as many as the structure needs.
    by : str
        Who pointed; empty: nobody said.
    say : callable
        Called before each long step.

    Returns
    -------
    DraftReport
        What was drafted and how large it is.

    Raises
    ------
    InputError
        If a place is none, the draft cannot be made, or the case cannot be written.
    """
    maker = maker_named(what)
    case = OpenCase.open(case_dir)
    try:
        images = case.ct
        points = np.array([_point(text, images.grid) for text in places]).reshape(-1, 3)
        drawing = Drawing.open(case, images.grid)
        say(f"drafting: {maker.words}")
        found = first_draft(drawing, maker, images, points, by=by)
        lines = []
        for contour in found:
            ml = drawing.outline(contour).mask.count * images.grid.voxel_volume_mm3 * 1e-3
            lines.append(f"{contour.words}: {ml:.1f} ml, a DRAFT: correct it, then confirm it")
        return DraftReport(lines=tuple(lines))
    finally:
        case.close()


def _point(text: str, grid: Grid) -> NDArray[np.float64]:
    """A voxel's centre in patient LPS."""
    try:
        index = np.array([float(part) for part in text.split(",")])
    except ValueError as error:
        raise InputError(f"a place must be i,j,k such as 250,280,60; got {text!r}") from error
    if index.shape != (3,) or np.any(index < 0) or np.any(index > np.array(grid.shape) - 1.0):
        sizes = " x ".join(map(str, grid.shape))
        raise InputError(
            f"a place must be three numbers i,j,k within {sizes} voxels, counted from 0; "
            f"got {text!r}"
        )
    return np.asarray(grid.lps_from_ijk.points(index)[0])
