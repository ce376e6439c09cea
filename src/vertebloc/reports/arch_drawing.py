"""The arch from behind, part by part, to say on it what happens to each.

A schematic of nobody's bone: where a part lies, not how large it is. It is turned as theatre
sees it, and never mirrored.
"""

from __future__ import annotations

from collections.abc import Mapping
from xml.sax.saxutils import escape

from vertebloc.case.choice_words import ArchPart, BoneChoice, StandingSide
from vertebloc.reports import bone_words as words
from vertebloc.reports import palette

_SIZE, _MIDDLE = 300.0, 150.0
#: Outlines of the left half and of the middle, head up, seen from behind: x is less at the left.
_LEFT = {
    ArchPart.LEFT_TRANSVERSE_PROCESS: "M14 118L22 98L64 106L68 134L26 140Z",
    ArchPart.LEFT_FACETS: "M84 92L80 62L98 46L122 56L122 92Z"
    "M88 184L122 184L118 226L92 232L80 206Z",
    ArchPart.LEFT_PEDICLE: "M70 94L82 94L86 120L82 150L70 148L66 120Z",
    ArchPart.LEFT_LAMINA: "M88 96L134 100L134 180L88 180Z",
}
_SPINOUS = "M138 104L162 104L162 200L168 248L150 268L132 248L138 200Z"
_RIGHT_OF = {
    ArchPart.LEFT_TRANSVERSE_PROCESS: ArchPart.RIGHT_TRANSVERSE_PROCESS,
    ArchPart.LEFT_FACETS: ArchPart.RIGHT_FACETS,
    ArchPart.LEFT_PEDICLE: ArchPart.RIGHT_PEDICLE,
    ArchPart.LEFT_LAMINA: ArchPart.RIGHT_LAMINA,
}
#: Where a part's letter stands.
_LETTER_AT = {
    ArchPart.LEFT_TRANSVERSE_PROCESS: ((42.0, 120.0),),
    ArchPart.LEFT_FACETS: ((102.0, 72.0), (102.0, 206.0)),
    ArchPart.LEFT_PEDICLE: ((76.0, 122.0),),
    ArchPart.LEFT_LAMINA: ((111.0, 140.0),),
}
_SPINOUS_LETTER = (150.0, 170.0)
#: How far the picture is turned from head up: standing at the left, the head lies at the left.
_TURN_DEG = {StandingSide.LEFT: -90, StandingSide.RIGHT: 90, StandingSide.HEAD_UP: 0}


def part_outlines() -> dict[ArchPart, str]:
    """Outline of each part, head up, seen from behind: the patient's left is at the left.

    Returns
    -------
    dict of ArchPart to str
        SVG paths in a square of 300.
    """
    found = dict(_LEFT)
    found[ArchPart.SPINOUS_PROCESS] = _SPINOUS
    for left, right in _RIGHT_OF.items():
        found[right] = _other_side(_LEFT[left])
    return found


def arch_svg(
    chosen: Mapping[ArchPart, BoneChoice], fates: Mapping[str, str], standing: StandingSide
) -> str:
    """Draw the arch with what happens to each part.

    Parameters
    ----------
    chosen : mapping of ArchPart to BoneChoice
        What the team chose.
    fates : mapping of str to str
        What the plan does with each part, by its name; a part that the plan does not name
        shows the choice alone.
    standing : StandingSide
        Where the surgeon stands: the picture is turned so.

    Returns
    -------
    str
        SVG; each part is a button ``data-arch``.
    """
    turn = _TURN_DEG[standing]
    drawn = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="arch" viewBox="-30 -30 360 360" '
        f'font-family="DejaVu Sans, sans-serif" role="group" '
        f'aria-label="{escape(words.ARCH_SEEN[standing.value])}">',
        '<defs><pattern id="arch-dots" width="8" height="8" patternUnits="userSpaceOnUse">'
        f'<rect width="8" height="8" fill="{palette.SHEET}"/>'
        f'<circle cx="3" cy="3" r="1.7" fill="{palette.INK}"/></pattern>'
        '<pattern id="arch-lines" width="7" height="7" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><rect width="7" height="7" fill="{palette.BONE}"/>'
        f'<path d="M0 0H7" stroke="{palette.CUT}" stroke-width="2.4"/></pattern></defs>',
        f'<g transform="rotate({turn} {_MIDDLE:.0f} {_MIDDLE:.0f})">',
    ]
    for part, outline in part_outlines().items():
        drawn.append(_part(part, outline, chosen[part], fates.get(part.value, ""), turn))
    drawn.append("</g>")
    drawn += [_direction(at, said) for at, said in zip(_edges(), _round(turn), strict=True)]
    return "".join(drawn) + "</svg>"


def _part(part: ArchPart, outline: str, choice: BoneChoice, planned: str, turn: int) -> str:
    fate = planned or choice.value
    said = words.arch_part(part.value, fate, by_rule=choice is BoneChoice.BY_RULE)
    fill = {
        "piece": palette.BONE,
        "piecemeal": "url(#arch-dots)",
        "split": "url(#arch-lines)",
        "stays": palette.SHEET,
    }.get(fate, palette.TRACK)
    width, dash = (3.4, "") if fate == "piece" else (1.6, "")
    if fate == "stays":
        dash = ' stroke-dasharray="5 4"'
    letters = "".join(
        f'<circle cx="{x:.0f}" cy="{y:.0f}" r="10" fill="{palette.SHEET}" opacity="0.9"/>'
        f'<text x="{x:.0f}" y="{y:.0f}" transform="rotate({-turn} {x:.0f} {y:.0f})" '
        f'text-anchor="middle" dominant-baseline="central" font-size="14" font-weight="600" '
        f'fill="{palette.INK}">{escape(words.FATE_LETTERS.get(fate, "?"))}</text>'
        for x, y in _letters(part)
    )
    return (
        f'<g role="button" tabindex="0" data-arch="{escape(part.value)}" '
        f'data-keep="arch {escape(part.value)}" data-fate="{escape(fate)}" '
        f'aria-label="{escape(said)}"><title>{escape(said)}</title>'
        f'<path d="{outline}" fill="{fill}" stroke="{palette.INK}" stroke-width="{width}"'
        f"{dash}/>{letters}</g>"
    )


def _letters(part: ArchPart) -> tuple[tuple[float, float], ...]:
    if part is ArchPart.SPINOUS_PROCESS:
        return (_SPINOUS_LETTER,)
    if part in _LETTER_AT:
        return _LETTER_AT[part]
    left = next(left for left, right in _RIGHT_OF.items() if right is part)
    return tuple((_SIZE - x, y) for x, y in _LETTER_AT[left])


def _other_side(outline: str) -> str:
    """The same outline on the other side of the midline."""
    turned = []
    for step in outline.replace("M", " M").replace("L", " L").replace("Z", " Z ").split():
        if step[0] in "ML":
            turned.append(f"{step[0]}{_SIZE - float(step[1:]):g}")
        else:
            turned.append(f" {step}" if step != "Z" else step)
    return "".join(turned)


def _edges() -> tuple[tuple[float, float, int], ...]:
    """Middle of each edge of the picture: top, right, bottom, left, and how its word is turned."""
    return ((150.0, -14.0, 0), (316.0, 150.0, 90), (150.0, 316.0, 0), (-16.0, 150.0, -90))


def _round(turn: int) -> list[str]:
    """What lies at the top, right, bottom and left of the picture."""
    head_up = [words.HEAD, words.RIGHT, words.FEET, words.LEFT]
    steps = turn // 90 % 4
    return head_up[-steps:] + head_up[:-steps] if steps else head_up


def _direction(at: tuple[float, float, int], said: str) -> str:
    x, y, turn = at
    return (
        f'<text class="way" x="{x:.0f}" y="{y:.0f}" transform="rotate({turn} {x:.0f} {y:.0f})" '
        f'text-anchor="middle" dominant-baseline="central" font-size="14" '
        f'fill="{palette.SOFT}">{escape(said)}</text>'
    )
