"""The unrolled ring as a drawing: angle about the sac by height, turned as theatre sees it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from vertebloc.access import Ring, RingMap
from vertebloc.access.ring_model import LeastContaminated, Opening
from vertebloc.reports import access_text as words
from vertebloc.reports import page_words, palette
from vertebloc.space.frames import Side
from vertebloc.staging import Answer

#: Drawing units a degree, and a millimetre of height: lying, and head up.
_LYING, _UPRIGHT = (1.5, 17.0), (2.2, 11.0)
_RIM = 118.0  #: around the ring, for words
_TEXT = 19

#: Kinds of cells, from what is drawn first to what must not be hidden.
_BONE, _NEAR, _TUMOUR, _TRACT = 1, 2, 3, 4


@dataclass(frozen=True, slots=True)
class _Paper:
    """Where angles and heights lie on the drawing; the side of standing turns it."""

    ring: RingMap
    standing: Side | None

    @property
    def scale(self) -> tuple[float, float]:
        """Units a degree, and a millimetre."""
        return _UPRIGHT if self.standing is None else _LYING

    @property
    def span(self) -> tuple[float, float]:
        """Size of the unrolled ring, along the angles and along the heights."""
        heights = self.ring.heights_mm
        degree, mm = self.scale
        return 360.0 * degree, (float(heights[0] - heights[-1]) + self.step) * mm

    @property
    def step(self) -> float:
        return float(self.ring.settings.plane_spacing_mm)

    @property
    def size(self) -> tuple[float, float]:
        along, high = self.span
        turned = self.standing is not None
        wide, tall = (high, along) if turned else (along, high)
        return wide + 2 * _RIM, tall + 2 * _RIM

    def at(self, angle_deg: float, height_mm: float) -> tuple[float, float]:
        """Place of an angle (positive: left) and a height (positive: head)."""
        top = float(self.ring.heights_mm[0]) + 0.5 * self.step
        degree, mm = self.scale
        across, down = (180.0 - angle_deg) * degree, (top - height_mm) * mm
        along, high = self.span
        if self.standing is Side.LEFT:  # head to the left, the patient's left at the bottom
            return _RIM + down, _RIM + along - across
        if self.standing is Side.RIGHT:  # head to the right, the patient's right at the bottom
            return _RIM + high - down, _RIM + across
        return _RIM + across, _RIM + down

    def beyond(self, angle_deg: float, off: float, *, head: bool) -> tuple[float, float]:
        """A place so far outside the ring's head or feet edge, at an angle."""
        ends = float(self.ring.heights_mm[0]), float(self.ring.heights_mm[-1])
        edge = ends[0] + 0.5 * self.step if head else ends[1] - 0.5 * self.step
        return self.at(angle_deg, edge + (off if head else -off) / self.scale[1])

    def box(self, first: float, last: float, low: float, high: float) -> str:
        """Attributes of a rectangle between two angles and two heights."""
        (x0, y0), (x1, y1) = self.at(first, low), self.at(last, high)
        return (
            f'x="{min(x0, x1):.1f}" y="{min(y0, y1):.1f}" width="{abs(x1 - x0):.1f}" '
            f'height="{abs(y1 - y0):.1f}"'
        )


def ring_picture_svg(ring: Ring, standing: Side | None) -> str:
    """Draw the unrolled ring.

    Parameters
    ----------
    ring : Ring
        What was found.
    standing : Side or None
        Side of the patient at which the surgeon stands; None: head up.

    Returns
    -------
    str
        SVG. Seen from behind, only turned, never mirrored: standing at the patient's left, the
        head is at the picture's left and the patient's left at the bottom; at the right, the
        head is at the right and the patient's right at the bottom; head up, left is at the left.
    """
    paper = _Paper(ring.map, standing)
    wide, tall = paper.size
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.0f} {tall:.0f}" '
            f'role="img" class="unrolled" '
            f'shape-rendering="crispEdges" aria-label="{escape(page_words.Question.RING.value)}" '
            'font-family="DejaVu Sans, sans-serif">',
            _patterns(),
            f'<rect width="{wide:.0f}" height="{tall:.0f}" fill="{palette.SHEET}"/>',
            *_cells(paper, _kinds(ring.map)),
            *_dots(paper, ring.nibbled),
            *_body(paper),
            *_openings(paper, ring),
            *_words(paper),
            "</svg>",
        )
    )


def _patterns() -> str:
    return (
        '<defs><pattern id="unrolled-tumour" width="9" height="9" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(35)"><rect width="9" height="9" fill="{palette.TUMOUR}"/>'
        f'<path d="M0 0H9" stroke="{palette.TUMOUR_HATCH}" stroke-width="3"/></pattern>'
        '<pattern id="unrolled-tract" width="6" height="6" patternUnits="userSpaceOnUse">'
        f'<rect width="6" height="6" fill="{palette.TUMOUR}"/>'
        f'<path d="M3 0V6" stroke="{palette.INK}" stroke-width="3"/></pattern>'
        '<pattern id="unrolled-dots" width="10" height="10" patternUnits="userSpaceOnUse">'
        f'<circle cx="5" cy="5" r="1.9" fill="{palette.INK}"/></pattern></defs>'
    )


_FILL = {
    _BONE: palette.BONE,
    _NEAR: palette.TUMOUR_WASH,
    _TUMOUR: "url(#unrolled-tumour)",
    _TRACT: "url(#unrolled-tract)",
}


def _kinds(ring: RingMap) -> NDArray[np.int64]:
    kinds = np.where(np.isnan(ring.wall_mm), 0, _BONE)
    kinds[ring.growth_mm <= ring.settings.contour_error_mm] = _NEAR
    kinds[ring.growth_mm <= 0.0] = _TUMOUR
    kinds[ring.tract] = _TRACT
    return kinds


def _cells(paper: _Paper, kinds: NDArray[np.int64]) -> Iterator[str]:
    """Runs of equal cells in a row as one rectangle."""
    for kind, fill in _FILL.items():
        for first, last, low, high in _runs(paper, kinds == kind):
            yield f'<rect {paper.box(first, last, low, high)} fill="{fill}"/>'


def _dots(paper: _Paper, nibbled: NDArray[np.bool_]) -> Iterator[str]:
    for first, last, low, high in _runs(paper, nibbled):
        yield f'<rect {paper.box(first, last, low, high)} fill="url(#unrolled-dots)"/>'


def _runs(paper: _Paper, where: NDArray[np.bool_]) -> Iterator[tuple[float, float, float, float]]:
    angles = paper.ring.angles_deg
    half = 0.5 * float(angles[1] - angles[0])
    for row, height in enumerate(paper.ring.heights_mm):
        steps = np.diff(np.concatenate(([0], where[row].astype(np.int8), [0])))
        ends = zip(np.flatnonzero(steps == 1), np.flatnonzero(steps == -1) - 1, strict=True)
        for first, last in ends:
            yield (
                float(angles[first]) - half,
                float(angles[last]) + half,
                float(height) - 0.5 * paper.step,
                float(height) + 0.5 * paper.step,
            )


def _body(paper: _Paper) -> Iterator[str]:
    """A veil over the body, which is no arch; the word on it."""
    heights = paper.ring.heights_mm
    low, high = float(heights[-1]) - 0.5 * paper.step, float(heights[0]) + 0.5 * paper.step
    right, left = paper.ring.edges_deg
    for first, last in ((-180.0, right), (left, 180.0)):
        box = paper.box(first, last, low, high)
        yield f'<rect {box} fill="{palette.SHEET}" fill-opacity="0.55"/>'
        edge = right if first < right <= last and first == -180.0 else left
        (x0, y0), (x1, y1) = paper.at(edge, low), paper.at(edge, high)
        yield (
            f'<path d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" stroke="{palette.INK}" '
            'stroke-width="2" stroke-dasharray="7 5"/>'
        )
        yield _word(*paper.at(0.5 * (first + last), 0.5 * (low + high)), words.BODY, ground=True)
    yield f'<rect {paper.box(-180.0, 180.0, low, high)} fill="none" stroke="{palette.BONE_EDGE}"/>'


def _openings(paper: _Paper, ring: Ring) -> Iterator[str]:
    """The openings as teal bands along the feet edge; the least contaminated one in plum."""
    free = [one for one in ring.openings if one.side and one.width_mm > 0.0]
    if free:
        best = next((one for one in free if one.answer is Answer.YES), free[0])
        yield from _band(paper, best, palette.CUT, _opening_words(best))
    if ring.least is not None and ring.least.crossed_mm2 > 0.0:
        said = f"{words.LEAST_WORD}: {words.square_mm(ring.least.crossed_mm2)}"
        yield from _band(paper, ring.least, palette.TUMOUR, said)
    elif not free:
        x, y = paper.beyond(0.0, 34.0, head=False)
        yield _word(x, y, words.NO_OPENING, turn=_along(paper))


def _opening_words(one: Opening) -> str:
    if one.is_clear or one.needed_mm == 0.0:
        return words.OPENING
    return f"{words.OPENING}: {one.width_mm:.1f} mm, {words.SAC_WORD} {one.needed_mm:.1f} mm"


def _band(
    paper: _Paper, one: Opening | LeastContaminated, colour: str, said: str
) -> Iterator[str]:
    heights = paper.ring.heights_mm
    low, high = float(heights[-1]) - 0.5 * paper.step, float(heights[0]) + 0.5 * paper.step
    box = paper.box(one.first_deg, one.last_deg, low, high)
    yield f'<rect {box} fill="{colour}" fill-opacity="0.10" stroke="{colour}" stroke-width="4"/>'
    (x0, y0), (x1, y1) = (
        paper.beyond(end, 14.0, head=False) for end in (one.first_deg, one.last_deg)
    )
    yield (
        f'<path d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" stroke="{colour}" stroke-width="8" '
        'stroke-linecap="round"/>'
    )
    middle = 0.5 * (one.first_deg + one.last_deg)
    x, y = paper.beyond(middle, 38.0, head=False)
    yield _word(x, y, said, turn=_along(paper), colour=colour)


def _along(paper: _Paper) -> int:
    """Words along the edge run along the angles."""
    return 0 if paper.standing is None else -90


def _words(paper: _Paper) -> Iterator[str]:
    for name, angle in zip(words.RING_PARTS, words.RING_PARTS_DEG, strict=True):
        x, y = paper.beyond(angle, 18.0, head=True)
        yield _word(x, y, name, turn=_along(paper), size=18, colour=palette.SOFT)
    x, y = paper.beyond(0.0, 66.0, head=True)
    yield _word(x, y, page_words.HEAD)
    x, y = paper.beyond(0.0, 84.0, head=False)
    yield _word(x, y, page_words.FEET)
    heights = paper.ring.heights_mm
    middle = 0.5 * float(heights[0] + heights[-1])
    beside = 0 if paper.standing is not None else -90
    degree = paper.scale[0]
    off = 30.0 / degree
    for angle, said in ((180.0 + off, words.LEFT_SIDE), (-180.0 - off, words.RIGHT_SIDE)):
        yield _word(*paper.at(angle, middle), said, turn=beside)
    ends = (
        paper.at(-180.0 - 60.0 / degree, middle - 5.0),
        paper.at(-180.0 - 60.0 / degree, middle + 5.0),
    )
    (x0, y0), (x1, y1) = ends
    yield (
        f'<path d="M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}" stroke="{palette.INK}" stroke-width="4"/>'
    )
    yield _word(
        *paper.at(-180.0 - 78.0 / degree, middle), words.HEIGHT_SCALE, turn=beside, size=18
    )


def _word(  # noqa: PLR0913  a word has a place and a look
    x: float,
    y: float,
    said: str,
    *,
    turn: int = 0,
    size: int = _TEXT,
    colour: str = palette.INK,
    ground: bool = False,
) -> str:
    turned = f' transform="rotate({turn} {x:.1f} {y:.1f})"' if turn else ""
    wide = 0.66 * size * len(said)
    under = (
        f'<rect x="{x - wide / 2:.1f}" y="{y - size * 0.75:.1f}" width="{wide:.1f}" '
        f'height="{1.5 * size:.1f}" fill="{palette.SHEET}"/>'
        if ground
        else ""
    )
    return (
        f'{under}<text x="{x:.1f}" y="{y + 0.35 * size:.1f}" text-anchor="middle" '
        f'font-size="{size}" font-weight="600" fill="{colour}"{turned}>{escape(said)}</text>'
    )
