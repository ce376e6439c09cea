"""The unfolded piece as a drawing, at the size of a page's card or of a sheet."""

from __future__ import annotations

from collections.abc import Iterable
from xml.sax.saxutils import escape, quoteattr

import numpy as np

from vertebloc.reports import carton_labels as labels
from vertebloc.reports import page_words as words
from vertebloc.reports import palette
from vertebloc.reports.carton import Carton, Panel, Shape
from vertebloc.reports.carton_layout import LINE, SCREEN, CartonSize, Layout, Point, lay_out
from vertebloc.reports.screen_scene import WIDEST_MM
from vertebloc.resection.model import FaceKind


def carton_svg(carton: Carton, size: CartonSize = SCREEN, *, prefix: str = "carton") -> str:
    """Draw the carton.

    Parameters
    ----------
    carton : Carton
        From ``unfold``.
    size : CartonSize
        A card on the screen, or a picture on paper: letters are as large there as they must be.
    prefix : str
        Begins the names inside; two drawings on one page need two.

    Returns
    -------
    str
        SVG; violet = room to tumour, dark = thin, always with the number. ``data-units-per-mm``
        is the scale; each face is a group with its name in ``data-face``.
    """
    laid = lay_out(carton, size)
    sides = [
        _panel(panel, laid, f"{prefix}-{place}", carton.pitch_mm)
        for place, panel in enumerate(carton.panels.values())
    ]
    small = labels.small_faces(carton, laid)
    said = labels.key_letters(small, laid) + labels.face_labels(carton, small, laid)
    rows, bottom = labels.list_rows(small, carton.flaps, laid)
    flaps = [
        shape_svg(row.flap.shapes[0], row.flap.name, row.laid, f"{prefix}-flap{place}",
                  carton.pitch_mm)
        for place, row in enumerate(rows)
        if row.flap is not None and row.laid is not None
    ]  # fmt: skip
    height = max(laid.bottom, bottom) + 2.0
    body = "".join([*sides, labels.edge_words(laid), *flaps, *(row.svg for row in rows), said])
    return (
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size.width:.0f} {height:.1f}" '
            f'width="{size.width:.0f}{size.unit}" height="{height:.1f}{size.unit}" '
            f'role="img" class="carton" font-family="DejaVu Sans, sans-serif" '
            f'font-size="{size.letters:g}" fill="{palette.INK}" '
            f'data-units-per-mm="{laid.scale:.5f}" aria-label="{escape(words.CARTON)}">'
            f"{_patterns(size)}{body}{_legend(laid)}</svg>"
        )
        .replace("carton-hatch", f"{prefix}-hatch")
        .replace("carton-ramp", f"{prefix}-ramp")
    )


def _panel(panel: Panel, laid: Layout, name: str, pitch_mm: float) -> str:
    """The side's own outline, then its faces: dissected ones first, cut ones on top."""
    thin = laid.size.letters * 0.07
    outline = (
        f'<path d="{_path(laid.place(panel.name, loop) for loop in panel.outline)}" '
        f'fill="#fff" fill-rule="evenodd" stroke="{palette.BONE_EDGE}" stroke-width="{thin:.2f}" '
        f'stroke-dasharray="{3 * thin:.1f} {2 * thin:.1f}"/>'
    )
    faces = [
        shape_svg(shape, panel.name, laid, f"{name}-{place}", pitch_mm)
        for place, shape in enumerate(panel.shapes)
    ]
    return outline + "".join(faces)


def shape_svg(shape: Shape, panel: str, laid: Layout, name: str, pitch_mm: float) -> str:
    """One face: violet by its margin where it is cut, white where it is dissected.

    Parameters
    ----------
    shape : Shape
        The face, laid flat.
    panel : str
        The side it lies on.
    laid : Layout
        Where that side stands.
    name : str
        Name of the clipping path.
    pitch_mm : float, mm
        Width of a cell.

    Returns
    -------
    str
        A group of SVG elements.
    """
    outline = _path(laid.place(panel, loop) for loop in shape.loops)
    said = escape(words.face_title(shape.face.name, shape.face.area_mm2))
    begin = f"<g data-face={quoteattr(shape.face.name)}><title>{said}</title>"
    ring = _ring(laid.place(panel, shape.weakest), laid.size.letters)
    if shape.face.kind is FaceKind.SOFT:
        bare = _path(laid.place(panel, loop) for loop in shape.bare)
        if not bare:
            return f"{begin}{ring}</g>"
        return (
            f'{begin}<clipPath id="{name}"><path d="{outline}" clip-rule="evenodd"/></clipPath>'
            f'<path d="{bare}" fill="url(#carton-hatch)" fill-rule="evenodd" '
            f'clip-path="url(#{name})"/>{ring}</g>'
        )
    half = pitch_mm * laid.scale / 2.0
    middles = laid.place(panel, shape.cells[:, :2])
    cells = "".join(
        f'<rect x="{x - half:.1f}" y="{y - half:.1f}" width="{2 * half + 0.4:.1f}" '
        f'height="{2 * half + 0.4:.1f}" fill="{_ink(mm)}"/>'
        for (x, y), mm in zip(middles, shape.cells[:, 2], strict=True)
    )
    edge = laid.size.letters * 0.1
    return (
        f'{begin}<clipPath id="{name}"><path d="{outline}" clip-rule="evenodd"/></clipPath>'
        f'<path class="face" d="{outline}" fill-rule="evenodd" '
        f'fill="{_ink(shape.face.margin_mm)}" '
        f'stroke="{palette.CUT}" stroke-width="{edge:.2f}"/>'
        f'<g clip-path="url(#{name})">{cells}</g>'
        f'<path d="{outline}" fill="none" stroke="{palette.CUT}" stroke-width="{edge:.2f}"/>'
        f"{ring}</g>"
    )


def _ink(margin_mm: float) -> str:
    """Colour of a margin; tumour is hatched."""
    return (
        "url(#carton-hatch)"
        if margin_mm < 0.0
        else palette.room_colour(float(margin_mm), WIDEST_MM)
    )


def _path(loops: Iterable[Point]) -> str:
    return "".join("M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in loop) + "Z" for loop in loops)


def _ring(at: Point, letters: float) -> str:
    x, y = at.reshape(2)
    r = letters * 0.32
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{r:.1f}" fill="none" stroke="#fff" '
        f'stroke-width="{r * 0.75:.1f}"/><circle class="weakest" cx="{x:.1f}" cy="{y:.1f}" '
        f'r="{r:.1f}" fill="none" stroke="{palette.INK}" stroke-width="{r * 0.35:.1f}"/>'
    )


def _patterns(size: CartonSize) -> str:
    """Hatching for tumour, and the ramp of the legend."""
    step = size.letters * 0.4
    stops = "".join(
        f'<stop offset="{place * 50} %" stop-color="{colour}"/>'.replace(" %", "%")
        for place, colour in enumerate(palette.ROOM_RAMP)
    )
    return (
        f'<defs><pattern id="carton-hatch" width="{step:.2f}" height="{step:.2f}" '
        f'patternUnits="userSpaceOnUse" patternTransform="rotate(35)">'
        f'<rect width="{step:.2f}" height="{step:.2f}" fill="{palette.TUMOUR}"/>'
        f'<path d="M0 0H{step:.2f}" stroke="{palette.TUMOUR_HATCH}" '
        f'stroke-width="{step * 0.28:.2f}"/></pattern>'
        f'<linearGradient id="carton-ramp">{stops}</linearGradient></defs>'
    )


def _legend(laid: Layout) -> str:
    """How to read it: cut, dissected, tumour, the ramp, the ring."""
    letters = laid.size.letters
    x, y = laid.legend_at
    wide, line = 2.2 * letters, letters * LINE
    fills = (
        f'fill="url(#carton-ramp)" stroke="{palette.CUT}"',
        f'fill="#fff" stroke="{palette.BONE_EDGE}" '
        f'stroke-dasharray="{letters * 0.2:.1f} {letters * 0.15:.1f}"',
        'fill="url(#carton-hatch)"',
    )
    rows = []
    for place, (said, fill) in enumerate(zip(words.CARTON_LEGEND, fills, strict=False)):
        top = y + place * line
        rows.append(
            f'<rect x="{x:.1f}" y="{top + 0.12 * letters:.1f}" width="{wide:.1f}" '
            f'height="{letters * 0.8:.1f}" {fill}/>'
            + labels.text_svg((x + wide + 0.5 * letters, top + letters * 0.52), said)
        )
    last = y + (len(fills) + 0.45) * line
    rows.append(_ring(np.array([x + wide / 2, last]), letters))
    rows.append(labels.text_svg((x + wide + 0.5 * letters, last), words.CARTON_LEGEND[-1]))
    thin, thick = words.carton_ramp(WIDEST_MM)
    rows.append(
        labels.text_svg((x, last + line), thin)
        + f'<rect x="{x + letters:.1f}" y="{last + line - 0.4 * letters:.1f}" '
        f'width="{2.0 * letters:.1f}" height="{letters * 0.8:.1f}" fill="url(#carton-ramp)"/>'
        + labels.text_svg((x + 3.4 * letters, last + line), thick)
    )
    return "".join(rows)
