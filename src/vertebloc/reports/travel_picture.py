"""The way out in the plane of travel, as SVG: seen from the feet, back of the patient up."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from xml.sax.saxutils import escape

import numpy as np

from vertebloc.reports import palette
from vertebloc.reports import travel_text as words
from vertebloc.reports.travel_leans import EVERY, MOVING, cut_loops, leans_of
from vertebloc.space.views import View, edge_words

_MM = 5.0  #: drawing units a millimetre
_LINES = 19.0  #: so many lines of words would fill the drawing's height
_ROOM_MM = 7.0  #: around all that moves
_BAR_MM = 20.0
_FILL = {
    "bone": "#8a8373", "rib": "#8a8373", "vessel": palette.VESSEL, "sac": palette.SAC,
    "cord": palette.CORD,
}  # fmt: skip
_INSIDE = "travel-inside"  #: nothing but words lies beside it
_STILL = ("bone", "rib", "vessel", "sac", "cord")


@dataclass(frozen=True, slots=True)
class _Field:
    """Where places of the plane lie on the drawing: left of the patient at the left, back up."""

    left_mm: float  #: largest x shown
    right_mm: float  #: least x shown
    back_mm: float
    front_mm: float

    @property
    def text(self) -> float:
        """Height of letters: they must be read on a small drawing too."""
        return _MM * (self.back_mm - self.front_mm) / _LINES

    @property
    def rim(self) -> float:
        """Above and below, for words."""
        return 1.6 * self.text

    @property
    def side(self) -> float:
        """To the left and right, for words: they would lie on roots."""
        return 1.3 * self.text

    @property
    def size(self) -> tuple[float, float]:
        wide, tall = self.left_mm - self.right_mm, self.back_mm - self.front_mm
        return _MM * wide + 2.0 * self.side, _MM * tall + 2.0 * self.rim

    def at(self, x: float, y: float) -> tuple[float, float]:
        return self.side + _MM * (self.left_mm - x), self.rim + _MM * (self.back_mm - y)


def plane_svg(scene: Mapping[str, Any], way: Mapping[str, Any], pose: int) -> str:
    """Draw one moment of a way out in the plane of travel, at the height that decides.

    Parameters
    ----------
    scene : mapping
        From ``travel_scene``.
    way : mapping
        One of its ways; without a path the piece is drawn at rest.
    pose : int
        Which of its poses.

    Returns
    -------
    str
        SVG. Filled: what is cut at the height of the place that decides, the same in all moments,
        so that only a tilt changes its shape; thin lines: the piece at other heights; dashed:
        given up. The ring is at the nearest place, whatever its height.
    """
    field, played = _field(scene, way), way["played"]
    index = deciding_height(scene, way)
    wide, tall = field.size
    x0, y0 = field.at(0.0, 0.0)
    leans = leans_of(scene, way, pose, index, ((x0, y0), _MM))
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:.0f} {tall:.0f}" '
            f'role="img" class="plane" aria-label="{escape(words.PLANE)}" data-x0="{x0:.1f}" '
            f'data-y0="{y0:.1f}" data-mm="{_MM:g}" font-family="DejaVu Sans, sans-serif">',
            _patterns(field),
            f'<rect width="{wide:.0f}" height="{tall:.0f}" fill="{palette.NIGHT}"/>',
            f'<g clip-path="url(#{_INSIDE})">',
            *_still(scene, way, index, field),
            *_lines(scene, way, field),
            *_edge_of_wound(scene, field),
            *_track(played, field),
            f'<g class="moving" transform="{transform_of(way, pose, (x0, y0))}">',
            *_shadow(scene, field, leans),
            f"<g {_class('piece', leans[-1:])}>",
            *_moving(scene, way, index, field),
            "</g></g>",
            *_nearest(played, pose, field),
            "</g>",
            *_letters(field),
            "</svg>",
        )
    )


def leans_on_plane(scene: Mapping[str, Any], way: Mapping[str, Any]) -> list[list[str]]:
    """What each pose's tilt does to each outline of ``plane_svg``.

    Parameters
    ----------
    scene : mapping
        From ``travel_scene``.
    way : mapping
        One of its ways, with a path.

    Returns
    -------
    list of list of str
        For each pose matrices as SVG writes them, in the order in which the outlines are drawn;
        none if the way is flat.
    """
    middle, index = _field(scene, way).at(0.0, 0.0), deciding_height(scene, way)
    count = len(way["played"]["tilts"])
    return [leans_of(scene, way, pose, index, (middle, _MM)) for pose in range(count)]


def deciding_height(scene: Mapping[str, Any], way: Mapping[str, Any]) -> int:
    """Which of the kept heights lies nearest the place that decides."""
    played = way["played"]
    height = played["on_sac_mm"][played["narrowest"]][2] if played else 0.0
    return int(np.argmin(np.abs(np.array(scene["heights_mm"]) - height)))


def transform_of(way: Mapping[str, Any], pose: int, middle: tuple[float, float]) -> str:
    """The piece's motion as SVG writes it.

    Parameters
    ----------
    way : mapping
        With ``played``, or None there: at rest.
    pose : int
        Which pose.
    middle : tuple of float, drawing units
        Where the piece's middle lies on the drawing when at rest.

    Returns
    -------
    str
        Left of the patient is at the drawing's left and the back is up, so that both axes are
        turned over and a turn keeps its sense.
    """
    played = way["played"]
    if played is None:
        return ""
    x, y, turn = (played[name][pose] for name in ("x_mm", "y_mm", "turn_deg"))
    return (
        f"translate({-_MM * x + 0.0:.2f} {-_MM * y + 0.0:.2f}) "
        f"rotate({turn:.3f} {middle[0]:.1f} {middle[1]:.1f})"
    )


def _field(scene: Mapping[str, Any], way: Mapping[str, Any]) -> _Field:
    """All that moves and the sac, with some room around."""
    piece = next(part for part in scene["parts"] if part["name"] == "piece")
    corners = np.array([p for loops in piece["loops"] for loop in loops for p in loop])
    seen = [corners]
    if way["played"] is not None:
        for move in np.array(way["played"]["moves"]).reshape(-1, 3, 4)[::5]:
            seen.append(corners @ move[:2, :2].T + move[:2, 3])
    seen.append(np.array([[-40.0, 0.0], [40.0, scene["delivered_y_mm"]]]))
    every = np.concatenate(seen)
    low, high = every.min(axis=0) - _ROOM_MM, every.max(axis=0) + _ROOM_MM
    return _Field(float(high[0]), float(low[0]), float(high[1]), float(low[1]))


def _patterns(field: _Field) -> str:
    wide, tall = field.size
    inside = f'width="{wide - 2.0 * field.side:.1f}" height="{tall:.0f}"'
    return (
        '<defs><pattern id="travel-tumour" width="9" height="9" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(35)"><rect width="9" height="9" fill="{palette.TUMOUR}"/>'
        f'<path d="M0 0H9" stroke="{palette.TUMOUR_HATCH}" stroke-width="3"/></pattern>'
        f'<clipPath id="{_INSIDE}"><rect x="{field.side:.1f}" {inside}/></clipPath></defs>'
    )


def _path(loops: Sequence[Sequence[Sequence[float]]], field: _Field) -> str:
    return "".join(
        "M" + "L".join("{:.1f} {:.1f}".format(*field.at(x, y)) for x, y in loop) + "Z"
        for loop in loops
    )


def _still(
    scene: Mapping[str, Any], way: Mapping[str, Any], index: int, field: _Field
) -> Iterator[str]:
    blocking = way.get("blocking", ())
    for part in sorted(
        (p for p in scene["parts"] if p["kind"] in _STILL), key=lambda p: _STILL.index(p["kind"])
    ):
        path = _path(part["loops"][index], field)
        if not path:
            continue
        name, kind = part["name"], part["kind"]
        if name in way["stays"] or kind in ("sac", "cord"):
            edge, broad = (palette.BRIGHT, 4) if name in blocking else (palette.NIGHT, 1)
            yield (
                f'<path d="{path}" fill="{_FILL[kind]}" fill-rule="evenodd" stroke="{edge}" '
                f'stroke-width="{broad}"><title>{escape(name)}</title></path>'
            )
        elif name in way["gone"]:
            yield (
                f'<path d="{path}" fill="none" stroke="{palette.BONE_EDGE}" stroke-width="2" '
                f'stroke-dasharray="4 6"><title>{escape(words.gone(name))}</title></path>'
            )


def _moving(
    scene: Mapping[str, Any], way: Mapping[str, Any], index: int, field: _Field
) -> Iterator[str]:
    for name, fill in zip(MOVING, (palette.PIECE, "url(#travel-tumour)"), strict=True):
        path = _path(cut_loops(scene, way, name, index), field)
        if path:
            yield (
                f'<path d="{path}" fill="{fill}" fill-rule="evenodd" '
                f'stroke="{palette.CUT_EDGE}" stroke-width="2"/>'
            )


def _shadow(scene: Mapping[str, Any], field: _Field, leans: Sequence[str]) -> Iterator[str]:
    """The piece and its tumour at other heights, as thin lines; tilted, each by its own matrix."""
    matrices = iter([one] for one in leans)
    for name, colour in zip(MOVING, (palette.PIECE, palette.TUMOUR_HATCH), strict=True):
        look = f'fill="none" stroke="{colour}" stroke-opacity="0.45" stroke-width="1.2"'
        for part in (p for p in scene["parts"] if p["name"] == name):
            paths = [_path(loops, field) for loops in part["loops"][::EVERY]]
            if not leans:
                paths = [one for one in ("".join(paths),) if one]
            for path in paths:
                yield f'<path d="{path}" {look} {_class("other", next(matrices, []))}/>'


def _class(name: str, matrix: Sequence[str]) -> str:
    """A class, and the matrix of what a tilt changes; those lie in the order of ``leans_of``."""
    return f'class="{name} leans" transform="{matrix[0]}"' if matrix else f'class="{name}"'


def _lines(scene: Mapping[str, Any], way: Mapping[str, Any], field: _Field) -> Iterator[str]:
    """Roots, laid onto the plane: what stays whole, what is given up dashed."""
    for line in scene["lines"]:
        name = line["name"]
        if name not in way["stays"] and name not in way["gone"]:
            continue
        points = "L".join("{:.1f} {:.1f}".format(*field.at(p[0], p[1])) for p in line["points"])
        gone = name in way["gone"]
        dash = ' stroke-dasharray="3 7"' if gone else ""
        said = words.gone(name) if gone else name
        yield (
            f'<path d="M{points}" fill="none" stroke="{palette.CORD}" stroke-opacity="0.8" '
            f'stroke-width="{2.0 if gone else max(2.0, 2.0 * _MM * line["radius_mm"]):.1f}"{dash} '
            f'stroke-linecap="round"><title>{escape(said)}</title></path>'
        )


def _edge_of_wound(scene: Mapping[str, Any], field: _Field) -> Iterator[str]:
    (x0, y), (x1, _) = (
        field.at(x, scene["delivered_y_mm"]) for x in (field.left_mm, field.right_mm)
    )
    yield (
        f'<path d="M{x0:.1f} {y:.1f}H{x1:.1f}" stroke="{palette.PALE}" stroke-width="1.5" '
        'stroke-dasharray="10 8"/>'
    )
    size = 0.8 * field.text
    yield _word(x1 - 8.0, y - size, words.EDGE_OF_WOUND, size, anchor="end", quiet=True)


def _track(played: Mapping[str, Any] | None, field: _Field) -> Iterator[str]:
    """The way of the piece's middle."""
    if played is None:
        return
    places = [field.at(x, y) for x, y in zip(played["x_mm"], played["y_mm"], strict=True)]
    line = "L".join(f"{u:.1f} {v:.1f}" for u, v in places)
    yield (
        f'<path d="M{line}" fill="none" stroke="{palette.CUT_ON_NIGHT}" stroke-width="3" '
        'stroke-dasharray="2 7" stroke-linecap="round"/>'
    )


def _nearest(played: Mapping[str, Any] | None, pose: int, field: _Field) -> Iterator[str]:
    if played is None:
        return
    (u0, v0), (u1, v1) = (
        field.at(*played[name][pose][:2]) for name in ("on_piece_mm", "on_sac_mm")
    )
    yield (
        f'<path class="gap" d="M{u0:.1f} {v0:.1f}L{u1:.1f} {v1:.1f}" stroke="{palette.BRIGHT}" '
        f'stroke-width="4"/><circle class="ring" cx="{u1:.1f}" cy="{v1:.1f}" r="15" fill="none" '
        f'stroke="{palette.BRIGHT}" stroke-width="4"/>'
    )


def _letters(field: _Field) -> Iterator[str]:
    wide, tall = field.size
    size, rim, side = field.text, field.rim, field.side
    said = edge_words(View.THEATRE_CROSS_SECTION)
    for y in (0.0, tall - rim):
        yield f'<rect y="{y:.1f}" width="{wide:.0f}" height="{rim:.1f}" fill="{palette.NIGHT}"/>'
    yield _word(wide / 2.0, rim / 2.0, said["up"], size)
    yield _word(wide / 2.0, tall - rim / 2.0, said["down"], size)
    for x, name, turn in ((0.5 * side, "left", -90), (wide - 0.5 * side, "right", 90)):
        yield _word(x, 0.5 * tall, said[name], size, turn=turn)
    end, y = wide - side - 4.0, tall - rim - 0.3 * size
    first = end - _BAR_MM * _MM
    yield f'<path d="M{first:.1f} {y:.1f}H{end:.1f}" stroke="{palette.PALE}" stroke-width="6"/>'
    yield _word(end, y - 0.7 * size, f"{_BAR_MM:.0f} mm", 0.8 * size, anchor="end", quiet=True)


def _word(  # noqa: PLR0913  a word has a place and a look
    x: float,
    y: float,
    said: str,
    size: float,
    *,
    anchor: str = "middle",
    quiet: bool = False,
    turn: int = 0,
) -> str:
    turned = f' transform="rotate({turn} {x:.1f} {y:.1f})"' if turn else ""
    weight = "" if quiet else ' font-weight="600"'
    return (
        f'<text x="{x:.1f}" y="{y + 0.35 * size:.1f}" text-anchor="{anchor}" '
        f'font-size="{size:.1f}" fill="{palette.PALE}"{weight}{turned} '
        f'paint-order="stroke" stroke="{palette.NIGHT}" stroke-width="{0.25 * size:.1f}">'
        f"{escape(said)}</text>"
    )
