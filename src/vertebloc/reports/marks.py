"""What is written and drawn over a picture of the body: cuts, names, the weakest place."""

from __future__ import annotations

import numpy as np
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from vertebloc.reports import palette, picture_text
from vertebloc.reports.canvas import Canvas
from vertebloc.reports.labels import BAND_MM, EDGE_MM, around, label, place_label, words_box
from vertebloc.reports.scene import Scene
from vertebloc.reports.slicing import Loop, section_of_face
from vertebloc.resection.model import HalfCut
from vertebloc.space.frames import Side
from vertebloc.space.transforms import Transform

#: A cut that lies flatter in the picture than this (cosine) has no line to draw.
_FLAT = 0.35

#: A cut that does not run to the midline is drawn this long, mm.
_SHORT_CUT_MM = 12.0

#: Height of one line of words on pictures, and radius of the ring about the weakest place,
#: printed mm.
_LINE_MM = 4.0
_RING_MM = 13.0 * 25.4 / 72.0 / 2


def cut_line(
    cut: HalfCut, scene: Scene, screen_from_lps: Transform, depth_mm: float | None
) -> NDArray[np.float64] | None:
    """Where a half cut runs in a picture: from its entry along the blade to the midline.

    Parameters
    ----------
    cut : HalfCut
        The cut.
    scene : Scene
        Whose vertebra has the midline.
    screen_from_lps : Transform
        How the patient is looked at.
    depth_mm : float or None, mm
        Screen z of the picture's plane; None: at the entry's own depth.

    Returns
    -------
    (2, 2) float64 or None
        Entry and end in screen x and y, mm; None if the cut lies flat in the picture.
    """
    normal = screen_from_lps.vectors(cut.plane.normal)[0]
    on_plane = screen_from_lps.points(cut.plane.point)[0]
    entry = screen_from_lps.points(cut.entry)[0]
    steep = float(np.linalg.norm(normal[:2]))
    if steep < _FLAT:
        return None
    depth = entry[2] if depth_mm is None else depth_mm
    across = normal[:2] / steep
    along = np.array((-across[1], across[0]))
    blade = screen_from_lps.vectors(cut.blade)[0][:2]
    along = along if along @ blade >= 0 else -along
    offset = (normal @ (on_plane - (entry[0], entry[1], depth))) / steep
    start = entry[:2] + offset * across
    to_left = screen_from_lps.vectors(scene.vertebra.lps_from_vertebra.axis(0))[0][:2]
    middle = screen_from_lps.points(scene.vertebra.lps_from_vertebra.origin)[0][:2]
    speed = float(along @ to_left)
    length = float((middle - start) @ to_left) / speed if abs(speed) > _FLAT else 0.0
    return np.array((start, start + (length if length > 0 else _SHORT_CUT_MM) * along))


def draw_cuts(
    canvas: Canvas, scene: Scene, screen_from_lps: Transform, depth_mm: float | None
) -> None:
    """Draw the finite cut faces where the picture meets them, the cuts' lines and entries."""
    for face in scene.bone_faces:
        if face.face is None or face.face.is_empty:
            continue
        pieces = () if depth_mm is None else section_of_face(face.face, screen_from_lps, depth_mm)
        for piece in pieces:
            canvas.axes.plot(
                *piece.T, color=palette.CUT_ON_NIGHT, lw=2.6, zorder=8, solid_capstyle="butt"
            )
    for cut in scene.plan.cuts:
        line = cut_line(cut, scene, screen_from_lps, depth_mm)
        if line is not None:
            canvas.axes.plot(*line.T, color=palette.CUT_ON_NIGHT, lw=1.3, zorder=8.1)
            canvas.axes.plot(
                *line[0],
                "o",
                ms=5.5,
                mfc=palette.CUT,
                mec=palette.CUT_EDGE,
                mew=1.1,
                zorder=8.3,
            )


def name_cuts(
    canvas: Canvas,
    scene: Scene,
    screen_from_lps: Transform,
    depth_mm: float,
    keep_clear: tuple[Bbox, ...],
) -> None:
    """Write which body is cut, above each body cut."""
    tops: dict[str, tuple[float, float]] = {}
    for cut in scene.plan.cuts:
        line = cut_line(cut, scene, screen_from_lps, depth_mm)
        if line is None or cut.level == scene.plan.level:
            continue
        x, y = line[np.argmax(line[:, 1])]
        words = picture_text.cut_in(str(cut.level))
        if words not in tops or y > tops[words][1]:
            tops[words] = (float(x), float(y))
    # Beneath the levels' names, however wide the body is.
    _, _, _, top = canvas.field.extent_mm
    highest = top - canvas.paper(BAND_MM + 2 * _LINE_MM)
    for words, (x, y) in tops.items():
        place = (x, min(y + canvas.paper(_LINE_MM / 2 + 1.0), highest))
        place_label(canvas, around(canvas, place), words, keep_clear, color=palette.CUT_EDGE)


def name_levels(canvas: Canvas, scene: Scene, screen_from_lps: Transform) -> None:
    """Write each vertebra's name level with its body: along the upper edge, or head up, beside."""
    left, right, bottom, top = canvas.field.extent_mm
    y = top - canvas.paper(BAND_MM + _LINE_MM / 2)
    side, end = canvas.paper(4.0), canvas.paper(BAND_MM + _LINE_MM / 2)
    to_head = (screen_from_lps @ scene.vertebra.lps_from_vertebra).matrix[:2, 2]
    is_head_up = abs(to_head[1]) > abs(to_head[0])
    for level, vertebra in scene.vertebrae.items():
        middle = screen_from_lps.points(vertebra.lps_from_vertebra.origin)[0]
        if is_head_up:
            place = (right - canvas.paper(11.0), float(middle[1]))
            is_seen = bottom + end < middle[1] < top - end
        else:
            place = (float(middle[0]), y)
            is_seen = left + side < middle[0] < right - side
        if is_seen:
            diseased = level == scene.plan.level
            label(
                canvas,
                place,
                str(level),
                color=palette.BRIGHT if diseased else palette.PALE,
                fontweight="bold" if diseased else "normal",
            )


def name_area(
    canvas: Canvas, loops: tuple[Loop, ...], name: str, keep_clear: tuple[Bbox, ...] = ()
) -> None:
    """Write what an area is, at the middle of what is seen of its largest loop."""
    if not loops:
        return
    largest = max(loops, key=lambda loop: float(np.ptp(loop, axis=0).min()))
    left, right, bottom, top = canvas.field.extent_mm
    band, line = canvas.paper(BAND_MM), canvas.paper(_LINE_MM)
    free = Bbox.from_extents(left, bottom + band, right, top - band)
    seen = Bbox.intersection(free, Bbox.from_extents(*largest.min(axis=0), *largest.max(axis=0)))
    if seen is None or min(seen.width, seen.height) < line / 2:
        return
    x = float(np.clip((seen.x0 + seen.x1) / 2, free.x0 + 2 * line, free.x1 - 2 * line))
    y = float(np.clip((seen.y0 + seen.y1) / 2, free.y0 + line / 2, free.y1 - line / 2))
    place_label(canvas, around(canvas, (x, y)), picture_text.AREA_NAMES[name], keep_clear)


def name_rib(
    canvas: Canvas,
    scene: Scene,
    screen_from_lps: Transform,
    loops: tuple[Loop, ...],
    words: str,
) -> None:
    """Write a rib's fate beside its outer end, kept inside the picture."""
    if not loops:
        return
    points = np.concatenate(loops)
    middle = screen_from_lps.points(scene.vertebra.lps_from_vertebra.origin)[0][:2]
    to_left = screen_from_lps.vectors(scene.vertebra.lps_from_vertebra.axis(0))[0][:2]
    outer = points[np.argmax(np.abs((points - middle) @ to_left))]
    left, right, bottom, top = canvas.field.extent_mm
    side, end = canvas.paper(10.0), canvas.paper(BAND_MM + _LINE_MM)
    x = float(np.clip(outer[0], left + side, right - side))
    y = float(np.clip(outer[1], bottom + end, top - end))
    place_label(canvas, around(canvas, (x, y)), words, linespacing=1.05)


def name_open_side(canvas: Canvas, scene: Scene, screen_from_lps: Transform) -> None:
    """Write on which side the ring is opened, in a corner of that side."""
    to_left = screen_from_lps.vectors(scene.vertebra.lps_from_vertebra.axis(0))[0]
    sign = 1.0 if scene.plan.open_side is Side.LEFT else -1.0
    at_picture_left = to_left[0] * sign < 0
    left, right, bottom, top = canvas.field.extent_mm
    low = bottom + canvas.paper(BAND_MM + _LINE_MM + 0.6)
    high = top - canvas.paper(BAND_MM + _LINE_MM + 0.6)
    places = []
    for inset_mm in (EDGE_MM, EDGE_MM + 4.5):  # beside the edge's words if not at the edge
        inset = canvas.paper(inset_mm)
        x = left + inset if at_picture_left else right - inset
        places += [(x, low), (x, high)]
    place_label(
        canvas,
        places,
        picture_text.arch_opened(scene.plan.open_side),
        ha="left" if at_picture_left else "right",
        color=palette.CUT_EDGE,
        linespacing=1.1,
    )


def ring_weakest(
    canvas: Canvas,
    scene: Scene,
    screen_from_lps: Transform,
    depth_mm: float,
    keep_clear: tuple[Loop, ...],
) -> tuple[Bbox, ...]:
    """Ring the place where a bone cut comes closest to tumour, with its number and the cut.

    Parameters
    ----------
    canvas : Canvas
        Picture, with the words on it that do not move.
    scene : Scene
        Whose plan has the bone faces.
    screen_from_lps : Transform
        How the patient is looked at.
    depth_mm : float, mm
        Screen z of the picture's plane.
    keep_clear : tuple of loops
        Areas that the words should not cover, such as the tumour.

    Returns
    -------
    tuple of Bbox, mm
        Where the ring is, for other words to keep clear of; empty without a bone face.
    """
    face = scene.weakest_bone_face
    if face is None:
        return ()
    x, y, z = screen_from_lps.points(face.weakest)[0]
    canvas.axes.plot(x, y, "o", ms=13, mfc="none", mec="#ffffff", mew=1.5, zorder=9)
    radius = canvas.paper(_RING_MM)
    ring = Bbox.from_extents(x - radius, y - radius, x + radius, y + radius)
    clear = [ring]
    clear += [Bbox.from_extents(*loop.min(axis=0), *loop.max(axis=0)) for loop in keep_clear]
    lines = (
        *picture_text.nearest_on_picture(face.margin_mm, face.name),
        picture_text.off_slice(z - depth_mm),
    )
    left, right, bottom, top = canvas.field.extent_mm
    height = canvas.paper(BAND_MM + 1.6 * _LINE_MM + 0.6)
    step = canvas.paper(3.0)
    places = [
        (place_x, place_y)
        for place_y in (bottom + height, top - height - canvas.paper(_LINE_MM))
        for place_x in np.arange(left + step, right, step)
    ]
    places.sort(key=lambda place: float(np.hypot(place[0] - x, place[1] - y)))
    written = place_label(
        canvas,
        places,
        "\n".join(lines),
        keep_clear=clear,
        color="#ffffff",
        linespacing=1.1,
    )
    box = words_box(written)
    near = np.array((np.clip(x, box.x0, box.x1), np.clip(y, box.y0, box.y1)))
    towards = near - (x, y)
    length = max(float(np.linalg.norm(towards)), 1e-9)
    rim = np.array((x, y)) + towards / length * radius
    canvas.axes.plot(*np.array((rim, near)).T, color="#ffffff", lw=0.9, zorder=9)
    return (ring,)
