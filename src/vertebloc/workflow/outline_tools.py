"""What is done to a whole outline of an open case: each act is saved, and can be taken back."""

from __future__ import annotations

from vertebloc.anatomy.structures import Contour
from vertebloc.errors import InputError
from vertebloc.outlining.bridging import bridge_slices
from vertebloc.outlining.finishing import finish_outline
from vertebloc.outlining.spreading import SpreadLimits, limits_of, spread_inside
from vertebloc.outlining.tidying import drop_crumbs, soften_edge
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import as_points
from vertebloc.workflow.drawing import Drawing
from vertebloc.workflow.first_drafts import DraftMaker

BRIDGED, SPREAD, FINISHED = "gap bridged", "let spread", "finished from strokes"
CRUMBS, SOFTENED = "crumbs dropped", "edge softened"


def bridge(drawing: Drawing, contour: Contour, normal: object, *, by: str) -> None:
    """Bridge the gaps between slices drawn in one direction.

    Parameters
    ----------
    drawing : Drawing
        Of the case.
    contour : Contour
        Which outline.
    normal : (3,) float64, -
        Of the drawn slices.
    by : str
        Who.

    Raises
    ------
    InputError
        If there is no gap, or the disk refuses.
    """
    direction = as_points(normal)[0]  # type: ignore[arg-type]
    mask = bridge_slices(drawing.outline(contour).mask, drawing.grid, direction)
    drawing.change(contour, mask, BRIDGED, by)


def suggested_limits(drawing: Drawing, contour: Contour, images: Volume) -> SpreadLimits:
    """Limits that an outline's own voxels suggest.

    Raises
    ------
    InputError
        If nothing is drawn yet.
    """
    return limits_of(drawing.outline(contour).mask, images)


def spread(
    drawing: Drawing, contour: Contour, images: Volume, limits: SpreadLimits, *, by: str
) -> None:
    """Let an outline spread inside limits.

    Raises
    ------
    InputError
        If nothing is drawn, nothing alike is joined to it, or the disk refuses.
    """
    now = drawing.outline(contour).mask
    mask = spread_inside(now, images, limits, drawing.fence(contour).without(now))
    if mask.is_same(now):
        raise InputError(
            f"nothing between {limits.low:.0f} and {limits.high:.0f} HU is joined to the outline "
            f"within {limits.reach_mm:g} mm: widen the limits"
        )
    drawing.change(contour, mask, SPREAD, by)


def finish(drawing: Drawing, contour: Contour, images: Volume, *, by: str) -> None:
    """Finish an outline from the strokes of the hand so far, up to the edges in the images.

    What was drawn by hand stays inside, what was rubbed out by hand and the fence stay outside; so
    that after a correction it can be finished again. An outline without a stroke is one itself.

    Raises
    ------
    InputError
        If nothing is drawn, or the disk refuses.
    """
    now = drawing.outline(contour)
    inside, outside = now.strokes()
    if inside.is_empty:
        inside = now.mask
    outside = outside.united(drawing.fence(contour)).without(inside)
    drawing.change(contour, finish_outline(inside, outside, images), FINISHED, by)


def crumbs(drawing: Drawing, contour: Contour, *, by: str) -> None:
    """Drop small pieces that lie apart.

    Raises
    ------
    InputError
        If there is none, or the disk refuses.
    """
    mask = drop_crumbs(drawing.outline(contour).mask, drawing.grid)
    drawing.change(contour, mask, CRUMBS, by)


def soften(drawing: Drawing, contour: Contour, at_most_mm: float, *, by: str) -> None:
    """Soften an outline's edge, moving it by no more than was said.

    Raises
    ------
    InputError
        If no voxel changes, or the disk refuses.
    """
    mask = soften_edge(drawing.outline(contour).mask, drawing.grid, at_most_mm)
    drawing.change(contour, mask, f"{SOFTENED} by at most {at_most_mm:g} mm", by)


def first_draft(
    drawing: Drawing, maker: DraftMaker, images: Volume, places: object, *, by: str
) -> tuple[Contour, ...]:
    """Have a first draft made of places pointed at; all of it is a draft.

    Parameters
    ----------
    drawing : Drawing
        Of the case.
    maker : DraftMaker
        What makes it.
    images : Volume
        Of which.
    places : (n, 3) float64, mm, patient LPS
        As many as the maker asks for.
    by : str
        Who pointed.

    Returns
    -------
    tuple of Contour
        What was drafted.

    Raises
    ------
    InputError
        If the number of places is another, it cannot be drafted, or the disk refuses.
    """
    points = as_points(places)  # type: ignore[arg-type]
    if len(points) != len(maker.places):
        raise InputError(
            f"the first draft of {maker.words} takes {len(maker.places)} places, got {len(points)}"
        )
    found = maker.make(images, points)
    for contour, mask in found.items():
        drawing.change(contour, mask, f"first draft of {maker.words}", by)
    return tuple(found)
