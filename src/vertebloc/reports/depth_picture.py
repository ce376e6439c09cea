"""How deep each blade may go: one picture to hang in theatre, a sentence, and a table.

The picture is made in millimetres of paper: printed at its own width, its smallest letters are
18 pt, and the sketches are true to scale.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.model import Vertebra
from vertebloc.reports import palette, text, theatre_text
from vertebloc.resection.depth_model import DepthFan
from vertebloc.space.polygons import PlanarFace

#: Printed width, mm: fits A4 and Letter upright.
WIDTH_MM = 186.0
#: Size of the smallest letters, mm: 18 pt, read from two metres.
LETTER_MM = 6.4
_LARGE_MM = 9.0
_SKETCH_MM, _SKETCH_TALL_MM = 60.0, 72.0  #: paper = patient: true to scale
_RULER_X, _HALF_TALL_MM, _CUT_HEAD_MM, _LINE_MM = 66.0, 46.0, 12.0, 8.0
_RULER_MM = WIDTH_MM - _RULER_X
_BEYOND_MM = 14.0  #: shown on a ruler beyond the deepest far cortex


def depth_picture(fans: Sequence[DepthFan], vertebra: Vertebra) -> str:
    """Draw each half cut as a ruler, beside the cut's cross-section.

    Parameters
    ----------
    fans : sequence of DepthFan
        Depths of the half cuts through bodies.
    vertebra : Vertebra
        The diseased one, whose left and back turn the sketches.

    Returns
    -------
    str
        SVG, ``WIDTH_MM`` wide, in millimetres; empty if there is no cut through a body.

    Notes
    -----
    Sketches: back of the patient up, seen from the feet, patient's left at the left. Lengths
    in words are rounded down.
    """
    if not fans:
        return ""
    deepest = max(ray.depth_mm for fan in fans for ray in fan.as_planned)
    scale = _RULER_MM / (deepest + _BEYOND_MM)
    drawn, top = [], 0.0
    for end in ("cranial", "caudal"):
        halves = [fan for fan in fans if end in fan.cut_name]
        if not halves:
            continue
        drawn.append(_sketch(halves, vertebra, top + _CUT_HEAD_MM))
        drawn.append(_words(theatre_text.through(halves[0].passes_through), 0.0, top + 8.0))
        for place, fan in enumerate(halves):
            y = top + _CUT_HEAD_MM + place * _HALF_TALL_MM
            drawn.append(_ruler(fan, y, scale))
        top += _CUT_HEAD_MM + max(len(halves) * _HALF_TALL_MM, _SKETCH_TALL_MM) + 4.0
    for line in theatre_text.PICTURE_FOOT:
        top += _LINE_MM
        drawn.append(_words(line, 0.0, top - 2.0))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH_MM:g}mm" height="{top:g}mm" '
        f'viewBox="0 0 {WIDTH_MM:g} {top:g}" role="img" class="depths" '
        f'font-family="DejaVu Sans, sans-serif" font-size="{LETTER_MM}" fill="{palette.INK}" '
        f'aria-label="{escape(theatre_text.PICTURE_ALT)}">{"".join(drawn)}</svg>'
    )


def _words(words: str, x: float, y: float, *, size: float = LETTER_MM, bold: bool = False) -> str:
    weight = ' font-weight="700"' if bold else ""
    return f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}"{weight}>{escape(words)}</text>'


def _ruler(fan: DepthFan, top: float, scale: float) -> str:
    """One half cut: title, stop, the ruler itself, far cortex and vessel."""
    rays = fan.as_planned
    low, high = min(r.depth_mm for r in rays), max(r.depth_mm for r in rays)
    gaps = [ray.vessel for ray in rays if ray.vessel is not None]
    nearest = min(gaps, key=lambda gap: gap.gap_mm, default=None)
    bar, tall = top + 16.5, 9.0
    left = _RULER_X
    parts = [
        _words(theatre_text.half_cut(fan.side.value, fan.cut_name), left, top + 5.0),
        _words(
            theatre_text.picture_stop(fan.stop_mm), left, top + 14.5, size=_LARGE_MM, bold=True
        ),
        _bar(left, bar, _RULER_MM, tall, palette.TRACK),
        _bar(left, bar, low * scale, tall, palette.BONE),
        _bar(left, bar, fan.stop_mm * scale, tall, palette.CUT),
        _bar(left + low * scale, bar, max((high - low) * scale, 0.8), tall, palette.INK),
        *_ticks(left, bar + tall, high, scale),
        _words(theatre_text.picture_far(low, high), left, top + 33.5),
    ]
    if nearest is None:
        beyond = theatre_text.picture_no_vessel(fan.vessels_outlined, fan.looked_to_mm)
    else:
        beyond = theatre_text.picture_vessel(nearest.vessel, nearest.gap_mm)
        ray = min((r for r in rays if r.vessel is nearest), key=lambda r: r.depth_mm)
        start = left + min((ray.depth_mm + nearest.gap_mm) * scale, _RULER_MM - 2.0)
        parts.append(_bar(start, bar, left + _RULER_MM - start, tall, palette.VESSEL))
    parts.append(_words(beyond, left, top + 41.0))
    return "".join(parts)


def _bar(x: float, y: float, width: float, height: float, colour: str) -> str:
    return (
        f'<rect x="{x:.2f}" y="{y:.2f}" width="{max(width, 0.0):.2f}" height="{height:g}" '
        f'fill="{colour}"/>'
    )


def _ticks(left: float, y: float, deepest_mm: float, scale: float) -> list[str]:
    """A stroke each 5 mm, a longer one each 10."""
    return [
        f'<path d="M{left + way * scale:.2f} {y:.2f}v{-3.5 if way % 10 == 0 else -2.0}" '
        f'stroke="{palette.SHEET if way < deepest_mm else palette.INK}" stroke-width=".5"/>'
        for way in range(5, int(deepest_mm + _BEYOND_MM), 5)
    ]


def _sketch(halves: Sequence[DepthFan], vertebra: Vertebra, top: float) -> str:
    """The cut's cross-section with both blades, true to scale."""
    back = vertebra.posterior_wall_mm + 17.0
    box = f"{-_SKETCH_MM / 2:g} {-back:.2f} {_SKETCH_MM:g} {_SKETCH_TALL_MM:g}"
    drawn = [_half_sketch(fan, vertebra) for fan in halves]
    letters = (
        f'<text x="{-_SKETCH_MM / 2 + 1:g}" y="{-back + 7:.2f}">{theatre_text.LEFT}</text>'
        f'<text x="{_SKETCH_MM / 2 - 1:g}" y="{-back + 7:.2f}" text-anchor="end">'
        f"{theatre_text.RIGHT}</text>"
        f'<text x="0" y="{-back + 7:.2f}" text-anchor="middle">{theatre_text.BACK}</text>'
    )
    seen = _words(theatre_text.SEEN_FROM, 0.0, top + _SKETCH_TALL_MM + 7.0)
    return (
        f'<svg x="0" y="{top:g}" width="{_SKETCH_MM:g}" height="{_SKETCH_TALL_MM:g}" '
        f'viewBox="{box}">{"".join(drawn)}{letters}</svg>{seen}'
    )


def _half_sketch(fan: DepthFan, vertebra: Vertebra) -> str:
    """One half: bone and vessels up to the midline, blades to their stop and on to the cortex."""
    own = f"half-{fan.side.value}-{'cranial' if 'cranial' in fan.cut_name else 'caudal'}"
    x = -_SKETCH_MM / 2 if fan.side.sign > 0 else 0.0
    clip = (
        f'<clipPath id="{own}"><rect x="{x:g}" y="-200" width="{_SKETCH_MM / 2:g}" '
        'height="400"/></clipPath>'
    )
    bone = _outline(fan.section, vertebra, palette.BONE, palette.BONE_EDGE)
    vessels = "".join(
        _outline(face, vertebra, palette.VESSEL, palette.INK)
        for face in fan.vessel_sections.values()
    )
    blades = []
    for ray in fan.as_planned:
        stop = ray.entry + fan.stop_mm * ray.direction
        ends = _flat(np.array([ray.entry - 6.0 * ray.direction, stop, ray.exit]), vertebra)
        strong = 1.6 if ray is fan.planned else 0.6
        if fan.stop_mm >= 1.0:
            blades.append(_line(ends[:2], palette.CUT, strong))
        blades.append(_line(ends[1:], palette.CUT, 0.4, dash="1.2 1.2"))
    line = _line(_flat(fan.protector, vertebra), palette.INK, 1.0, dash="2 1")
    return f'{clip}<g clip-path="url(#{own})">{bone}{vessels}</g>{"".join(blades)}{line}'


def _flat(points: NDArray[np.float64], vertebra: Vertebra) -> NDArray[np.float64]:
    """Places as drawn: back of the patient up, patient's left at the left."""
    return np.asarray(-vertebra.lps_from_vertebra.inverse.points(points)[:, :2])


def _outline(face: PlanarFace, vertebra: Vertebra, fill: str, edge: str) -> str:
    ways = "".join(
        "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in _flat(loop, vertebra)) + "Z"
        for loop in face.loops_lps()
    )
    return f'<path d="{ways}" fill="{fill}" stroke="{edge}" stroke-width=".4"/>' if ways else ""


def _line(points: NDArray[np.float64], colour: str, width: float, dash: str = "") -> str:
    way = " ".join(f"{x:.2f},{y:.2f}" for x, y in points)
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<polyline points="{way}" fill="none" stroke="{colour}" '
        f'stroke-width="{width:g}"{dashed}/>'
    )


def depth_sentence(document: Mapping[str, Any]) -> str:
    """The answer of the page on depths.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    str
        Empty if no cut runs through a body.
    """
    fans = document["resection"]["depths"]
    if not fans:
        return ""
    return theatre_text.depth_sentence(
        [(fan["cut"], fan["stop_mm"]) for fan in fans],
        fans[0]["stop_short_mm"],
        max(fan["outline_error_mm"] for fan in fans),
    )


def depth_rows(document: Mapping[str, Any]) -> list[dict[str, str]]:
    """The table of depths: a row for each half cut and entry angle.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    list of dict
        Keys ``cut`` (in the first row of a half cut only), ``held``, ``far``, ``stop``,
        ``vessel``, ``protector`` (in the first row only); all text.
    """
    rows = []
    for fan in document["resection"]["depths"]:
        for place, lines in enumerate(fan["by_angle"]):
            vessel = (
                theatre_text.vessel_beyond(lines["vessel"], lines["gap_mm"])
                if "vessel" in lines
                else theatre_text.no_vessel(fan["vessels_outlined"], fan["looked_to_mm"])
            )
            where = fan["protector_in_words"]
            if fan["bone_left_and_entered_again"]:
                where = f"{where}; {theatre_text.LEFT_AGAIN}"
            rows.append(
                {
                    "cut": "" if place else text.sentence(fan["cut"]).rstrip("."),
                    "held": theatre_text.held(lines["angle_deg"]),
                    "far": theatre_text.between(lines["least_mm"], lines["most_mm"]),
                    "stop": theatre_text.stop(lines["stop_mm"]),
                    "vessel": vessel,
                    "protector": "" if place else where,
                }
            )
    return rows
