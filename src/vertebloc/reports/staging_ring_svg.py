"""The twelve sectors as a ring about the sac, for the screen."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape

from vertebloc.reports import palette, picture_text, text
from vertebloc.space.views import View, edge_words

_SIZE, _INNER, _OUTER = 320.0, 58.0, 126.0


def ring_svg(sectors: Sequence[Mapping[str, Any]]) -> str:
    """Draw which sectors tumour involves and how full each is.

    Parameters
    ----------
    sectors : sequence of mapping
        ``staging.sectors`` of plan.json: from the posterior midline over the patient's left.

    Returns
    -------
    str
        SVG. Back of the patient up, seen from the feet, patient's left at the picture's left.
    """
    middle, step = _SIZE / 2, 360.0 / len(sectors)
    drawn = [
        f'<svg viewBox="0 0 {_SIZE:.0f} {_SIZE:.0f}" role="img" class="ring" '
        f'aria-label="{escape(text.SHEET_LABELS["staging"])}">',
        '<defs><pattern id="ring-hatch" width="7" height="7" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(35)"><rect width="7" height="7" fill="{palette.TUMOUR}"/>'
        f'<path d="M0 0H7" stroke="{palette.TUMOUR_HATCH}" stroke-width="2"/></pattern></defs>',
    ]
    labels: list[str] = []
    for place, sector in enumerate(sectors):
        first, last = math.radians(90 + place * step), math.radians(90 + (place + 1) * step)
        outer = [_at(middle, _OUTER, angle) for angle in (first, last)]
        inner = [_at(middle, _INNER, angle) for angle in (last, first)]
        fill = "url(#ring-hatch)" if sector["involved"] else palette.SHEET
        drawn.append(
            f'<path d="M{outer[0]} A{_OUTER} {_OUTER} 0 0 0 {outer[1]} L{inner[0]} '
            f'A{_INNER} {_INNER} 0 0 1 {inner[1]}Z" fill="{fill}" stroke="{palette.BONE_EDGE}">'
            f"<title>{escape(sector['words'])}</title></path>"
        )
        filled = text.bare_percent(sector["area_fraction"])
        if filled != text.bare_percent(0.0):
            x, y = _at(middle, (_INNER + _OUTER) / 2, (first + last) / 2).split(" ")
            ink = palette.BRIGHT if sector["involved"] else palette.INK
            ground = palette.TUMOUR if sector["involved"] else palette.SHEET
            labels.append(
                f'<rect x="{float(x) - 15:.1f}" y="{float(y) - 9:.1f}" width="30" height="18" '
                f'fill="{ground}"/><text x="{x}" y="{y}" fill="{ink}" text-anchor="middle" '
                f'dominant-baseline="central" font-size="14">{filled}</text>'
            )
    drawn += labels
    drawn.append(
        f'<circle cx="{middle}" cy="{middle}" r="36" fill="{palette.SAC}" '
        f'stroke="{palette.BONE_EDGE}"/>' + _word(middle, middle, picture_text.AREA_NAMES["sac"])
    )
    around = edge_words(View.THEATRE_CROSS_SECTION)
    drawn += [
        _word(middle, 14, around["up"]),
        _word(middle, _SIZE - 12, around["down"]),
        _word(14, middle, around["left"], turn=-90),
        _word(_SIZE - 14, middle, around["right"], turn=90),
    ]
    return "".join(drawn) + "</svg>"


def _at(middle: float, radius: float, angle: float) -> str:
    return f"{middle + radius * math.cos(angle):.2f} {middle - radius * math.sin(angle):.2f}"


def _word(x: float, y: float, word: str, turn: int = 0) -> str:
    turned = f' transform="rotate({turn} {x} {y})"' if turn else ""
    return (
        f'<text x="{x}" y="{y}" text-anchor="middle" dominant-baseline="central" font-size="14" '
        f'font-weight="600" fill="{palette.INK}"{turned}>{escape(word)}</text>'
    )
