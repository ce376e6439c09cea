"""The drawing on a cut card: bone from behind as the surgeon stands, one cut, its landmarks.

The bone is rendered once a plan and kept; a card lays its own lines over it.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vertebloc.case.choice_words import StandingSide
from vertebloc.reports import palette
from vertebloc.reports.canvas import body_canvas, draw_hatched, mask_loops, png_bytes, show_colours
from vertebloc.reports.labels import mark_orientation
from vertebloc.reports.pictures import shaded
from vertebloc.reports.rendering import render_depth
from vertebloc.reports.scene import Scene
from vertebloc.reports.sheet_pages import SheetPicture
from vertebloc.space.frames import Frame
from vertebloc.space.views import View, screen_from_body

#: Name of the rendered bone among the plan's pictures.
BARE_VIEW = "card-ground"
#: Printed size, and half of the body's width that is shown at least, mm.
PRINTED_MM = (124.0, 50.0)
HALF_WIDTH_MM = 92.0
_RIM_MM = (5.0, 5.5)  #: at each edge of the print, where no landmark's ring may lie
_NAMES_MM = 6.5  #: from the picture's edge to the row of names: beside the names of the edges
_CLEAR_MM = 8.0  #: a ring so far from every name covers none
_ALT = (
    "bone from behind as the surgeon stands, with this cut and the landmarks it is measured from"
)
_VIEWS = {
    StandingSide.LEFT.value: View.THEATRE_STANDING_LEFT,
    StandingSide.RIGHT.value: View.THEATRE_STANDING_RIGHT,
    StandingSide.HEAD_UP.value: View.THEATRE_HEAD_UP,
}


def half_width_mm(document: Mapping[str, Any]) -> float:
    """Half of the body's width that the cards of a plan show.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    float, mm
        ``HALF_WIDTH_MM``, or more where a cut's landmark lies farther out.
    """
    theatre = document["theatre"]
    used = {one["landmark"] for entry in theatre["entries"] for one in entry["from"][:2]}
    places = [mark["lps_mm"] for mark in theatre["landmarks"] if mark["words"] in used]
    if not places:
        return HALF_WIDTH_MM
    room = (np.array(PRINTED_MM) / 2.0 - _RIM_MM) / (PRINTED_MM[0] / 2.0)
    return max(HALF_WIDTH_MM, float((np.abs(_seen(document, places)) / room).max()))


def bare_view(scene: Scene, half_width: float = HALF_WIDTH_MM) -> bytes:
    """Render the bone from behind, with tumour and the names of the edges.

    Parameters
    ----------
    scene : Scene
        What to draw.
    half_width : float, mm
        From ``half_width_mm`` of the same plan.

    Returns
    -------
    bytes
        PNG; its middle is the diseased body's.
    """
    view = scene.theatre_view
    screen = scene.screen_from_lps(view)
    canvas = body_canvas(PRINTED_MM, half_width, (0.0, 0.0))
    names = ("bone", *scene.plan.rib_fates, "sac", "tumour")
    seen = {
        name: render_depth(scene.surfaces[name], screen, canvas.field)
        for name in names
        if name in scene.surfaces
    }
    solid = {name: seen[name] for name in seen if name != "tumour"}
    show_colours(canvas, shaded(canvas, solid), zorder=0)
    if "tumour" in seen:
        draw_hatched(canvas, mask_loops(canvas.field, seen["tumour"].seen), alpha=0.45)
    mark_orientation(canvas, view)
    return png_bytes(canvas.figure)


def card_picture(
    document: Mapping[str, Any], cut: Mapping[str, Any], pictures: Mapping[str, bytes]
) -> SheetPicture | None:
    """Lay one cut and its landmarks over the rendered bone.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    cut : mapping
        One of its cuts.
    pictures : mapping of str to bytes
        The plan's drawings by name.

    Returns
    -------
    SheetPicture or None
        None if the bone was not rendered with this plan.
    """
    ground = pictures.get(BARE_VIEW)
    if ground is None:
        return None
    width, height = PRINTED_MM
    href = base64.b64encode(ground).decode()
    drawn = (*_names(document, cut), *_landmarks(document, cut), *_cut(document, cut))
    marks_drawn = "".join(drawn)
    drawing = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}">'
        f'<image width="{width}" height="{height}" preserveAspectRatio="none" '
        f'xlink:href="data:image/png;base64,{href}"/>{marks_drawn}</svg>'
    )
    return SheetPicture(drawing=drawing.encode(), width_mm=width, height_mm=height, words=_ALT)


def on_paper(document: Mapping[str, Any], places: Any) -> NDArray[np.float64]:
    """Where places lie on a card's picture.

    Parameters
    ----------
    document : mapping
        Content of plan.json: the diseased vertebra's frame, and where the surgeon stands.
    places : (n, 3) float64, mm, patient LPS
        Places.

    Returns
    -------
    (n, 2) float64, mm
        From the picture's upper left corner, to the right and down.
    """
    seen = _seen(document, places)
    scale = PRINTED_MM[0] / (2.0 * half_width_mm(document))
    return np.column_stack(
        (PRINTED_MM[0] / 2 + scale * seen[:, 0], PRINTED_MM[1] / 2 - scale * seen[:, 1])
    )


def _seen(document: Mapping[str, Any], places: Any) -> NDArray[np.float64]:
    """Places to the right and up from the diseased body's middle, as the surgeon sees it, mm."""
    theatre = document["theatre"]
    view = _VIEWS[theatre["standing"]]
    matrix = np.array(theatre["lps_from_vertebra"])
    local = (np.atleast_2d(places) - matrix[:, 3]) @ matrix[:, :3]
    return np.asarray(screen_from_body(view, Frame.VERTEBRA).points(local)[:, :2])


_HALO = f'stroke="{palette.NIGHT}" stroke-width="1.6"'


def _cut(document: Mapping[str, Any], cut: Mapping[str, Any]) -> list[str]:
    """Entry edge as a line, the entry as a dot; the blade as an arrow where it does not go in."""
    entry, edge = np.array(cut["entry_lps_mm"]), np.array(cut["entry_edge"])
    blade = np.array(cut["blade"])
    ends = on_paper(document, [entry - 9.0 * edge, entry + 9.0 * edge])
    middle, tip = on_paper(document, [entry, entry + 14.0 * blade])
    drawn = [_line(ends[0], ends[1], 1.1)]
    if np.linalg.norm(tip - middle) > 5.0:
        drawn.append(_arrow(middle, tip))
    x, y = middle
    drawn.append(
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.7" fill="{palette.BRIGHT}" '
        f'stroke="{palette.CUT_EDGE}" stroke-width="0.9"/>'
    )
    return drawn


def _line(start: NDArray[np.float64], stop: NDArray[np.float64], wide: float) -> str:
    way = f'x1="{start[0]:.2f}" y1="{start[1]:.2f}" x2="{stop[0]:.2f}" y2="{stop[1]:.2f}"'
    return (
        f'<line {way} stroke="{palette.NIGHT}" stroke-width="{wide + 0.9}"/>'
        f'<line {way} stroke="{palette.CUT_EDGE}" stroke-width="{wide}"/>'
    )


def _arrow(start: NDArray[np.float64], tip: NDArray[np.float64]) -> str:
    along = (tip - start) / np.linalg.norm(tip - start)
    across = np.array((-along[1], along[0]))
    wings = [tip - 2.6 * along + side * 1.4 * across for side in (1.0, -1.0)]
    points = " ".join(f"{x:.2f},{y:.2f}" for x, y in (tip, *wings))
    return _line(start, tip - 1.8 * along, 0.7) + (
        f'<polygon points="{points}" fill="{palette.CUT_EDGE}" stroke="{palette.NIGHT}" '
        'stroke-width="0.3"/>'
    )


def _names(document: Mapping[str, Any], cut: Mapping[str, Any]) -> list[str]:
    """Names of the vertebrae along the edge that this cut's landmarks leave free."""
    levels = document["theatre"].get("levels", ())  # none in plans of an older version
    if not levels:
        return []
    middles = on_paper(document, [one["lps_mm"] for one in levels])
    wide, high = PRINTED_MM
    if document["theatre"]["standing"] == StandingSide.HEAD_UP.value:
        edges = [np.array([(side, y) for _, y in middles]) for side in (wide - 11.0, 11.0)]
        is_seen = (middles[:, 1] > _NAMES_MM) & (middles[:, 1] < high - _NAMES_MM)
    else:
        edges = [np.array([(x, row) for x, _ in middles]) for row in (_NAMES_MM, high - _NAMES_MM)]
        is_seen = (middles[:, 0] > 4.0) & (middles[:, 0] < wide - 4.0)
    rings = [place for _, _, place in _numbered(document, cut)]
    chosen = max(edges, key=lambda places: _room(places[is_seen], rings))
    return [
        _word(place, one["level"], is_bold=one["level"] == document["level"])
        for place, one, seen in zip(chosen, levels, is_seen, strict=True)
        if seen
    ]


def _room(places: NDArray[np.float64], rings: Sequence[NDArray[np.float64]]) -> float:
    """How far the nearest ring lies from the nearest name; what is far enough is all the same."""
    apart = [float(np.linalg.norm(places - ring, axis=1).min()) for ring in rings if len(places)]
    return min([_CLEAR_MM, *apart])


def _word(place: NDArray[np.float64], said: str, *, is_bold: bool) -> str:
    colour = palette.BRIGHT if is_bold else palette.PALE
    return (
        f'<text x="{place[0]:.2f}" y="{place[1] + 1.2:.2f}" font-family="DejaVu Sans" '
        f'font-size="3.4" font-weight="{"bold" if is_bold else "normal"}" text-anchor="middle" '
        f'fill="{colour}" stroke="{palette.NIGHT}" stroke-width="0.7" paint-order="stroke">'
        f"{escape(said)}</text>"
    )


def _numbered(
    document: Mapping[str, Any], cut: Mapping[str, Any]
) -> list[tuple[int, str, NDArray[np.float64]]]:
    """Number, words and place on paper of the landmarks that a cut is measured from."""
    theatre = document["theatre"]
    places = {mark["words"]: mark["lps_mm"] for mark in theatre["landmarks"]}
    for entry in theatre["entries"]:
        if entry["cut"] == cut["name"]:
            words = [one["landmark"] for one in entry["from"][:2]]
            return [
                (n, said, on_paper(document, places[said])[0])
                for n, said in enumerate(words, start=1)
            ]
    return []


def _landmarks(document: Mapping[str, Any], cut: Mapping[str, Any]) -> list[str]:
    """The landmarks of this cut as numbered rings, with a thin line to the entry."""
    entry = on_paper(document, cut["entry_lps_mm"])[0]
    drawn = []
    for number, _, (x, y) in _numbered(document, cut):
        inward = 3.8 if y < PRINTED_MM[1] / 2 else -1.4  # not over the names of the edges
        way = f'x1="{x:.2f}" y1="{y:.2f}" x2="{entry[0]:.2f}" y2="{entry[1]:.2f}"'
        drawn.append(
            f'<line {way} stroke="{palette.BRIGHT}" stroke-width="0.5" stroke-dasharray="1.2 1"/>'
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.6" fill="none" {_HALO}/>'
            f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.6" fill="none" '
            f'stroke="{palette.BRIGHT}" stroke-width="0.7"/>'
            f'<text x="{x + 2.4:.2f}" y="{y + inward:.2f}" font-family="DejaVu Sans" '
            f'font-size="3.2" fill="{palette.BRIGHT}" stroke="{palette.NIGHT}" '
            f'stroke-width="0.7" paint-order="stroke">{escape(str(number))}</text>'
        )
    return drawn
