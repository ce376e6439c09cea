"""The front as cross-sections: body, tumour, vessels, and how far a finger gets round."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from vertebloc.access import Front, FrontAnswer
from vertebloc.access.front_model import Station
from vertebloc.reports import access_text as words
from vertebloc.reports import page_words, palette
from vertebloc.space.frames import Side

_MM = 5.0  #: drawing units a millimetre
_HALF_MM, _BACK_MM, _FRONT_MM = 42.0, 18.0, 60.0
_TITLE, _FOOT, _GAP = 40.0, 62.0, 14.0
_TEXT = 18
#: Left out of the drawing: they are large, and what matters of them is a number.
_NOT_DRAWN = ("pleura",)
_NAMED_WITHIN_MM = 25.0


def front_picture_svg(front: Front) -> str:
    """Draw the two cuts and the plane between them in which the way is longest.

    Parameters
    ----------
    front : Front
        What was found.

    Returns
    -------
    str
        SVG: cross-sections seen from the feet, back of the patient up, patient's left at the
        left. Left and right half cuts need not lie in one plane: each half shows its own.
    """
    planes = _planes(front.stations)
    wide = 2.0 * _HALF_MM * _MM
    tall = _TITLE + (_BACK_MM + _FRONT_MM) * _MM + _FOOT
    size = max(1, len(planes)) * (wide + _GAP) - _GAP, tall
    drawn = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size[0]:.0f} {size[1]:.0f}" '
        f'role="img" class="fronts" aria-label="{escape(page_words.Question.FRONT.value)}" '
        'font-family="DejaVu Sans, sans-serif">',
        '<defs><pattern id="front-tumour" width="9" height="9" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(35)"><rect width="9" height="9" fill="{palette.TUMOUR}"/>'
        f'<path d="M0 0H9" stroke="{palette.TUMOUR_HATCH}" stroke-width="3"/></pattern>',
        *_clips(wide, tall),
        "</defs>",
    ]
    reach = front.finger_reach_mm
    for place, (name, halves) in enumerate(planes):
        drawn.append(f'<g transform="translate({place * (wide + _GAP):.1f} 0)">')
        drawn += _panel(name, halves, reach)
        drawn.append("</g>")
    return "".join(drawn) + "</svg>"


def _clips(wide: float, tall: float) -> Iterator[str]:
    for side, x in ((Side.LEFT, 0.0), (Side.RIGHT, wide / 2.0)):
        yield (
            f'<clipPath id="front-{side.value}"><rect x="{x:.1f}" y="{_TITLE}" '
            f'width="{wide / 2.0:.1f}" height="{tall - _TITLE - _FOOT:.1f}"/></clipPath>'
        )


def _planes(stations: Sequence[Station]) -> list[tuple[str, dict[Side, Station]]]:
    """Cranial cut, the plane between with the longest way, caudal cut."""
    by_name: dict[str, dict[Side, Station]] = {}
    for one in stations:
        by_name.setdefault(one.name, {})[one.side] = one
    between = [name for name, halves in by_name.items() if not _is_cut(halves)]
    worst = max(between, key=lambda name: _gravity(by_name[name]), default=None)
    order = [name for name, halves in by_name.items() if _is_cut(halves)]
    names = [*order[:1], *((worst,) if worst else ()), *order[1:]]
    return [(name, by_name[name]) for name in names]


def _is_cut(halves: dict[Side, Station]) -> bool:
    return next(iter(halves.values())).is_cut


def _gravity(halves: dict[Side, Station]) -> float:
    held = max(
        (n.tumour_contact_most_deg for one in halves.values() for n in one.neighbours), default=0.0
    )
    return held + max(one.way.length_mm for one in halves.values())


def _panel(name: str, halves: dict[Side, Station], reach_mm: float) -> Iterator[str]:
    wide, high = 2.0 * _HALF_MM * _MM, (_BACK_MM + _FRONT_MM) * _MM
    yield (
        f'<rect y="{_TITLE}" width="{wide:.0f}" height="{high:.0f}" fill="{palette.NIGHT}"/>'
        + _word(wide / 2.0, _TITLE / 2.0, name, palette.INK)
    )
    for side, station in halves.items():
        yield f'<g clip-path="url(#front-{side.value})">'
        yield from _areas(station)
        yield "</g>"
    for station in halves.values():
        yield from _way(station, reach_mm)
    yield from _names(halves)
    yield _word(wide / 2.0, _TITLE + 16.0, page_words.VIEWER["directions"]["back"], palette.PALE)  # type: ignore[index]
    y = _TITLE + high - 14.0
    yield _word(wide / 2.0, y, page_words.VIEWER["directions"]["front"], palette.PALE)  # type: ignore[index]
    yield f'<path d="M14 {y}h{10 * _MM:.0f}" stroke="{palette.PALE}" stroke-width="3"/>'
    yield _word(14 + 5 * _MM, y - 14.0, words.HEIGHT_SCALE, palette.PALE, size=17)


def _areas(station: Station) -> Iterator[str]:
    for name, loops in station.structures.items():
        if name not in _NOT_DRAWN:
            yield _shape(loops, station.side, palette.VESSEL, palette.VESSEL_EDGE)
    yield _shape(station.wall, station.side, palette.BONE, palette.BONE_EDGE)
    yield _shape(station.tumour, station.side, "url(#front-tumour)", palette.TUMOUR_HATCH)


def _shape(loops: Sequence[NDArray[np.float64]], side: Side, fill: str, edge: str) -> str:
    path = "".join(f"M{_line(loop, side)}Z" for loop in loops)
    return f'<path d="{path}" fill="{fill}" stroke="{edge}" fill-rule="evenodd"/>' if path else ""


def _line(points: NDArray[np.float64], side: Side) -> str:
    return "L".join(f"{x:.1f} {y:.1f}" for x, y in (_at(point, side) for point in points))


def _at(point: NDArray[np.float64], side: Side) -> tuple[float, float]:
    """Outward and forward to the drawing: the patient's left at the left, the back up."""
    out, ahead = float(point[0]), float(point[1])
    x = _HALF_MM - side.sign * out
    return x * _MM, _TITLE + (_BACK_MM + ahead) * _MM


def _way(station: Station, reach_mm: float) -> Iterator[str]:
    """The way of the finger: solid as far as it reaches, dashed beyond."""
    points = station.way.points
    gone = np.concatenate(([0.0], np.linalg.norm(np.diff(points, axis=0), axis=1).cumsum()))
    near, far = points[gone <= reach_mm], points[gone >= reach_mm - 0.3]
    colour = palette.CUT_ON_NIGHT
    if len(near) > 1:
        yield (
            f'<path d="M{_line(near, station.side)}" fill="none" stroke="{colour}" '
            'stroke-width="6" stroke-linecap="round"/>'
        )
    if len(far) > 1:
        yield (
            f'<path d="M{_line(far, station.side)}" fill="none" stroke="{palette.BRIGHT}" '
            'stroke-width="5" stroke-dasharray="3 9" stroke-linecap="round"/>'
        )
    x, y = _at(points[0], station.side)
    yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="8" fill="{colour}"/>'
    wide = 2.0 * _HALF_MM * _MM
    below = _TITLE + (_BACK_MM + _FRONT_MM) * _MM + 18.0
    at = (0.25 if station.side is Side.LEFT else 0.75) * wide
    yield _word(
        at, below, words.side_and_way(station.side.value, station.way.length_mm), palette.INK
    )
    if station.answer is not FrontAnswer.POSTERIOR:
        yield _word(at, below + 24.0, station.answer.value, palette.TUMOUR, 17)
    else:
        yield _word(at, below + 24.0, words.reach_of(reach_mm), palette.SOFT, 17)


def _names(halves: dict[Side, Station]) -> Iterator[str]:
    """Each near structure once, with its gap, on the side where it lies nearer."""
    nearest: dict[str, tuple[float, Side]] = {}
    for side, station in halves.items():
        for one in station.neighbours:
            if one.gap_mm <= _NAMED_WITHIN_MM and one.name not in _NOT_DRAWN:
                nearest[one.name] = min(
                    nearest.get(one.name, (np.inf, side)), (one.gap_mm, side), key=lambda n: n[0]
                )
    wide, low = 2.0 * _HALF_MM * _MM, _TITLE + (_BACK_MM + _FRONT_MM) * _MM - 64.0
    placed = []
    for name, (gap, side) in nearest.items():
        middle = np.concatenate(halves[side].structures[name]).mean(axis=0)
        x, y = _at(middle, side)
        said = f"{name} {gap:.1f} mm"
        half = 0.31 * _TEXT * len(said)
        placed.append((min(y + 4.0, low), min(max(x, half), wide - half), said))
    above = -np.inf
    for y, x, said in sorted(placed):
        above = max(y, above + 26.0)  # no word on another
        yield _word(x, above, said, palette.BRIGHT, 17)


def _word(x: float, y: float, said: str, colour: str, size: int = _TEXT) -> str:
    return (
        f'<text x="{x:.1f}" y="{y + 0.35 * size:.1f}" text-anchor="middle" font-size="{size}" '
        f'font-weight="600" fill="{colour}"{_rim(colour)}>{escape(said)}</text>'
    )


def _rim(colour: str) -> str:
    """Words on the dark picture keep a dark rim: they are read on a vessel's edge too."""
    if colour not in (palette.PALE, palette.BRIGHT):
        return ""
    return (
        f' paint-order="stroke" stroke="{palette.NIGHT}" stroke-width="5" stroke-linejoin="round"'
    )
