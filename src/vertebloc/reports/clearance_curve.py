"""Room at the sac along the way out, with what is wanted at each place, as SVG."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any
from xml.sax.saxutils import escape

import numpy as np

from vertebloc.reports import palette, text
from vertebloc.reports import travel_text as words

_WIDE, _TALL = 1000.0, 170.0
_LEFT, _RIGHT, _TOP, _FOOT = 64.0, 16.0, 26.0, 40.0
_TEXT = 16
_LEAST_TOP_MM = 6.0  #: the curve is cut off above this, or above three times what is wanted


def curve_svg(way: Mapping[str, Any], least_mm: float) -> str:
    """Draw room at the sac against the way of the piece.

    Parameters
    ----------
    way : mapping
        With ``played``.
    least_mm : float, mm
        What is wanted once the piece is clear of its seat.

    Returns
    -------
    str
        SVG; empty if there is no path. Whole line: room; dashed: what is wanted there; ring: the
        place that decides. Room above the drawing's top is cut off at it.
    """
    played = way["played"]
    if played is None:
        return ""
    along = np.array(played["along_mm"])
    top = max(_LEAST_TOP_MM, 3.0 * least_mm)
    x_of = _LEFT + (_WIDE - _LEFT - _RIGHT) * along / max(float(along[-1]), 1e-6)

    def y_of(value: float) -> float:
        low = min(0.0, float(min(played["clearance_mm"])), float(min(played["demanded_mm"])))
        share = (min(max(value, low), top) - low) / (top - low)
        return float(_TALL - _FOOT - (_TALL - _FOOT - _TOP) * share)

    lines = {
        name: "L".join(f"{x:.1f} {y_of(v):.1f}" for x, v in zip(x_of, played[name], strict=True))
        for name in ("clearance_mm", "demanded_mm")
    }
    at = played["narrowest"]
    u, v = float(x_of[at]), y_of(played["clearance_mm"][at])
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDE:.0f} {_TALL:.0f}" '
            f'role="img" class="curve" aria-label="{escape(words.CURVE)}" '
            f'data-left="{_LEFT:g}" data-wide="{_WIDE - _LEFT - _RIGHT:g}" '
            'font-family="DejaVu Sans, sans-serif">'
            f'<rect width="{_WIDE:.0f}" height="{_TALL:.0f}" fill="{palette.SHEET}"/>',
            *_scale(y_of, top, float(along[-1])),
            f'<path d="M{lines["demanded_mm"]}" fill="none" stroke="{palette.CUT}" '
            'stroke-width="2.5" stroke-dasharray="8 6"/>',
            f'<path d="M{lines["clearance_mm"]}" fill="none" stroke="{palette.INK}" '
            'stroke-width="3"/>',
            f'<circle cx="{u:.1f}" cy="{v:.1f}" r="8" fill="none" stroke="{palette.INK}" '
            'stroke-width="3"/>',
            _word(u + 14.0, _TOP + 12.0, words.narrowest(played["clearance_mm"][at]), ground=True),
            f'<path d="M{u:.1f} {v - 8.0:.1f}V{_TOP + 12.0:.1f}H{u + 12.0:.1f}" fill="none" '
            f'stroke="{palette.INK}" stroke-width="1"/>',
            f'<path class="cursor" d="M{_LEFT:.1f} {_TOP - 10:.1f}V{_TALL - _FOOT:.1f}" '
            f'stroke="{palette.TUMOUR}" stroke-width="3"/>',
            "</svg>",
        )
    )


def _scale(y_of: Any, top: float, length_mm: float) -> Iterator[str]:
    step = 2.0 if top <= 12.0 else 5.0
    for value in np.arange(0.0, top + 0.01, step):
        y = y_of(float(value))
        yield (
            f'<path d="M{_LEFT} {y:.1f}H{_WIDE - _RIGHT}" stroke="{palette.LINE}" '
            f'stroke-width="1"/>{_word(_LEFT - 8.0, y, f"{value:.0f}", anchor="end")}'
        )
    yield _word(_LEFT, 13.0, words.CURVE_AXES)
    foot = _TALL - 0.5 * _FOOT
    yield _word(_LEFT, foot, words.AT_REST)
    yield _word(_WIDE - _RIGHT, foot, words.outside_after(text.whole_mm(length_mm)), anchor="end")


def _word(x: float, y: float, said: str, *, anchor: str = "start", ground: bool = False) -> str:
    under = (
        f'<rect x="{x - 2:.1f}" y="{y - 0.6 * _TEXT:.1f}" width="{0.56 * _TEXT * len(said):.1f}" '
        f'height="{1.2 * _TEXT:.1f}" fill="{palette.SHEET}"/>'
        if ground
        else ""
    )
    return (
        f'{under}<text x="{x:.1f}" y="{y + 0.35 * _TEXT:.1f}" text-anchor="{anchor}" '
        f'font-size="{_TEXT}" fill="{palette.INK}">{escape(said)}</text>'
    )
