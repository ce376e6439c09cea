"""A predicted picture with cuts, stops, needles and names on it, turned as theatre sees it."""

from __future__ import annotations

import base64
import struct
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.fluoroscopy import CArmPlan, CArmView
from vertebloc.fluoroscopy.model import CutLine
from vertebloc.fluoroscopy.shown import ShownView
from vertebloc.reports import c_arm_text as words
from vertebloc.reports import page_words, palette

_SIZE = 1000.0  #: drawing units of the picture's side
_HEAD, _FOOT = 116.0, 60.0  #: units above and below it
_LARGE, _SMALL = 45, 34  #: 18 and 14 points where the picture is printed 143 mm wide
_NEEDLE_MM = 22.0  #: of a needle drawn outside the entry
_BESIDE, _NEXT_ROW = 150.0, 52.0  #: of names, from the middle of their body
_INSIDE = 0.97  #: of half the picture: names farther out are left away
_STOPS = (palette.NIGHT, palette.BONE_EDGE, palette.BRIGHT)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Predicted:
    """A view and what its detector would show."""

    shown: ShownView
    grey: NDArray[np.float64]  #: (pixels, pixels), 0 dark to 1 pale


def c_arm_svg(plan: CArmPlan, predicted: Predicted, *, of_strip: int = 0) -> str:
    """Draw one predicted picture.

    Parameters
    ----------
    plan : CArmPlan
        Cuts and the middles of vertebrae.
    predicted : Predicted
        The view, and its greys.
    of_strip : int
        How many pictures the level strip has.

    Returns
    -------
    str
        SVG, with the name of the view and how the detector end is set above, and below what
        lies at the edges is told in words.
    """
    shown = predicted.shown
    tall = _HEAD + _SIZE + _FOOT
    name = words.view_name(shown.beam.value, shown.cuts, shown.place, of_strip)
    straight = plan.behind if shown.beam.value == words.FROM_BEHIND else plan.side
    end = words.end_words(shown.beam.value, straight.towards_detector, shown.view.towards_detector)
    title, set_to = words.title_and_setting(shown.beam.value, shown.cuts, name, end)
    drawn = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_SIZE:.0f} {tall:.0f}" '
        f'role="img" class="c-arm" aria-label="{escape(words.PREDICTED)}: {escape(name)}" '
        'font-family="DejaVu Sans, sans-serif">',
        _plain(0, 42, title, _LARGE, weight="bold"),
        _plain(0, 96, set_to, _LARGE),
        f'<g transform="translate(0 {_HEAD:.0f})">'
        f'<image width="{_SIZE:.0f}" height="{_SIZE:.0f}" preserveAspectRatio="none" '
        f'href="data:image/png;base64,{_picture(predicted.grey)}"/>',
        f'<clipPath id="{shown.key}-in"><rect width="{_SIZE:.0f}" height="{_SIZE:.0f}"/>'
        f'</clipPath><g clip-path="url(#{shown.key}-in)">',
        *(_strip_marks(plan, shown) if shown.place else _cut_marks(plan, shown)),
        "</g>",
        *_edges(shown.view),
        *_scale(shown.view),
        "</g>",
        _plain(0, tall - 18, words.PREDICTED_FROM_CT, _SMALL, weight="bold"),
    ]
    return "".join(drawn) + "</svg>"


def _place(view: CArmView, points: ArrayLike) -> NDArray[np.float64]:
    """Where points are drawn, (n, 2), y down."""
    seen = view.on_detector(points) / view.arm.detector_mm
    return np.stack([seen[:, 0] + 0.5, 0.5 - seen[:, 1]], axis=1) * _SIZE


def _cut_marks(plan: CArmPlan, shown: ShownView) -> Iterator[str]:
    """Every cut; those that are lines here bold, with their needle and their stop."""
    yield from _names(plan, shown)
    for cut in plan.cuts:
        bold = not shown.cuts or cut.name in shown.cuts
        for face in cut.faces:
            for loop in face.loops_lps():
                yield _path(_place(shown.view, loop), 2.5 if bold else 1.5, closed=True)
        if bold:
            yield from _blade(shown.view, cut)


def _blade(view: CArmView, cut: CutLine) -> Iterator[str]:
    """Entry to far cortex, the stop across it, a needle before the entry."""
    back = cut.entry - _NEEDLE_MM * cut.blade
    entry, far, stop, needle = _place(view, [cut.entry, cut.far, cut.stop, back])
    yield _path(np.array([entry, far]), 7.0)
    along = far - entry
    long = float(np.hypot(*along))
    if cut.stop_mm > 0.0 and long > 40.0:
        across = np.array([-along[1], along[0]]) / long * 17.0
        yield _path(np.array([stop - across, stop + across]), 7.0)
    shaft = needle - entry
    if float(np.hypot(*shaft)) > 12.0:
        shaft /= np.hypot(*shaft)
        side = np.array([-shaft[1], shaft[0]])
        tip = [entry, entry + 26.0 * shaft + 9.0 * side, entry + 26.0 * shaft - 9.0 * side]
        yield _path(np.array([entry + 26.0 * shaft, needle]), 4.0, colour=palette.OPENED_HATCH)
        yield (
            f'<path d="{_moves(np.array(tip))}Z" fill="{palette.OPENED_HATCH}" '
            f'stroke="{palette.NIGHT}" stroke-width="2"/>'
        )
    else:  # held along the beam: seen as its end
        yield (
            f'<circle cx="{entry[0]:.1f}" cy="{entry[1]:.1f}" r="9" fill="none" '
            f'stroke="{palette.OPENED_HATCH}" stroke-width="4"/>'
        )


def _names(plan: CArmPlan, shown: ShownView) -> Iterator[str]:
    """Names of vertebrae, beside the spine."""
    for place, level in enumerate(sorted(plan.middles)):
        yield from _name(plan, shown, level, str(level), place)


def _strip_marks(plan: CArmPlan, shown: ShownView) -> Iterator[str]:
    """Names with the numbers that theatre says, and a dot on each body."""
    for level, number in shown.numbers.items():
        x, y = _place(shown.view, plan.middles[level])[0]
        yield (
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="8" fill="{palette.BRIGHT}" '
            f'stroke="{palette.NIGHT}" stroke-width="2"/>'
        )
        yield from _name(plan, shown, level, words.pictured(str(level), number), number)


def _name(plan: CArmPlan, shown: ShownView, level: Level, said: str, place: int) -> Iterator[str]:
    """One name: beside the spine from behind, before it from the side, every other farther off."""
    x, y = _place(shown.view, plan.middles[level])[0]
    half = _SIZE / 2.0
    if max(abs(x - half), abs(y - half)) > _INSIDE * half:
        return
    right, up = shown.view.axes
    head = np.array([right[2], -up[2]])
    across = np.array([-head[1], head[0]])
    across *= np.sign(across @ np.array([-1.0, -2.0]))  # up, or to the left
    if shown.beam.value == words.FROM_SIDE:  # to the front: behind lie the arch and its cuts
        across *= np.sign(across @ np.array([-right[1], up[1]]))
    lies = abs(head[0]) > abs(head[1])
    far = _BESIDE + (_NEXT_ROW if lies and place % 2 else 0.0)
    x, y = np.array([x, y]) + far * across
    bold = level == plan.level
    yield _word((x, y), said, _LARGE if bold else _SMALL, bold=bold)


def _edges(view: CArmView) -> Iterator[str]:
    """What lies at each edge, in words."""
    right, up = view.axes
    half = _SIZE / 2.0
    for axis, sign, x, y, anchor in (
        (right, 1, _SIZE - 14, half, "end"),
        (right, -1, 14, half, "start"),
        (up, 1, half, 44, "middle"),
        (up, -1, half, _SIZE - 22, "middle"),
    ):
        yield _word((x, y), _direction(sign * axis), anchor=anchor, colour=palette.PALE)


def _direction(axis: NDArray[np.float64]) -> str:
    """The body's direction that an edge of the picture lies at."""
    said = page_words.VIEWER["directions"]
    most = int(np.argmax(np.abs(axis)))
    key = (("right", "left"), ("front", "back"), ("feet", "head"))[most][int(axis[most] > 0)]
    return str(said[key])  # type: ignore[index]


def _scale(view: CArmView) -> Iterator[str]:
    """A bar of 20 mm at the spine's distance."""
    long = 20.0 * view.arm.magnification / view.arm.detector_mm * _SIZE
    y = _SIZE - 30.0
    yield _path(np.array([[24.0, y], [24.0 + long, y]]), 6.0, colour=palette.PALE)
    yield _word((24.0, y - 16.0), words.SCALE, anchor="start", colour=palette.PALE)


def _moves(points: NDArray[np.float64]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _path(
    points: NDArray[np.float64],
    wide: float,
    *,
    closed: bool = False,
    colour: str = palette.CUT_EDGE,
) -> str:
    """A bright line with a dark seam, to be seen on bone and on air."""
    d = _moves(points) + ("Z" if closed else "")
    return (
        f'<path d="{d}" fill="none" stroke="{palette.NIGHT}" stroke-width="{wide + 4.0:g}" '
        f'stroke-opacity="0.6"/><path d="{d}" fill="none" stroke="{colour}" '
        f'stroke-width="{wide:g}"/>'
    )


def _word(
    at: tuple[float, float],
    said: str,
    size: int = _SMALL,
    *,
    anchor: str = "middle",
    bold: bool = False,
    colour: str = palette.BRIGHT,
) -> str:
    """A word on the picture, seamed dark."""
    weight = ' font-weight="bold"' if bold else ""
    laid = f'x="{at[0]:.1f}" y="{at[1]:.1f}" font-size="{size}" text-anchor="{anchor}"{weight}'
    return (
        f'<text {laid} fill="none" stroke="{palette.NIGHT}" stroke-width="7" '
        f'stroke-linejoin="round">{escape(said)}</text><text {laid} fill="{colour}">'
        f"{escape(said)}</text>"
    )


def _plain(x: float, y: float, said: str, size: int, *, weight: str = "normal") -> str:
    """A word on the sheet; long ones are set smaller, so that nothing runs out."""
    fits = min(size, int(_SIZE / max(1, len(said)) / 0.62))
    return (
        f'<text x="{x:.0f}" y="{y:.0f}" font-size="{fits}" font-weight="{weight}" '
        f'fill="{palette.INK}">{escape(said)}</text>'
    )


def _picture(grey: NDArray[np.float64]) -> str:
    """Greys as PNG of our own palette, base64."""
    stops = np.array([palette.rgb(one) for one in _STOPS])
    share = np.linspace(0.0, 2.0, 256)
    ramp = np.stack([np.interp(share, [0, 1, 2], stops[:, n]) for n in range(3)], axis=1)
    index = np.round(np.clip(grey, 0.0, 1.0) * 255.0).astype(np.uint8)
    rows = np.concatenate([np.zeros((len(index), 1), np.uint8), index], axis=1)
    head = struct.pack(">IIBBBBB", index.shape[1], index.shape[0], 8, 3, 0, 0, 0)
    parts: Mapping[bytes, bytes] = {
        b"IHDR": head,
        b"PLTE": np.round(ramp * 255.0).astype(np.uint8).tobytes(),
        b"IDAT": zlib.compress(rows.tobytes(), 6),
        b"IEND": b"",
    }
    data = b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in parts.items()
    )
    return base64.b64encode(data).decode("ascii")


def beside(pictures: Sequence[str]) -> str:
    """Several predicted pictures as one drawing, in rows of three.

    Parameters
    ----------
    pictures : sequence of str
        From ``c_arm_svg``.

    Returns
    -------
    str
        SVG.
    """
    gap = 30.0
    per_row = min(3, max(1, len(pictures)))
    tall = _HEAD + _SIZE + _FOOT
    rows = (len(pictures) + per_row - 1) // per_row
    size = per_row * (_SIZE + gap) - gap, rows * (tall + gap) - gap
    inner = "".join(
        f'<svg x="{n % per_row * (_SIZE + gap):.0f}" y="{n // per_row * (tall + gap):.0f}" '
        f'width="{_SIZE:.0f}" height="{tall:.0f}" {one.removeprefix("<svg ")}'
        for n, one in enumerate(pictures)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size[0]:.0f} {size[1]:.0f}" '
        f'role="img" class="c-arm" aria-label="{escape(words.STRIP)}">{inner}</svg>'
    )
