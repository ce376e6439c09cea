"""How far each bone cut may err, as bars for the screen; made anew at every step of a drag."""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape, quoteattr

from vertebloc.reports import palette, picture_text, text
from vertebloc.reports.scene import HandError
from vertebloc.reports.screen_scene import WIDEST_MM
from vertebloc.resection.model import FaceKind, FaceMargin

_WIDTH, _BAR_TO, _HEAD, _ROW = 366, 196, 20, 50
LONGEST_MM = 20.0  #: a bar's full length; longer rooms end in an arrow

_HATCH = (
    '<defs><pattern id="bars-hatch" width="7" height="7" patternUnits="userSpaceOnUse" '
    f'patternTransform="rotate(35)"><rect width="7" height="7" fill="{palette.TUMOUR}"/>'
    f'<path d="M0 0H7" stroke="{palette.TUMOUR_HATCH}" stroke-width="2"/></pattern></defs>'
)


def bars_svg(faces: Sequence[FaceMargin], hand: HandError, wanted_margin_mm: float) -> str:
    """Draw the room of every bone face, thinnest first.

    Parameters
    ----------
    faces : sequence of FaceMargin
        Measured faces; soft ones are left out.
    hand : HandError
        How far hands were found to be off; drawn as a bracket from the bar's beginning.
    wanted_margin_mm : float, mm
        Drawn as a tick.

    Returns
    -------
    str
        SVG: ink = room to tumour with its number; below it how far the cut may be off or tilted,
        never both at once. A face in tumour has a hatched bar and may not err at all.
    """
    chosen = sorted(
        (face for face in faces if face.kind is FaceKind.BONE), key=lambda face: face.margin_mm
    )
    rows = [_row(face, place, hand, wanted_margin_mm) for place, face in enumerate(chosen)]
    if not rows:
        rows = [f'<text x="0" y="{_HEAD + 15}">{escape(picture_text.bars_empty())}</text>']
    height = _HEAD + _ROW * len(rows) + 2
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH} {height}" role="img" '
        f'class="bars" font-family="DejaVu Sans, sans-serif" font-size="14" '
        f'fill="{palette.INK}" aria-label="{escape(text.SHEET_LABELS["bars"])}">{_HATCH}'
        f'<text x="0" y="13" font-size="13" fill="{palette.SOFT}">'
        f"{escape(picture_text.bars_room())}</text>"
        f'<text x="{_WIDTH}" y="13" text-anchor="end" font-size="13" fill="{palette.SOFT}">'
        f"{escape(picture_text.bars_may_err())}</text>{''.join(rows)}</svg>"
    )


def _x(mm: float) -> float:
    return min(max(mm, 0.0), LONGEST_MM) / LONGEST_MM * _BAR_TO


def _row(face: FaceMargin, place: int, hand: HandError, wanted_mm: float) -> str:
    top = _HEAD + _ROW * place
    bar = top + 22
    low, high, wanted = _x(hand.low_mm), _x(hand.high_mm), _x(wanted_mm)
    bracket = (
        f'd="M{low + 0.7:.1f} {bar - 3}v20M{high:.1f} {bar - 3}v20M{low:.1f} {bar + 7}H{high:.1f}"'
    )
    marks = (
        f'<path class="hand" {bracket} stroke="{palette.SHEET}" fill="none" stroke-width="3.4"/>'
        f'<path {bracket} stroke="{palette.INK}" fill="none" stroke-width="1.4"/>'
        f'<path class="wanted" d="M{wanted:.1f} {bar - 3}v20" stroke="{palette.CUT}" '
        'stroke-width="3"/>'
    )
    return (
        f"<g data-face={quoteattr(face.name)}>"
        f'<text x="0" y="{top + 15}">{escape(face.name)}</text>'
        f'<rect x="0" y="{bar + 3}" width="{_BAR_TO}" height="8" fill="{palette.TRACK}"/>'
        f"{_ink(face.margin_mm, bar)}{marks}"
        f'<text x="{_WIDTH}" y="{top + 15}" text-anchor="end" font-weight="600">'
        f"{escape(text.mm(face.margin_mm))}</text>"
        f'<text x="{_WIDTH}" y="{top + 35}" text-anchor="end" font-size="13">'
        f"{escape(_may_err(face))}</text></g>"
    )


def _ink(margin_mm: float, bar: int) -> str:
    """The bar itself: violet as long as the room, hatched where the cut runs in tumour."""
    if margin_mm < 0.0:
        return (
            f'<rect class="room" x="0" y="{bar}" width="{_BAR_TO}" height="14" '
            'fill="url(#bars-hatch)"/>'
        )
    colour = palette.room_colour(margin_mm, WIDEST_MM)
    drawn = (
        f'<rect class="room" x="0" y="{bar}" width="{_x(margin_mm):.1f}" height="14" '
        f'fill="{colour}" stroke="{palette.INK}" stroke-width=".5"/>'
    )
    if margin_mm > LONGEST_MM:
        drawn += f'<path class="longer" d="M{_BAR_TO} {bar}l8 7l-8 7z" fill="{colour}"/>'
    return drawn


def _may_err(face: FaceMargin) -> str:
    """How far the cut may be off, or tilted: one or the other."""
    if face.margin_mm < 0.0:
        return picture_text.in_tumour(face.margin_mm)
    allowance = face.allowance
    if allowance is None:
        return ""
    return text.offset_and_tilt(
        text.or_more(
            text.mm(max(allowance.offset_mm, 0.0)), allowance.offset_mm, allowance.searched_to_mm
        ),
        text.or_more(
            text.degrees_sign(max(allowance.tilt_deg, 0.0)),
            allowance.tilt_deg,
            allowance.searched_to_deg,
        ),
    )
