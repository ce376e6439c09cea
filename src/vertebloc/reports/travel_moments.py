"""Six moments of the way out on one drawing, for paper."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from xml.sax.saxutils import escape

from vertebloc.reports import palette
from vertebloc.reports import travel_text as words
from vertebloc.reports.travel_picture import plane_svg
from vertebloc.space.views import View

_ACROSS = 3  #: moments side by side
_WIDE, _TALL, _CAPTION, _GAP, _TITLE = 600.0, 690.0, 76.0, 16.0, 44.0
_TEXT = 32  #: 9 pt on paper where the drawing is 186 mm wide


def moments_svg(scene: Mapping[str, Any], way: Mapping[str, Any]) -> str:
    """Draw the moments of a way out, in order, each with its numbers below it.

    Parameters
    ----------
    scene : mapping
        From ``travel_scene``.
    way : mapping
        One of its ways; without a path the piece is drawn once, at rest.

    Returns
    -------
    str
        SVG, seen from the feet, back of the patient up, the patient's left at the left.
    """
    played = way["played"]
    moments = played["moments"] if played else [0]
    across = min(_ACROSS, len(moments))
    rows = -(-len(moments) // _ACROSS)
    wide = across * (_WIDE + _GAP) - _GAP
    tall = _TITLE + rows * (_TALL + _CAPTION + _GAP) - _GAP
    drawn = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.0f} {tall:.0f}" role="img" '
        f'aria-label="{escape(words.MOMENTS)}" font-family="DejaVu Sans, sans-serif">'
        f'<text x="4" y="{_TEXT}" font-size="{_TEXT}" fill="{palette.INK}">'
        f"{escape(View.THEATRE_CROSS_SECTION.value)}</text>"
    ]
    for place, pose in enumerate(moments):
        x = (place % _ACROSS) * (_WIDE + _GAP)
        y = _TITLE + (place // _ACROSS) * (_TALL + _CAPTION + _GAP)
        drawn.append(
            f'<rect x="{x:.0f}" y="{y:.0f}" width="{_WIDE:.0f}" height="{_TALL:.0f}" '
            f'fill="{palette.NIGHT}"/>'
        )
        inner = plane_svg(scene, way, pose).partition(" ")[2]
        drawn.append(
            f'<svg x="{x:.0f}" y="{y:.0f}" width="{_WIDE:.0f}" height="{_TALL:.0f}" {inner}'
        )
        for line, said in enumerate(_captions(played, place, pose)):
            drawn.append(
                f'<text x="{x + 4:.0f}" y="{y + _TALL + (1.05 + 1.1 * line) * _TEXT:.0f}" '
                f'font-size="{_TEXT}" fill="{palette.INK}">{escape(said)}</text>'
            )
    return "".join(drawn) + "</svg>"


def _captions(played: Mapping[str, Any] | None, place: int, pose: int) -> tuple[str, str]:
    if played is None:
        return words.AT_REST, ""
    return words.moment_words(
        place + 1,
        played["moved_mm"][pose],
        played["clearance_mm"][pose],
        decides=pose == played["narrowest"],
    )
