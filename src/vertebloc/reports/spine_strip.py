"""The person's spine as a strip: the navigation in space, and where the cuts lie."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from xml.sax.saxutils import escape

from vertebloc.anatomy.count_beads import count_beads
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Vertebra
from vertebloc.case.choice_words import CountedFrom
from vertebloc.reports import page_words as words
from vertebloc.reports import palette
from vertebloc.space.frames import Side

_WIDTH, _TOP = 110.0, 26.0
_ROWS_PX = (40.0, 118.0)  #: least and most height of one vertebra's row
_STRIP_PX = 760.0
_BODY = 0.66  #: share of a row that the body takes; the rest is disc
_ACROSS = 0.5  #: a cut whose normal leans further from the body's axis is none across (cosine)


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
    counts = _counts(anatomy, confirmation)
    confirmed = bool(confirmation.get("confirmed"))
    cuts = _cut_lines(order, document, row, anatomy)
    drawn = [
        f'<svg xmlns="http://www.w3.org/2000/svg" '
        f'viewBox="0 0 {_WIDTH:.0f} {_TOP * 2 + row * len(order):.0f}" '
        'font-family="DejaVu Sans, sans-serif" font-size="14" '
        f'role="group" aria-label="{escape(words.DIRECTION_ORDER)}">',
        '<defs><pattern id="strip-hatch" width="7" height="7" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(35)"><rect width="7" height="7" fill="{palette.TUMOUR}"/>'
        f'<path d="M0 0H7" stroke="{palette.TUMOUR_HATCH}" stroke-width="1.6"/></pattern></defs>',
        _text(_WIDTH / 2, 13, words.HEAD, palette.SOFT),
    ]
    for place, at in enumerate(order):
        sides = [side for side in Side if (at, side) in ribs]
        said = words.look_at(str(at), diseased=at == level)
        if at in counts:
            said += words.counted_as(counts[at], str(confirmation["counted_from"]))
        drawn.append(
            f'<a href="#" id="level-{at}" data-level="{at}" aria-label="{escape(said)}">'
            f"{_vertebra(at, _TOP + place * row, row, diseased=at == level, ribs=sides)}</a>"
        )
        if at in counts:
            drawn.append(_count(counts[at], _TOP + place * row + row * 0.46))
    drawn += _strands(order, document, row)
    drawn += [_cut_line(x, y) for x, y in cuts]
    if level in order and not confirmed:
        drawn.append(_unconfirmed(_TOP + order.index(level) * row, row, [y for _, y in cuts]))
    foot = _TOP * 1.5 + row * len(order)
    drawn.append(_text(_WIDTH / 2, foot, words.FEET, palette.SOFT))
    return "".join(drawn) + "</svg>"


def _vertebra(at: Level, top: float, row: float, *, diseased: bool, ribs: list[Side]) -> str:
    height = row * _BODY
    fill = "url(#strip-hatch)" if diseased else palette.BONE
    ink = "#ffffff" if diseased else palette.INK
    arcs = "".join(_rib(side, top, row) for side in ribs)
    ground = (
        f'<rect x="44" y="{top + height / 2 - 10:.1f}" width="36" height="20" '
        f'fill="{palette.TUMOUR}"/>'
        if diseased
        else ""
    )
    return (
        f'{arcs}<rect class="body" x="40" y="{top:.1f}" width="44" height="{height:.1f}" rx="8" '
        f'fill="{fill}" stroke="{palette.BONE_EDGE}"/>{ground}'
        f"{_text(62, top + height / 2, str(at), ink, bold=True)}"
    )


def _unconfirmed(top: float, row: float, cuts: list[float]) -> str:
    """A broken outline about a level that nobody has confirmed, and the word, clear of cuts."""
    height = row * _BODY
    below, above = top + height + 9.0, top - 9.0
    free = [y for y in (below, above) if all(abs(y - cut) > 9.0 for cut in cuts)]
    at = (free or [below])[0]
    return (
        f'<rect class="unconfirmed" x="37" y="{top - 3:.1f}" width="50" '
        f'height="{height + 6:.1f}" rx="10" fill="none" stroke="{palette.INK}" stroke-width="2" '
        'stroke-dasharray="5 4"/>'
        f'<rect x="12" y="{at - 7.5:.1f}" width="96" height="15" rx="3" '
        f'fill="{palette.TUMOUR_WASH}"/>'
        f'<text x="60" y="{at:.1f}" text-anchor="middle" dominant-baseline="central" '
        f'font-size="13" fill="{palette.INK}">{escape(words.UNCONFIRMED)}</text>'
    )


def _rib(side: Side, top: float, row: float) -> str:
    start, turn, reach = (40, -24, -34) if side is Side.LEFT else (84, 18, 22)
    return (
        f'<path class="rib {side.value}" d="M{start} {top + row * 0.08:.1f}'
        f'q{turn} 2 {reach} {row * 0.22:.1f}" '
        f'fill="none" stroke="{palette.BONE_EDGE}" stroke-width="4"/>'
    )


def _strands(order: list[Level], document: Mapping[str, Any] | None, row: float) -> list[str]:
    """Roots below their vertebra and segmental vessels at its middle; dashed: only modelled."""
    found = []
    for kind, share, ink in (
        ("roots", _BODY + 0.07, palette.SAC),
        ("segmental_vessels", 0.6 * _BODY, palette.VESSEL),
    ):
        for one in (document or {}).get("owners", {}).get(kind, ()):
            at = Level.parse(one["level"])
            if at not in order:
                continue
            y = _TOP + order.index(at) * row + share * row
            x, reach = (40, -11) if one["side"] == Side.LEFT.value else (84, 11)
            dash = ' stroke-dasharray="3 2"' if one["modelled"] else ""
            found.append(
                f'<path class="{kind} {one["side"]}" d="M{x} {y:.1f}h{reach}" fill="none" '
                f'stroke="{ink}" stroke-width="2.5"{dash}/>'
            )
    return found


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


def _counts(anatomy: Anatomy, confirmation: Mapping[str, Any]) -> Mapping[Level, int]:
    """The number theatre says at each vertebra, counting from the agreed end if it is in view."""
    if not confirmation.get("end_in_view"):
        return {}
    marker = confirmation.get("marker_at")
    return count_beads(
        anatomy,
        CountedFrom(confirmation.get("counted_from") or ""),
        Level.parse(marker) if marker else None,
    ).numbers


def _cut_lines(
    order: list[Level], document: Mapping[str, Any] | None, row: float, anatomy: Anatomy
) -> list[tuple[Side, float]]:
    """Side and height in the strip of each half cut across the column."""
    found = []
    for cut in [] if document is None else document["resection"]["cuts"]:
        at = Level.parse(cut["level"])
        if at not in order:
            continue
        across = anatomy.vertebrae[at].lps_from_vertebra.axis(2)
        if abs(sum(a * b for a, b in zip(across, cut["normal"], strict=True))) < _ACROSS:
            continue  # through the arch
        found.append((Side(cut["side"]), _height_px(cut["entry_lps_mm"], order, row, anatomy)))
    return found


def _height_px(point: Any, order: list[Level], row: float, anatomy: Anatomy) -> float:
    """Where a place lies in the strip: by its share of the body, or of the gap below it."""
    above_mm = [_above_and_below_mm(anatomy.vertebrae[at], point) for at in order]
    for place, (over, under) in enumerate(above_mm):
        top = _TOP + place * row
        if over < 0.0:  # above this body, and not in one further up
            before = -above_mm[place - 1][1] if place else row
            share = before / (before - over) if before - over > 0.0 else 0.5
            return top - row * (1.0 - _BODY) * (1.0 - share)
        if under >= 0.0:
            return top + row * _BODY * over / (over + under)
    return _TOP + row * len(order) - row * (1.0 - _BODY) / 2.0


def _above_and_below_mm(vertebra: Vertebra, point: Any) -> tuple[float, float]:
    """How far a place lies under the upper endplate, and over the lower one."""
    z = float(vertebra.lps_from_vertebra.inverse.points(point)[0][2])
    return vertebra.upper_endplate_mm - z, z - vertebra.lower_endplate_mm


def _cut_line(side: Side, y: float) -> str:
    """A teal line on the side that it is cut from; two halves at one height make one line."""
    start = 28 if side is Side.LEFT else 62
    return f'<path class="cut {side.value}" d="M{start} {y:.1f}h34" stroke="{palette.CUT}" ' + (
        'stroke-width="4"/>'
    )
