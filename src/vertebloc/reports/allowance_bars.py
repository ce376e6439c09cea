"""How far may each bone cut err: one bar a face, with the hand's published error drawn on it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from vertebloc.reports import palette, picture_text, text
from vertebloc.reports.canvas import TEXT_PT, png_bytes, sheet_canvas
from vertebloc.reports.scene import HandError
from vertebloc.resection.model import FaceMargin

#: The bars' full length, and from where on a bar is at its lightest, mm of room.
BAR_END_MM = 10.0

#: Height of one bar's line, printed mm.
_ROW_MM = 5.4

#: Room for the name before a bar and for the numbers after it, printed mm.
_NAME_MM = 50.0
_NUMBERS_MM = 36.0

_EDGE_MM = 1.5
_TICK_MM = 1.6
_TITLE_MM = 5.4
_LINE_MM = 4.0
_BAR_HEIGHT_MM = 2.6


def allowance_picture(
    faces: Sequence[FaceMargin],
    hand: HandError | None,
    printed_mm: tuple[float, float] = (122.0, 40.0),
) -> bytes:
    """Bars of room to tumour, one a bone face.

    Parameters
    ----------
    faces : sequence of FaceMargin
        Bone faces.
    hand : HandError or None
        Bracket to draw on each bar; None for none.
    printed_mm : (float, float), mm
        Width on paper, and height unless the bars need more.

    Returns
    -------
    bytes
        PNG. A bar's length and darkness show the margin to tumour, the numbers beside it how far
        the cut may err, offset or tilt.

    Notes
    -----
    Bars end at 10 mm; a longer margin fills its bar and is told by its number.
    """
    width = printed_mm[0]
    note = [] if hand is None else text.wrapped(hand.words, int(width / 1.88)).split("\n")
    foot = _LINE_MM * len(note) + _EDGE_MM
    height = max(printed_mm[1], _TITLE_MM + _ROW_MM * max(1, len(faces)) + foot)
    figure, axes = sheet_canvas((width, height))
    _write(axes, _EDGE_MM, _TITLE_MM / 2 + 0.4, text.SHEET_LABELS["bars"], weight="bold")
    if not faces:
        _write(axes, _EDGE_MM, _TITLE_MM + _ROW_MM / 2, picture_text.bars_empty())
    for row, face in enumerate(faces):
        _draw_row(axes, face, hand, _TITLE_MM + row * _ROW_MM, width)
    for row, line in enumerate(note):
        y = height - foot + (row + 0.5) * _LINE_MM
        _write(axes, _EDGE_MM, y, line, color=palette.SOFT)
    return png_bytes(figure)


def _draw_row(
    axes: Axes, face: FaceMargin, hand: HandError | None, top_mm: float, width_mm: float
) -> None:
    """Name of one face, its bar, and how far its cut may err, on one line."""
    middle_y = top_mm + _ROW_MM / 2
    start = _EDGE_MM + _NAME_MM
    length = width_mm - start - _NUMBERS_MM - _EDGE_MM
    _write(axes, _EDGE_MM, middle_y, face.name)
    if face.allowance is None or face.margin_mm < 0:
        numbers = picture_text.in_tumour(face.margin_mm)
    else:
        numbers = text.offset_and_tilt(
            text.or_more(
                text.mm(max(face.allowance.offset_mm, 0.0)),
                face.allowance.offset_mm,
                face.allowance.searched_to_mm,
            ),
            text.or_more(
                text.degrees_sign(max(face.allowance.tilt_deg, 0.0)),
                face.allowance.tilt_deg,
                face.allowance.searched_to_deg,
            ),
        )
    bar_y = middle_y - _BAR_HEIGHT_MM / 2
    _write(axes, width_mm - _EDGE_MM, middle_y, numbers, ha="right", weight="bold")
    axes.add_patch(Rectangle((start, bar_y), length, _BAR_HEIGHT_MM, fc=palette.TRACK, ec="none"))
    room = min(max(face.margin_mm, 0.0), BAR_END_MM)
    axes.add_patch(
        Rectangle(
            (start, bar_y),
            length * room / BAR_END_MM,
            _BAR_HEIGHT_MM,
            fc=palette.room_colour(room, BAR_END_MM),
            ec=palette.INK,
            lw=0.5,
        )
    )
    if hand is not None:
        _draw_bracket(axes, hand, middle_y, (start, length))


def _draw_bracket(axes: Axes, hand: HandError, y: float, bar_mm: tuple[float, float]) -> None:
    """The hand's error, from its low to its high end, paper-white around ink."""
    start_mm, length_mm = bar_mm
    low, high = (
        start_mm + length_mm * min(end, BAR_END_MM) / BAR_END_MM
        for end in (hand.low_mm, hand.high_mm)
    )
    for color, lw in ((palette.SHEET, 2.6), (palette.INK, 1.0)):
        axes.plot([low, high], [y, y], color=color, lw=lw, solid_capstyle="butt")
        for x in (low, high):
            axes.plot(
                [x, x], [y - _TICK_MM, y + _TICK_MM], color=color, lw=lw, solid_capstyle="butt"
            )


def _write(axes: Axes, x: float, y: float, words: str, **how: Any) -> None:
    how.setdefault("color", palette.INK)
    axes.text(x, y, words, family="DejaVu Sans", fontsize=TEXT_PT, va="center", **how)
