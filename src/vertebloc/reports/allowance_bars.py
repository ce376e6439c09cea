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

#: Least height of one bar with its words, printed mm.
_ROW_MM = 6.9

#: Room for the numbers beside a bar, printed mm.
_NUMBERS_MM = 36.0

_EDGE_MM = 1.5
_TICK_MM = 1.3
_TITLE_MM = 5.0
_LINE_MM = 4.0
_BAR_HEIGHT_MM = 2.4


def allowance_picture(
    faces: Sequence[FaceMargin],
    hand: HandError | None,
    printed_mm: tuple[float, float] = (63.0, 49.0),
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
    pitch = (height - _TITLE_MM - foot) / max(1, len(faces))
    for row, face in enumerate(faces):
        _draw_row(axes, face, hand, _TITLE_MM + row * pitch, width)
    for row, line in enumerate(note):
        y = height - foot + (row + 0.5) * _LINE_MM
        _write(axes, _EDGE_MM, y, line, color=palette.SOFT)
    return png_bytes(figure)


def _draw_row(
    axes: Axes, face: FaceMargin, hand: HandError | None, top_mm: float, width_mm: float
) -> None:
    """Name and numbers of one face, and beneath them its bar."""
    words_y, bar_y = top_mm + 1.8, top_mm + 4.2
    length = width_mm - 3 * _EDGE_MM - _NUMBERS_MM
    _write(axes, _EDGE_MM, words_y, face.name)
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
    middle_y = bar_y + _BAR_HEIGHT_MM / 2
    _write(axes, width_mm - _EDGE_MM, middle_y, numbers, ha="right", weight="bold")
    axes.add_patch(
        Rectangle((_EDGE_MM, bar_y), length, _BAR_HEIGHT_MM, fc=palette.TRACK, ec="none")
    )
    room = min(max(face.margin_mm, 0.0), BAR_END_MM)
    axes.add_patch(
        Rectangle(
            (_EDGE_MM, bar_y),
            length * room / BAR_END_MM,
            _BAR_HEIGHT_MM,
            fc=palette.room_colour(room, BAR_END_MM),
            ec=palette.INK,
            lw=0.5,
        )
    )
    if hand is not None:
        _draw_bracket(axes, hand, middle_y, length)


def _draw_bracket(axes: Axes, hand: HandError, y: float, length_mm: float) -> None:
    """The hand's error, from its low to its high end, paper-white around ink."""
    low, high = (
        _EDGE_MM + length_mm * min(end, BAR_END_MM) / BAR_END_MM
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
