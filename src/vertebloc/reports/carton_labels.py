"""Words and numbers of the unfolded piece, placed so that none covers another."""

from __future__ import annotations

import string
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from xml.sax.saxutils import escape

import numpy as np

from vertebloc.reports import page_words as words
from vertebloc.reports import palette, text
from vertebloc.reports.carton import Carton, Panel, Shape
from vertebloc.reports.carton_layout import LINE, CartonSize, Layout, Point
from vertebloc.resection.model import FaceKind, FaceMargin

Box = tuple[float, float, float, float]  #: left, top, right, bottom

LETTER = 0.66  #: width of a letter as a share of its height, on the wide side
_HEADS = ("cranial", "caudal")


@dataclass(frozen=True, slots=True, eq=False)
class Small:
    """A face too small to hold its number: a letter stands beside it."""

    shape: Shape
    panel: str
    letter: str


@dataclass(frozen=True, slots=True, eq=False)
class Row:
    """A row of the list of small faces; a flap is drawn in it."""

    svg: str
    flap: Panel | None = None
    laid: Layout | None = None  #: where the flap is drawn


def small_faces(carton: Carton, laid: Layout) -> list[Small]:
    """Bone faces that cannot hold two lines of text.

    Parameters
    ----------
    carton : Carton
        All faces.
    laid : Layout
        Scale and letters.

    Returns
    -------
    list of Small
        Each with a letter of its own, from ``a`` on; flaps come after.
    """
    found: list[Small] = []
    for panel in carton.panels.values():
        for shape in panel.shapes:
            wide, tall = np.ptp(np.concatenate(shape.loops), axis=0) * laid.scale
            fits = wide > 2.0 * laid.size.letters and tall > 2.6 * laid.size.letters
            if shape.face.kind is FaceKind.BONE and not (fits and panel.name in _HEADS):
                found.append(Small(shape, panel.name, string.ascii_lowercase[len(found)]))
    return found


def key_letters(small: Sequence[Small], laid: Layout) -> str:
    """The letters beside small faces, on the drawing.

    Parameters
    ----------
    small : sequence of Small
        From ``small_faces``.
    laid : Layout
        Where everything stands.

    Returns
    -------
    str
        SVG elements.
    """
    return "".join(
        _on_ground([one.letter], *_key_at(one, laid), laid.size, bold=True) for one in small
    )


def _key_at(one: Small, laid: Layout) -> tuple[float, float]:
    """Beside the largest part of the face, away from the panel's middle and from its ring."""
    largest = max(one.shape.loops, key=lambda loop: float(np.prod(np.ptp(loop, axis=0))))
    loops = laid.place(one.panel, largest)
    low, high = loops.min(axis=0), loops.max(axis=0)
    aside = 0.6 * laid.size.letters
    x = low[0] - aside if float(largest[:, 0].mean()) < 0.0 else high[0] + aside
    ring = laid.place(one.panel, one.shape.weakest[None])[0]
    y = (low[1] + high[1]) / 2.0
    if np.hypot(ring[0] - x, ring[1] - y) < laid.size.letters:
        y += laid.size.letters * 1.2 * (1.0 if ring[1] <= y else -1.0)
    return float(x), float(y)


def face_labels(carton: Carton, small: Sequence[Small], laid: Layout) -> str:
    """Names, margins and areas on the faces that can hold them.

    Parameters
    ----------
    carton : Carton
        All faces.
    small : sequence of Small
        Those that cannot.
    laid : Layout
        Where everything stands.

    Returns
    -------
    str
        SVG elements.
    """
    apart = {id(one.shape) for one in small}
    letters = laid.size.letters
    taken: list[Box] = [*_reserved(laid)]
    taken += [_box([one.letter], *_key_at(one, laid), laid.size) for one in small]
    for panel in carton.panels.values():
        for shape in panel.shapes:
            x, y = laid.place(panel.name, shape.weakest[None])[0]
            taken.append((x - letters / 2, y - letters / 2, x + letters / 2, y + letters / 2))
    drawn = []
    for panel in carton.panels.values():
        for shape in panel.shapes:
            if id(shape) in apart:
                continue
            lines = _lines(shape.face, panel.name)
            at = _free_place(shape, panel.name, lines, laid, taken)
            taken.append(_box(lines, *at, laid.size))
            drawn.append(_on_ground(lines, *at, laid.size, bold=True))
        if not any(shape.face.kind is FaceKind.SOFT for shape in panel.shapes):
            said = _unmeasured(panel)
            if not said:
                continue
            middle = laid.place(panel.name, (panel.low + panel.high)[None] / 2.0)[0]
            drawn.append(_on_ground(said, float(middle[0]), float(middle[1]), laid.size))
    return "".join(drawn)


def _unmeasured(panel: Panel) -> Sequence[str]:
    """What is said on a side that has no face of its own."""
    if panel.name not in _HEADS:
        return [words.CARTON_PANELS[panel.name]]
    return [] if panel.shapes else words.CARTON_NO_BONE


def _reserved(laid: Layout) -> list[Box]:
    """Room of the legend, and of the words at the edges beside the middle column."""
    letters, line = laid.size.letters, LINE * laid.size.letters
    x, y = laid.legend_at
    wide = (2.7 + LETTER * max(map(len, words.CARTON_LEGEND))) * letters
    beside = float(laid.corners["right"][0])
    found = [(x, y, x + wide, y + (len(words.CARTON_LEGEND) + 1) * line)]
    for name, top in (("cranial", laid.corners["cranial"][1]),
                      ("caudal", laid.corners["front"][1] - 1.2 * line)):  # fmt: skip
        high = len(words.CARTON_PANELS[name]) * 0.75 * letters
        found.append((beside, float(top), beside + high, float(top) + line))
    return found


def _lines(face: FaceMargin, panel: str) -> list[str]:
    """What is said on a face."""
    said = [text.mm(face.margin_mm), words.square_mm(face.area_mm2)]
    if face.tumour_crossed_mm2 > 0.0:
        said = [*words.carton_crossed(face.tumour_crossed_mm2), *said]
    return said if panel in _HEADS else [words.CARTON_PANELS[panel], *said]


def _free_place(
    shape: Shape, panel: str, lines: Sequence[str], laid: Layout, taken: Sequence[Box]
) -> tuple[float, float]:
    """The first of a few places on the face where the words cover nothing else."""
    loops = laid.place(panel, np.concatenate(shape.loops))
    low, high = loops.min(axis=0), loops.max(axis=0)
    left, top, right, bottom = _box(lines, 0.0, 0.0, laid.size)
    x = (low[0] + high[0]) / 2.0
    if panel in _HEADS:  # numbers of two halves stand back to back at the midline
        middle = float(laid.place(panel, np.zeros((1, 2)))[0, 0])
        if high[0] <= middle + laid.size.letters:
            x = min(x, middle - right)
        elif low[0] >= middle - laid.size.letters:
            x = max(x, middle - left)
    room = max((high[1] - low[1] - (bottom - top)) / 2.0, 0.0)
    centre = (low[1] + high[1]) / 2.0
    aside = 0.0 if panel in _HEADS else max((high[0] - low[0] - (right - left)) / 2.0, 0.0)
    steps = (0.0, -0.3, 0.3, -0.6, 0.6, -1.0, 1.0)
    tried = sorted(((dx, dy) for dx in steps for dy in steps), key=lambda d: np.hypot(*d))
    for dx, dy in tried:
        at = float(x + dx * aside), float(centre + dy * room)
        if not any(_meet(_box(lines, *at, laid.size), box) for box in taken):
            return at
    return float(x), float(centre)


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _box(lines: Sequence[str], x: float, y: float, size: CartonSize) -> Box:
    """Room that lines of text take, centred on a place."""
    half = (max(map(len, lines)) * LETTER + 0.3) * size.letters / 2.0
    high = len(lines) * LINE * size.letters / 2.0
    return (x - half, y - high, x + half, y + high)


def _on_ground(
    lines: Sequence[str], x: float, y: float, size: CartonSize, *, bold: bool = False
) -> str:
    """Lines of text on a ground of their own, so that they can be read on any violet."""
    left, top, right, bottom = _box(lines, x, y, size)
    step = LINE * size.letters
    said = "".join(
        text_svg((x, top + (place + 0.5) * step), line, anchor="middle", bold=bold and place == 0)
        for place, line in enumerate(lines)
    )
    return (
        f'<rect x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" '
        f'height="{bottom - top:.1f}" rx="{size.letters * 0.25:.1f}" fill="{palette.SHEET}" '
        f'fill-opacity=".86"/>{said}'
    )


def text_svg(
    at: tuple[float, float], said: str, *, anchor: str = "start", bold: bool = False,
    turn: int = 0, ink: str = "",
) -> str:  # fmt: skip
    """One line of text about a place.

    Parameters
    ----------
    at : tuple of float, drawing units
        The place: the middle of the line's height.
    said : str
        The words.
    anchor : str
        Which end of the line stands there.
    bold : bool
        Whether it is bold.
    turn : int
        Degrees clockwise.
    ink : str
        Colour; empty: as the drawing.

    Returns
    -------
    str
        SVG element.
    """
    x, y = at
    how = f' transform="rotate({turn} {x:.1f} {y:.1f})"' if turn else ""
    how += ' font-weight="600"' if bold else ""
    how += f' fill="{ink}"' if ink else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" '
        f'dominant-baseline="central"{how}>{escape(said)}</text>'
    )


def list_rows(
    small: Sequence[Small], flaps: Sequence[Panel], laid: Layout
) -> tuple[list[Row], float]:
    """The list of small faces, flaps drawn true to scale beside their words.

    Parameters
    ----------
    small : sequence of Small
        Faces with a letter on the drawing.
    flaps : sequence of Panel
        Faces that have no place on a panel.
    laid : Layout
        Where everything stands.

    Returns
    -------
    tuple of (list of Row, float), drawing units
        The rows, and where they end.
    """
    x, y = laid.list_from
    letters = laid.size.letters
    column = (laid.size.width - 2.0 * x) / 2.0
    ends = [float(y), float(y)]
    rows = []
    for one in small:
        place = int(np.argmin(ends))
        row, high = _small_row(one, np.array([x + place * column, ends[place]]), column, laid.size)
        rows.append(row)
        ends[place] += high + 0.5 * letters
    for flap in flaps:
        place = int(np.argmin(ends))
        row, high = _flap_row(flap, np.array([x + place * column, ends[place]]), column, laid)
        rows.append(row)
        ends[place] += high + 0.5 * letters
    return rows, max(ends)


def _small_row(one: Small, at: Point, column: float, size: CartonSize) -> tuple[Row, float]:
    """A face with a letter on the drawing, in words."""
    x, y = at
    step = LINE * size.letters
    lines = _wrapped(one.shape.face, column - 1.6 * size.letters, size.letters)
    said = text_svg((x, y + step / 2), one.letter, bold=True)
    said += _rows_svg(lines, x + 1.2 * size.letters, y, size)
    return Row(said), step * len(lines)


def _flap_row(flap: Panel, at: Point, column: float, laid: Layout) -> tuple[Row, float]:
    """A flap true to scale, its words beside it."""
    letters = laid.size.letters
    wide, tall = (flap.high - flap.low) * laid.scale
    room = column - wide - 1.2 * letters
    lines = _wrapped(flap.shapes[0].face, room, letters)
    lines += textwrap.wrap(words.CARTON_SEEN_FROM[flap.name], _per_line(room, letters))
    corner, high = at + np.array([0.0, 0.3 * letters]), np.array([flap.low[0], flap.high[1]])
    placed = replace(laid, corners={flap.name: corner}, highs={flap.name: high})
    said = _rows_svg(lines, at[0] + wide + 0.8 * letters, at[1], laid.size)
    return Row(said, flap, placed), max(LINE * letters * len(lines), tall + 0.6 * letters)


def _per_line(width: float, letters: float) -> int:
    return max(8, int(width / (LETTER * letters)))


def _wrapped(face: FaceMargin, width: float, letters: float) -> list[str]:
    """A small face in words: name, margin, area, tumour cut through."""
    numbers = [text.mm(face.margin_mm), words.square_mm(face.area_mm2)]
    joined = text.joined_by_dot(*numbers)
    said = [face.name, *([joined] if len(joined) <= _per_line(width, letters) else numbers)]
    if face.tumour_crossed_mm2 > 0.0:
        said.append(words.crossed(face.tumour_crossed_mm2))
    return [line for part in said for line in textwrap.wrap(part, _per_line(width, letters))]


def _rows_svg(lines: Sequence[str], x: float, y: float, size: CartonSize) -> str:
    step = LINE * size.letters
    return "".join(
        text_svg((x, y + (place + 0.5) * step), line) for place, line in enumerate(lines)
    )


def edge_words(laid: Layout) -> str:
    """Which way is head, feet and front, at the edges of the panels.

    Parameters
    ----------
    laid : Layout
        Where everything stands.

    Returns
    -------
    str
        SVG elements.
    """
    letters = laid.size.letters
    line = LINE * letters
    head, feet, front = words.CARTON_EDGES
    middle = float(laid.place("back", np.zeros((1, 2)))[0, 0])
    tops = {name: float(corner[1]) for name, corner in laid.corners.items()}
    beside = float(laid.corners["right"][0]) + 0.3 * letters
    drawn = [
        _soft(middle, tops["cranial"] - 0.5 * line, front),
        _soft(middle, laid.bottom - 0.5 * line, head),
        text_svg(
            (beside, tops["cranial"] + 0.5 * line), words.CARTON_PANELS["cranial"], bold=True
        ),
        text_svg((beside, tops["front"] - 0.7 * line), words.CARTON_PANELS["caudal"], bold=True),
    ]
    for name, at in laid.middles.items():
        drawn.append(_soft(at, tops[name] - 0.55 * line, head))
        drawn.append(_soft(at, tops["caudal"] + 0.4 * line, feet))
    halfway = (tops["left"] + tops["caudal"]) / 2.0
    drawn.append(_soft(line * 0.45, halfway, front, turn=-90))
    drawn.append(_soft(laid.size.width - line * 0.45, halfway, front, turn=90))
    return "".join(drawn)


def _soft(x: float, y: float, said: str, turn: int = 0) -> str:
    return text_svg((x, y), said, anchor="middle", turn=turn, ink=palette.SOFT)
