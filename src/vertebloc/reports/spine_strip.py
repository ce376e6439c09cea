"""The person's spine as a strip: the navigation in space, and where the cuts lie."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from xml.sax.saxutils import escape

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy
from vertebloc.case.choice_words import CountedFrom
from vertebloc.reports import page_words as words
from vertebloc.reports import palette
from vertebloc.space.frames import Side

_WIDTH, _TOP = 110.0, 26.0
_ROWS_PX = (40.0, 118.0)  #: least and most height of one vertebra's row
_STRIP_PX = 760.0


def strip_svg(anatomy: Anatomy, level: Level, document: Mapping[str, Any] | None) -> str:
    """Draw the outlined vertebrae from head to feet.

    Parameters
    ----------
    anatomy : Anatomy
        Vertebrae and ribs.
    level : Level
        The diseased one.
    document : mapping or None
        Content of plan.json: cuts, confirmation, the end that is counted from.

    Returns
    -------
    str
        SVG; each vertebra is a link ``data-level`` that turns the picture there. The patient's
        left is at the left, as seen from behind.
    """
    order = sorted(anatomy.vertebrae)
    row = min(max(_STRIP_PX / max(len(order), 1), _ROWS_PX[0]), _ROWS_PX[1])
    confirmation = (document or {}).get("level_confirmation", {})
    ribs = {(rib.level, rib.side) for rib in anatomy.ribs}
    with_ribs = {rib.level for rib in anatomy.ribs if rib.level is not None}
    counts = _counts(order, confirmation, with_ribs)
    drawn = [
        f'<svg viewBox="0 0 {_WIDTH:.0f} {_TOP * 2 + row * len(order):.0f}" '
        'font-family="DejaVu Sans, sans-serif" font-size="14" '
        f'role="group" aria-label="{escape(words.DIRECTION_ORDER)}">',
        '<defs><pattern id="strip-hatch" width="7" height="7" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(35)"><rect width="7" height="7" fill="{palette.TUMOUR}"/>'
        f'<path d="M0 0H7" stroke="{palette.TUMOUR_HATCH}" stroke-width="1.6"/></pattern></defs>',
        _text(_WIDTH / 2, 13, words.HEAD, palette.SOFT),
    ]
    for place, at in enumerate(order):
        top = _TOP + place * row
        sides = [side for side in Side if (at, side) in ribs]
        drawn.append(_vertebra(at, top, row, diseased=at == level, ribs=sides))
        if at in counts:
            drawn.append(_count(counts[at], top + row * 0.62))
    drawn += [_cut_line(order, cut, row, anatomy) for cut in _body_cuts(document)]
    foot = _TOP * 1.5 + row * len(order)
    drawn.append(_text(_WIDTH / 2, foot, words.FEET, palette.SOFT))
    return "".join(drawn) + "</svg>"


def _vertebra(at: Level, top: float, row: float, *, diseased: bool, ribs: list[Side]) -> str:
    height = row * 0.66
    fill = "url(#strip-hatch)" if diseased else palette.BONE
    ink = "#ffffff" if diseased else palette.INK
    arcs = "".join(_rib(side, top, row) for side in ribs)
    ground = (
        f'<rect x="44" y="{top + height / 2 - 10:.1f}" width="36" height="20" '
        f'fill="{palette.TUMOUR}"/>'
        if diseased
        else ""
    )
    label = words.look_at(str(at), diseased=diseased)
    return (
        f'<a href="#" data-level="{at}" aria-label="{escape(label)}">{arcs}'
        f'<rect x="40" y="{top:.1f}" width="44" height="{height:.1f}" rx="8" fill="{fill}" '
        f'stroke="{palette.BONE_EDGE}"/>{ground}'
        f"{_text(62, top + height / 2, str(at), ink, bold=True)}</a>"
    )


def _rib(side: Side, top: float, row: float) -> str:
    start, turn, reach = (40, -24, -34) if side is Side.LEFT else (84, 18, 22)
    return (
        f'<path d="M{start} {top + row * 0.08:.1f}q{turn} 2 {reach} {row * 0.22:.1f}" '
        f'fill="none" stroke="{palette.BONE_EDGE}" stroke-width="4"/>'
    )


def _text(x: float, y: float, said: str, ink: str, *, bold: bool = False) -> str:
    weight = ' font-weight="600"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="middle" dominant-baseline="central" '
        f'fill="{ink}"{weight}>{escape(said)}</text>'
    )


def _count(number: int, y: float) -> str:
    return (
        f'<circle cx="17" cy="{y:.1f}" r="11" fill="{palette.SHEET}" stroke="{palette.SOFT}"/>'
        + _text(17, y, str(number), palette.INK)
    )


def _counts(
    order: list[Level], confirmation: Mapping[str, Any], with_ribs: set[Level]
) -> dict[Level, int]:
    """The number theatre says at each vertebra, counting from the agreed end if it is in view."""
    end = confirmation.get("counted_from")
    if not confirmation.get("end_in_view"):
        return {}
    ribbed = [place for place, at in enumerate(order) if at in with_ribs]
    if end == CountedFrom.FIRST_RIB.value and ribbed:
        return {
            at: place - ribbed[0] + 1 for place, at in enumerate(order[ribbed[0] :], ribbed[0])
        }
    if end == CountedFrom.LAST_RIB.value and ribbed:
        return {at: ribbed[-1] - place + 1 for place, at in enumerate(order[: ribbed[-1] + 1])}
    if end == CountedFrom.SACRUM.value:
        return {at: len(order) - place for place, at in enumerate(order)}
    return {}


def _body_cuts(document: Mapping[str, Any] | None) -> list[Mapping[str, Any]]:
    if document is None:
        return []
    return [cut for cut in document["resection"]["cuts"] if "height_in_words" in cut]


def _cut_line(order: list[Level], cut: Mapping[str, Any], row: float, anatomy: Anatomy) -> str:
    """A teal line at the height of the cut's entry within the vertebra it runs through."""
    at = Level.parse(cut["level"])
    if at not in order:
        return ""
    vertebra = anatomy.vertebrae[at]
    z = float(vertebra.lps_from_vertebra.inverse.points(cut["entry_lps_mm"])[0][2])
    span = vertebra.upper_endplate_mm - vertebra.lower_endplate_mm
    share = (vertebra.upper_endplate_mm - z) / span
    y = _TOP + order.index(at) * row + row * 0.66 * share
    return f'<path d="M30 {y:.1f}h66" stroke="{palette.CUT}" stroke-width="4"/>'
