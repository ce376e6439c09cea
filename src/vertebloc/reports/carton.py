"""The piece unfolded like a carton: every face flat, true to scale, with its margin.

The back lies in the middle as the surgeon sees it from behind, head up: the patient's left at
the left. The cranial face is folded up from it, the caudal one down and the front further down
from that; the sides are folded outwards. Cuts through the arch lie apart in the upper corner of
their side. The same drawing serves plan, sheet and pathology.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.model import Vertebra
from vertebloc.reports import page_words as words
from vertebloc.reports import palette, text
from vertebloc.reports.screen_scene import WIDEST_MM
from vertebloc.resection.margin_map import map_margins
from vertebloc.resection.model import FaceKind, FaceMargin, ResectionPlan
from vertebloc.space.distance import SignedDistance
from vertebloc.space.transforms import Transform

_GAP_MM = 3.0  #: between panels, so that a fold can be seen
_LABEL_MM = 7.0  #: height of a row of words at 13 px on the screen


@dataclass(frozen=True, slots=True, eq=False)
class Panel:
    """One flat face of the carton, in drawing coordinates: mm, x to the right, y down."""

    face: FaceMargin
    loops: tuple[NDArray[np.float64], ...]  #: (n, 2) each, as drawn
    cells: NDArray[np.float64]  #: (n, 3): x, y, margin of each lattice point; empty if soft
    weakest: NDArray[np.float64]  #: (2,)

    @property
    def area_mm2(self) -> float:
        """Area as drawn: a bone face keeps its own."""
        return abs(sum(_area(loop) for loop in self.loops))


@dataclass(frozen=True, slots=True, eq=False)
class Carton:
    """All panels and the size of the drawing."""

    panels: tuple[Panel, ...]
    titles: tuple[tuple[float, float, str], ...]  #: x, y, words
    width_mm: float
    height_mm: float


def unfold(plan: ResectionPlan, vertebra: Vertebra, tumour: SignedDistance) -> Carton:
    """Lay the faces of the piece flat.

    Parameters
    ----------
    plan : ResectionPlan
        The piece and its faces.
    vertebra : Vertebra
        The diseased one: its frame says what is left, back and head.
    tumour : SignedDistance
        For the margins over each face.

    Returns
    -------
    Carton
        Bone faces true to scale; soft faces as rectangles of the piece's size.
    """
    local = vertebra.lps_from_vertebra.inverse
    fold = _Fold.of(local.points(plan.piece.vertices), vertebra.posterior_wall_mm)
    panels: list[Panel] = []
    corner = {"left": np.zeros(2), "right": np.array([fold.places["right"][0], 0.0])}
    for face in plan.faces:
        name = _panel_of(face)
        if name == "arch" and face.face is not None:
            side = "right" if "right" in face.name else "left"
            laid, height = _apart(face, corner[side].copy(), local, tumour)
            corner[side] += (0.0, height + _GAP_MM)
            panels.append(laid)
        elif face.kind is FaceKind.SOFT:
            panels.append(_soft_panel(face, name, fold, local.points(face.weakest)))
        elif face.face is not None:
            panels.append(_bone_panel(face, name, fold.drawn, local.points, tumour))
    panels.sort(key=lambda panel: panel.face.kind is FaceKind.BONE)  # bone lies on soft
    return Carton(
        panels=tuple(panels),
        titles=tuple(
            (fold.places[name][0] + 1.0, fold.places[name][1] - 1.6, said)
            for name, said in words.CARTON_PANELS.items()
        ),
        width_mm=float(fold.places["right"][0] + fold.deep),
        height_mm=float(fold.places["front"][1] + fold.tall),
    )


@dataclass(frozen=True, slots=True)
class _Fold:
    """How the piece's box is unfolded: where each panel lies, and how body becomes drawing."""

    low: NDArray[np.float64]
    high: NDArray[np.float64]
    wall: float
    places: Mapping[str, tuple[float, float]]

    @classmethod
    def of(cls, body: NDArray[np.float64], wall: float) -> _Fold:
        low, high = body.min(axis=0), body.max(axis=0)
        wide, tall, deep = high[0] - low[0], high[2] - low[2], wall - low[1]
        left, top = deep + _GAP_MM, _LABEL_MM + deep + _GAP_MM
        places = {
            "back": (left, top),
            "cranial": (left, _LABEL_MM),
            "caudal": (left, top + tall + _GAP_MM),
            "left": (0.0, top),
            "right": (left + wide + _GAP_MM, top),
            "front": (left, top + tall + deep + 2 * _GAP_MM + _LABEL_MM),
        }
        return cls(low, high, wall, places)

    @property
    def wide(self) -> float:
        return float(self.high[0] - self.low[0])

    @property
    def tall(self) -> float:
        return float(self.high[2] - self.low[2])

    @property
    def deep(self) -> float:
        return float(self.wall - self.low[1])

    def size(self, panel: str) -> tuple[float, float]:
        return (self.deep if panel in ("left", "right") else self.wide, self.tall)

    def drawn(self, panel: str, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Body coordinates to the drawing: each panel seen from outside the piece."""
        x0, y0 = self.places[panel]
        x, y, z = points[:, 0], points[:, 1], points[:, 2]
        flat = {
            "back": (self.high[0] - x, self.high[2] - z),
            "cranial": (self.high[0] - x, y - self.low[1]),
            "caudal": (self.high[0] - x, self.wall - y),
            "left": (y - self.low[1], self.high[2] - z),
            "right": (self.wall - y, self.high[2] - z),
            "front": (self.high[0] - x, z - self.low[2]),
        }[panel]
        return np.column_stack((x0 + flat[0], y0 + flat[1]))


def _soft_panel(face: FaceMargin, panel: str, fold: _Fold, weakest: NDArray[np.float64]) -> Panel:
    (x0, y0), (w, h) = fold.places[panel], fold.size(panel)
    corners = np.array([[x0, y0], [x0 + w, y0], [x0 + w, y0 + h], [x0, y0 + h]])
    at = np.clip(fold.drawn(panel, weakest)[0], (x0, y0), (x0 + w, y0 + h))
    return Panel(face, (corners,), np.zeros((0, 3)), at)


def _apart(
    face: FaceMargin, corner: NDArray[np.float64], to_body: Transform, tumour: SignedDistance
) -> tuple[Panel, float]:
    """A cut through the arch, drawn by itself: head up, as seen from outside."""
    midline = "midline" in face.name

    def drawn(_panel: str, points: NDArray[np.float64]) -> NDArray[np.float64]:
        across = points[:, 1] if midline else -points[:, 0]
        return np.column_stack((across, -points[:, 2]))

    made = _bone_panel(face, "arch", drawn, to_body.points, tumour)
    everything = np.concatenate(made.loops)
    shift = corner - everything.min(axis=0)
    cells = made.cells + np.array([*shift, 0.0])
    loops = tuple(loop + shift for loop in made.loops)
    height = float(np.ptp(everything[:, 1]))
    return Panel(face, loops, cells, made.weakest + shift), height


def _bone_panel(face, panel, drawn, to_body, tumour) -> Panel:  # type: ignore[no-untyped-def]
    """A bone face true to scale, as it shows from outside."""
    lps_from_plane = face.face.lps_from_plane
    loops = tuple(
        drawn(panel, to_body(lps_from_plane.points(np.column_stack((loop, np.zeros(len(loop)))))))
        for loop in face.face.loops
    )
    found = map_margins(face.face, tumour)
    cells = np.column_stack((drawn(panel, to_body(found.points)), found.margins_mm))
    return Panel(face, loops, cells, drawn(panel, to_body(face.weakest))[0])


def _panel_of(face: FaceMargin) -> str:
    for name in ("cranial", "caudal"):
        if name in face.name:
            return name
    if face.kind is FaceKind.BONE:
        return "arch" if "arch cut" in face.name else "back"
    for name in ("left", "right", "front"):
        if name in face.name:
            return name
    return "back"


def _area(loop: NDArray[np.float64]) -> float:
    x, y = loop.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def carton_svg(carton: Carton) -> str:
    """Draw the carton.

    Parameters
    ----------
    carton : Carton
        From ``unfold``.

    Returns
    -------
    str
        SVG; violet = room to tumour, dark = thin, always with the number.
    """
    scale = 366.0 / carton.width_mm
    shapes = [_shape(panel, place) for place, panel in enumerate(carton.panels)]
    labels = [_label(panel, 13.0 / scale) for panel in carton.panels]
    titles = [
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{12.5 / scale:.2f}" font-weight="600" '
        f'fill="{palette.SOFT}">{escape(said)}</text>'
        for x, y, said in carton.titles
    ]
    return (
        f'<svg viewBox="-1 -1 {carton.width_mm + 2:.1f} {carton.height_mm + 2:.1f}" role="img" '
        f'class="carton" font-family="DejaVu Sans, sans-serif" '
        f'aria-label="{escape(words.CARTON)}">'
        '<defs><pattern id="carton-hatch" width="2" height="2" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(35)"><rect width="2" height="2" fill="{palette.TUMOUR}"/>'
        f'<path d="M0 0H2" stroke="{palette.TUMOUR_HATCH}" stroke-width=".6"/></pattern></defs>'
        f"{''.join(shapes)}{''.join(titles)}{''.join(labels)}</svg>"
    )


def _shape(panel: Panel, place: int) -> str:
    outline = "".join(
        "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in loop) + "Z" for loop in panel.loops
    )
    if panel.face.kind is FaceKind.SOFT:
        return (
            f'<path d="{outline}" fill="#fff" stroke="{palette.BONE_EDGE}" stroke-width=".4" '
            f'stroke-dasharray="1.5 1"/>{_ring(panel)}'
        )
    half = 1.0
    cells = "".join(
        f'<rect x="{x - half:.1f}" y="{y - half:.1f}" width="2.1" height="2.1" fill="{_ink(mm)}"/>'
        for x, y, mm in panel.cells
    )
    return (
        f'<clipPath id="carton-{place}"><path d="{outline}" clip-rule="evenodd"/></clipPath>'
        f'<path d="{outline}" fill="{palette.room_colour(panel.face.margin_mm, WIDEST_MM)}"/>'
        f'<g clip-path="url(#carton-{place})">{cells}</g>'
        f'<path d="{outline}" fill="none" stroke="{palette.CUT}" stroke-width=".6"/>{_ring(panel)}'
    )


def _ink(margin_mm: float) -> str:
    if margin_mm < 0.0:
        return "url(#carton-hatch)"
    return palette.room_colour(float(margin_mm), WIDEST_MM)


def _ring(panel: Panel) -> str:
    x, y = panel.weakest
    return (
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.6" fill="none" stroke="#fff" stroke-width="1.3"/>'
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="1.6" fill="none" stroke="{palette.INK}" '
        'stroke-width=".6"/>'
    )


def _label(panel: Panel, size: float) -> str:
    """The number beside or on its face, on a ground of its own, so that it can be read."""
    face, points = panel.face, np.concatenate(panel.loops)
    low, high = points.min(axis=0), points.max(axis=0)
    x, y, anchor = (low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0, "middle"
    if face.kind is FaceKind.SOFT:
        y = low[1] + size * 0.9
    elif "half" in face.name:  # the two halves' numbers stand back to back at the midline
        at_left = "left" in face.name
        x, anchor = (high[0] - 0.8, "end") if at_left else (low[0] + 0.8, "start")
    elif "base" in face.name:
        at_left = "left" in face.name
        x, anchor = (low[0] - 1.0, "end") if at_left else (high[0] + 1.0, "start")
    elif "arch cut" in face.name:
        x, anchor = high[0] + 1.5, "start"
    said = text.mm(face.margin_mm)
    if face.tumour_crossed_mm2 > 0.0:
        said = words.crossed(face.tumour_crossed_mm2)
    width = size * 0.62 * len(said) + 1.0
    from_x = {"middle": x - width / 2, "end": x - width + 0.5, "start": x - 0.5}[anchor]
    return (
        f'<rect x="{from_x:.2f}" y="{y - size * 0.65:.2f}" width="{width:.2f}" '
        f'height="{size * 1.3:.2f}" rx=".8" fill="{palette.SHEET}" fill-opacity=".8"/>'
        f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size:.2f}" text-anchor="{anchor}" '
        f'dominant-baseline="central" fill="{palette.INK}">{escape(said)}'
        f"<title>{escape(words.face_title(face.name, face.area_mm2))}</title></text>"
    )


def carton_rows(faces: Sequence[FaceMargin]) -> tuple[tuple[str, str], ...]:
    """Names, areas and margins of the faces, for beside the drawing.

    Parameters
    ----------
    faces : sequence of FaceMargin
        All faces.

    Returns
    -------
    tuple of (str, str)
        Bone faces first, thinnest first.
    """
    order = sorted(faces, key=lambda face: (face.kind is FaceKind.SOFT, face.margin_mm))
    return tuple(
        (face.name, words.area_and_margin(face.area_mm2, face.margin_mm, face.barrier))
        for face in order
    )
