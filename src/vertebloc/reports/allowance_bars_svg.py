"""How far each bone cut may err, as bars for the screen; made anew at every step of a drag."""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape

from vertebloc.reports import palette, picture_text, text
from vertebloc.reports.scene import HandError
from vertebloc.resection.model import FaceKind, FaceMargin

_WIDTH, _BAR_FROM, _BAR_TO, _ROW = 366, 0, 236, 42
LONGEST_MM = 20.0  #: a bar's full length; longer rooms end in an open edge


def bars_svg(faces: Sequence[FaceMargin], hand: HandError, wanted_margin_mm: float) -> str:
    """Draw the room of every bone face, thinnest first.

    Parameters
    ----------
    faces : sequence of FaceMargin
        Measured faces; soft ones are left out.
    hand : HandError
        How far hands were found to be off; drawn as a bracket about the wanted place.
    wanted_margin_mm : float, mm
        Drawn as a tick.

    Returns
    -------
    str
        SVG: ink = room to tumour, number beside it, tilt below it; never both at once.
    """
    chosen = sorted(
        (face for face in faces if face.kind is FaceKind.BONE), key=lambda face: face.margin_mm
    )
    rows = [_row(face, place, hand, wanted_margin_mm) for place, face in enumerate(chosen)]
    height = _ROW * len(rows) + 4
    return (
        f'<svg viewBox="0 0 {_WIDTH} {height}" role="img" class="bars" '
        f'font-family="DejaVu Sans, sans-serif" font-size="14" fill="{palette.INK}" '
        f'aria-label="{escape(text.SHEET_LABELS["bars"])}">{"".join(rows)}</svg>'
    )


def _x(mm: float) -> float:
    return _BAR_FROM + min(max(mm, 0.0), LONGEST_MM) / LONGEST_MM * (_BAR_TO - _BAR_FROM)


def _row(face: FaceMargin, place: int, hand: HandError, wanted_mm: float) -> str:
    top = _ROW * place
    bar, middle = top + 20, top + 30
    room = max(face.margin_mm, 0.0)
    allowance = face.allowance
    offset = text.mm(max(allowance.offset_mm, 0.0)) if allowance is not None else ""
    tilt = text.degrees_sign(allowance.tilt_deg) if allowance is not None else ""
    if allowance is not None:
        more_mm = allowance.offset_mm >= allowance.searched_to_mm - 0.01
        more_deg = allowance.tilt_deg >= allowance.searched_to_deg - 0.01
        offset, tilt = ("> " if more_mm else "") + offset, ("> " if more_deg else "") + tilt
    colour = palette.room_colour(room, 15.0)
    if face.margin_mm < 0.0:
        filled = (
            f'<rect x="{_BAR_FROM}" y="{bar}" width="{_BAR_TO - _BAR_FROM}" height="14" '
            f'fill="{palette.TUMOUR}"/><text x="{_BAR_FROM + 6}" y="{middle + 2}" fill="#fff" '
            f'font-size="13">{escape(picture_text.in_tumour(face.margin_mm))}</text>'
        )
    else:
        filled = (
            f'<rect x="{_BAR_FROM}" y="{bar}" width="{_x(room) - _BAR_FROM:.1f}" height="14" '
            f'fill="{colour}" stroke="{palette.INK}" stroke-width=".5"/>'
        )
    low, high = _x(hand.low_mm), _x(hand.high_mm)
    bracket = (
        f'<path d="M{low:.1f} {bar - 3}v20M{high:.1f} {bar - 3}v20'
        f'M{low:.1f} {middle - 3}H{high:.1f}" '
        f'stroke="{palette.INK}" fill="none" stroke-width="1.4"/>'
    )
    tick = f'<path d="M{_x(wanted_mm):.1f} {bar - 2}v18" stroke="{palette.CUT}" stroke-width="3"/>'
    return (
        f'<text x="0" y="{top + 15}">{escape(face.name)}</text>'
        f'<rect x="{_BAR_FROM}" y="{bar + 3}" width="{_BAR_TO - _BAR_FROM}" height="8" '
        f'fill="{palette.TRACK}"/>{filled}{tick}{bracket}'
        f'<text x="{_WIDTH}" y="{top + 15}" text-anchor="end" font-weight="600">'
        f"{escape(text.mm(face.margin_mm))}</text>"
        f'<text x="{_WIDTH}" y="{top + 35}" text-anchor="end" font-size="13">'
        f"{escape(offset)} / {escape(tilt)}</text>"
    )
