"""The planning sheet's pictures of the body, each a PNG in theatre view."""

from __future__ import annotations

import numpy as np
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from vertebloc.reports import marks, palette, picture_text
from vertebloc.reports.canvas import (
    Canvas,
    body_canvas,
    draw_area,
    draw_dotted,
    draw_hatched,
    mask_loops,
    png_bytes,
    show_colours,
    show_grey,
)
from vertebloc.reports.labels import BAND_MM, mark_orientation
from vertebloc.reports.rendering import DepthPicture, render_depth
from vertebloc.reports.scene import Scene
from vertebloc.reports.slicing import Loop, reslice, section_loops
from vertebloc.resection.model import RibFate
from vertebloc.space.transforms import Transform
from vertebloc.space.views import View

#: Hounsfield units drawn as the ground and as pale: bone and soft tissue both show.
_WINDOW_HU = (-450.0, 1250.0)

#: Thickness of the coronal slab.
_SLAB_MM = 3.0

#: Room kept about tumour and entries, printed mm.
_AROUND_MM = 2.0

#: Half of the body's width that each picture shows, mm, unless the tumour needs more.
_CORONAL_HALF_WIDTH_MM = 76.0
_CROSS_HALF_WIDTH_MM = 50.0
_BEHIND_HALF_WIDTH_MM = 80.0

#: The coronal picture's middle in the body, mm.
_CORONAL_CENTRE_MM = -1.5

#: In the cross-section, the picture's middle lies this far behind the body's middle, mm.
_CROSS_CENTRE_BACK_MM = 4.0


def coronal_picture(scene: Scene, printed_mm: tuple[float, float] = (122.0, 60.0)) -> bytes:
    """Slab through the tumour in the diseased vertebra's coronal plane, as the surgeon stands.

    Parameters
    ----------
    scene : Scene
        What to draw.
    printed_mm : (float, float), mm
        Width and height on paper.

    Returns
    -------
    bytes
        PNG. Standing at the patient's left: head at the picture's left, patient's left below.
    """
    view = scene.theatre_view
    screen_from_lps = scene.screen_from_lps(view)
    canvas = _canvas_for_plan(
        scene, view, printed_mm, _CORONAL_HALF_WIDTH_MM, (0.0, _CORONAL_CENTRE_MM)
    )
    vertebra = scene.vertebra
    # Screen z runs to the back, as the vertebra's y; the slab stays inside the body.
    middle = float(screen_from_lps.points(scene.tumour_middle)[0, 2])
    depth = float(np.clip(middle, vertebra.anterior_wall_mm + 4, vertebra.posterior_wall_mm - 4))
    loops = _draw_slice(canvas, scene, screen_from_lps, depth, _SLAB_MM)
    marks.draw_cuts(canvas, scene, screen_from_lps, depth)
    mark_orientation(canvas, view, "" if scene.standing is None else picture_text.YOU_STAND_HERE)
    marks.name_levels(canvas, scene, screen_from_lps)
    ring = marks.ring_weakest(canvas, scene, screen_from_lps, depth, loops.get("tumour", ()))
    marks.name_cuts(canvas, scene, screen_from_lps, depth, ring)
    _name_areas(canvas, loops, ring)
    return png_bytes(canvas.figure)


def cross_section_picture(scene: Scene, printed_mm: tuple[float, float] = (66.0, 60.0)) -> bytes:
    """Cross-section through the tumour, perpendicular to the canal, back of the patient up.

    Parameters
    ----------
    scene : Scene
        What to draw.
    printed_mm : (float, float), mm
        Width and height on paper.

    Returns
    -------
    bytes
        PNG. Seen from the feet, patient's left at the picture's left.
    """
    view = View.THEATRE_CROSS_SECTION
    screen_from_lps = scene.screen_from_lps(view)
    canvas = _canvas_for_plan(
        scene, view, printed_mm, _CROSS_HALF_WIDTH_MM, (0.0, _CROSS_CENTRE_BACK_MM)
    )
    depth = float(screen_from_lps.points(scene.tumour_middle)[0, 2])
    loops = _draw_slice(canvas, scene, screen_from_lps, depth, 0.0)
    marks.draw_cuts(canvas, scene, screen_from_lps, depth)
    mark_orientation(canvas, view)
    _name_areas(canvas, loops)
    marks.name_open_side(canvas, scene, screen_from_lps)
    return png_bytes(canvas.figure)


def behind_picture(scene: Scene, printed_mm: tuple[float, float] = (83.0, 49.0)) -> bytes:
    """Shaded bone from behind, with tumour shining through, cuts, nibbled bone and ribs.

    Parameters
    ----------
    scene : Scene
        What to draw.
    printed_mm : (float, float), mm
        Width and height on paper.

    Returns
    -------
    bytes
        PNG, turned as the surgeon stands.
    """
    view = scene.theatre_view
    screen_from_lps = scene.screen_from_lps(view)
    canvas = _canvas_for_plan(scene, view, printed_mm, _BEHIND_HALF_WIDTH_MM, (0.0, 0.0))
    seen = {
        name: render_depth(scene.surfaces[name], screen_from_lps, canvas.field)
        for name in ("bone", *scene.plan.rib_fates, "sac", "tumour", "nibbled", "piece")
        if name in scene.surfaces
    }
    solid = {name: seen[name] for name in seen if name not in ("tumour", "nibbled", "piece")}
    show_colours(canvas, shaded(canvas, solid), zorder=0)
    outlines = {name: mask_loops(canvas.field, picture.seen) for name, picture in seen.items()}
    draw_hatched(canvas, outlines.get("tumour", ()), alpha=0.45)
    draw_dotted(canvas, outlines.get("nibbled", ()))
    draw_area(canvas, outlines.get("piece", ()), **_PIECE_STYLE)
    marks.draw_cuts(canvas, scene, screen_from_lps, None)
    mark_orientation(canvas, view)
    marks.name_levels(canvas, scene, screen_from_lps)
    for rib, fate in scene.plan.rib_fates.items():
        if rib in outlines and fate is not RibFate.KEPT:
            if fate is RibFate.REMOVED:
                draw_dotted(canvas, outlines[rib])
            marks.name_rib(
                canvas, scene, screen_from_lps, outlines[rib], picture_text.RIB_LABELS[fate]
            )
    return png_bytes(canvas.figure)


_PIECE_STYLE = {
    "fill": False,
    "ec": palette.CUT_EDGE,
    "lw": 1.1,
    "ls": (0, (5, 2)),
    "zorder": 6.0,
}


def _canvas_for_plan(
    scene: Scene,
    view: View,
    printed_mm: tuple[float, float],
    half_width_mm: float,
    centre_mm: tuple[float, float],
) -> Canvas:
    """A picture about its usual middle, moved and if need be widened to hold what is planned.

    That is all tumour, every cut's entry and the diseased body's middle. The bands with words
    along the upper and lower edge, and the words at the sides, count as outside.
    """
    tumour = scene.surfaces.get("tumour")
    wanted = [
        scene.vertebra.lps_from_vertebra.origin[None],
        *(cut.entry[None] for cut in scene.plan.cuts),
        *(() if tumour is None else (tumour.vertices,)),
    ]
    seen = scene.screen_from_lps(view).points(np.concatenate(wanted))[:, :2]
    low, high = seen.min(axis=0), seen.max(axis=0)
    free_mm = np.array(printed_mm) - 2 * (BAND_MM + _AROUND_MM)
    scale = max(2 * half_width_mm / printed_mm[0], *((high - low) / free_mm))
    half = scale * free_mm / 2
    centre = np.minimum(np.maximum(centre_mm, high - half), low + half)
    return body_canvas(printed_mm, scale * printed_mm[0] / 2, (float(centre[0]), float(centre[1])))


def _draw_slice(
    canvas: Canvas, scene: Scene, screen_from_lps: Transform, depth_mm: float, slab_mm: float
) -> dict[str, tuple[Loop, ...]]:
    """Image and outlines in the picture's plane; gives the outlines back."""
    if scene.ct is not None:
        grey = reslice(scene.ct, screen_from_lps, canvas.field, depth_mm, slab_mm)
        show_grey(canvas, grey, _WINDOW_HU)
    loops: dict[str, tuple[Loop, ...]] = {
        name: section_loops(surface, screen_from_lps, depth_mm)
        for name, surface in scene.surfaces.items()
    }
    for name in ("bone", *scene.plan.rib_fates):
        draw_area(canvas, loops.get(name, ()), fc=palette.BONE, alpha=0.10, ec="none", zorder=1)
        draw_area(canvas, loops.get(name, ()), fill=False, ec=palette.BONE, lw=0.9, zorder=3)
    draw_dotted(canvas, loops.get("nibbled", ()))
    draw_area(
        canvas,
        loops.get("aorta", ()),
        fc=palette.VESSEL,
        ec=palette.VESSEL_EDGE,
        alpha=0.85,
        zorder=2,
    )
    _draw_sac(canvas, scene, screen_from_lps, loops)
    draw_hatched(canvas, loops.get("tumour", ()))
    draw_area(canvas, loops.get("piece", ()), **_PIECE_STYLE)
    return loops


def _name_areas(
    canvas: Canvas, loops: dict[str, tuple[Loop, ...]], keep_clear: tuple[Bbox, ...] = ()
) -> None:
    for name in ("tumour", "sac", "aorta"):
        marks.name_area(canvas, loops.get(name, ()), name, keep_clear)


def _draw_sac(
    canvas: Canvas,
    scene: Scene,
    screen_from_lps: Transform,
    loops: dict[str, tuple[Loop, ...]],
) -> None:
    """Sac and cord in the slice; where the slice misses the sac, its broken outline."""
    if loops.get("sac"):
        draw_area(
            canvas, loops["sac"], fc=palette.SAC, ec=palette.CORD, alpha=0.75, lw=0.8, zorder=4.6
        )
        draw_area(canvas, loops.get("cord", ()), fc=palette.CORD, ec="none", alpha=0.9, zorder=4.7)
    elif "sac" in scene.surfaces:
        picture = render_depth(scene.surfaces["sac"], screen_from_lps, canvas.field)
        outline = mask_loops(canvas.field, picture.seen)
        style = {"fill": False, "ec": palette.SAC, "lw": 1.0, "ls": (0, (4, 3)), "zorder": 4.6}
        draw_area(canvas, outline, **style)


def shaded(canvas: Canvas, seen: dict[str, DepthPicture]) -> NDArray[np.float64]:
    """Colours of the nearest surface at each pixel; what lies deeper is darker.

    Parameters
    ----------
    canvas : Canvas
        Picture they are for.
    seen : dict of str to DepthPicture
        Surfaces by name; all but the sac are bone.

    Returns
    -------
    (rows, columns, 3) float64, -
        Red, green, blue from 0 to 1.
    """
    colours = np.broadcast_to(palette.rgb(palette.NIGHT), (*canvas.field.shape, 3)).copy()
    nearest = np.full(canvas.field.shape, -np.inf, dtype=np.float32)
    depths = [picture.depth_mm[picture.seen] for picture in seen.values() if picture.seen.any()]
    if not depths:
        return colours
    front = max(float(depth.max()) for depth in depths)
    back = min(float(depth.min()) for depth in depths)
    for name, picture in seen.items():
        shown = picture.seen & (picture.depth_mm > nearest)
        colour = palette.rgb(palette.SAC if name == "sac" else palette.BONE)
        deep = (front - picture.depth_mm[shown]) / max(front - back, 1e-9)
        light = (0.22 + 0.78 * picture.shade[shown]) * (1.0 - 0.45 * deep)
        ground = palette.rgb(palette.NIGHT)
        colours[shown] = ground + light[:, None] * (colour - ground)
        nearest[shown] = picture.depth_mm[shown]
    return colours
