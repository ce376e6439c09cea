"""The piece unfolded like a carton: every face laid flat, true to scale, seen from outside.

The back lies in the middle as the surgeon sees it from behind, head up, the patient's left at
the left. The cranial face is folded up from it, the caudal one down, the sides outwards, and
the front beyond the caudal face, head down: in the whole column left is left. Bone faces are
laid flat in their own planes and keep their area; dissected faces are curved and can only be
shown as they are seen. Cuts through the arch are flaps of their own. The same drawing serves
page, planning sheet and pathology.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.model import Vertebra
from vertebloc.case.choice_words import SoftFace
from vertebloc.resection.contamination import TOUCHES_MM
from vertebloc.resection.margin_map import PITCH_MM, map_margins, map_surface_margins
from vertebloc.resection.model import FaceKind, FaceMargin, Kind, ResectionPlan
from vertebloc.resection.piece import wall_plane
from vertebloc.resection.soft_faces import SOFT_NAMES, triangles_of_soft_faces
from vertebloc.space.distance import SignedDistance
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import (
    Solid,
    solid_from_surface,
    trimmed,
)
from vertebloc.space.shadows import shadow_of_solid, shadow_of_triangles
from vertebloc.space.transforms import Transform

Flat = NDArray[np.float64]

#: Each panel in the vertebra's axes (left, back, head): to the drawing's right, and up. Both turn
#: with the viewer, who always looks from outside: no panel is a mirror image.
PANEL_AXES: Mapping[str, tuple[tuple[float, float, float], tuple[float, float, float]]] = {
    "back": ((-1, 0, 0), (0, 0, 1)),
    "left": ((0, 1, 0), (0, 0, 1)),
    "right": ((0, -1, 0), (0, 0, 1)),
    "front": ((-1, 0, 0), (0, 0, -1)),
    "cranial": ((-1, 0, 0), (0, -1, 0)),
    "caudal": ((-1, 0, 0), (0, 1, 0)),
}
#: Panels seen from the opposite side of another, and which of their two axes is then turned.
_OPPOSITE: Mapping[str, tuple[str, tuple[float, float]]] = {
    "right": ("left", (-1.0, 1.0)),
    "front": ("back", (1.0, -1.0)),
    "caudal": ("cranial", (1.0, -1.0)),
}
_SOFT_PANELS = {SoftFace.DURA: "back", SoftFace.LEFT_SIDE: "left", SoftFace.RIGHT_SIDE: "right",
                SoftFace.FRONT: "front"}  # fmt: skip
#: Discs stay with the piece but are not outlined as bone: gaps up to twice this are closed where
#: the piece is drawn as it is seen. A display, no measure.
_CLOSING_MM = 6.0
_FLAP = "arch cut"  #: in the names of faces that lie behind the body


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shape:
    """One face laid flat: mm to the panel's right and up, from the vertebra's middle."""

    face: FaceMargin
    loops: tuple[Flat, ...]  #: (n, 2) each
    weakest: Flat  #: (2,)
    cells: Flat = field(default_factory=lambda: np.zeros((0, 3)))
    #: (n, 3) place and margin of each lattice point; none on a dissected face
    bare: tuple[Flat, ...] = ()  #: where tumour lies bare on a dissected face

    @property
    def area_mm2(self) -> float:
        """Area as drawn: a bone face keeps its own."""
        return abs(sum(_area(loop) for loop in self.loops))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Panel:
    """One side of the carton with the faces on it."""

    name: str  #: a key of ``PANEL_AXES``
    outline: tuple[Flat, ...]  #: the piece as seen from this side
    shapes: tuple[Shape, ...]

    @property
    def low(self) -> Flat:
        """Lower left corner of everything on it, (2,) mm."""
        return np.asarray(np.concatenate(self._loops()).min(axis=0))

    @property
    def high(self) -> Flat:
        """Upper right corner of everything on it, (2,) mm."""
        return np.asarray(np.concatenate(self._loops()).max(axis=0))

    def _loops(self) -> list[Flat]:
        return [*self.outline, *(loop for shape in self.shapes for loop in shape.loops)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Carton:
    """The six panels, and the flaps: faces that have no place on a panel."""

    panels: Mapping[str, Panel]
    flaps: tuple[Panel, ...]  #: one face each
    fold_mm: float  #: where the back is folded, from the vertebra's middle to the back
    pitch_mm: float  #: width of a cell


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
        Bone faces true to scale in their own planes; dissected faces as they are seen.
    """
    arch_only = plan.kind is Kind.ARCH_ONLY
    body = solid_from_surface(plan.piece)
    if not arch_only:
        body = trimmed(body, [wall_plane(vertebra, keep_front=True)])
    parts = triangles_of_soft_faces(plan.piece, vertebra, plan.cuts, arch_only=arch_only)
    shapes: dict[str, list[Shape]] = {name: [] for name in PANEL_AXES}
    flaps = []
    outlines = _outlines(body, vertebra)
    for face in plan.faces:
        if face.face is not None and _FLAP in face.name:
            name = _nearest_panel(face.face, vertebra)
            shape = _laid_flat(face, face.face, name, vertebra, tumour)
            flaps.append(Panel(name=name, outline=(), shapes=(shape,)))
        elif face.face is not None:
            name = _panel_of(face, face.face, vertebra)
            shapes[name].append(_laid_flat(face, face.face, name, vertebra, tumour))
        elif face.kind is FaceKind.SOFT:
            soft = next(part for part, said in SOFT_NAMES.items() if said == face.name)
            name = _SOFT_PANELS[soft]
            bare: tuple[Flat, ...] = ()
            if face.margin_mm <= TOUCHES_MM and len(parts[soft]):
                found = map_surface_margins(plan.piece, parts[soft], tumour)
                nearest = parts[soft][found.margins_mm <= TOUCHES_MM]
                bare = shadow_of_triangles(plan.piece, nearest, _panel_frame(vertebra, name)).loops
            at = _on_panel(vertebra.lps_from_vertebra.inverse.points(face.weakest), name)[0]
            shapes[name].insert(
                0, Shape(face=face, loops=outlines[name], weakest=at, bare=bare)
            )  # dissected faces lie under cut ones
    return Carton(
        panels={
            name: Panel(name=name, outline=outlines[name], shapes=tuple(shapes[name]))
            for name in PANEL_AXES
        },
        flaps=tuple(flaps),
        fold_mm=vertebra.posterior_wall_mm,
        pitch_mm=PITCH_MM,
    )


def _axes(name: str) -> tuple[Flat, Flat, Flat]:
    """To the right, up, and towards the viewer, in the vertebra's axes."""
    right, up = (np.array(axis, dtype=np.float64) for axis in PANEL_AXES[name])
    return right, up, np.cross(right, up)


def _on_panel(local: Flat, name: str) -> Flat:
    """Places of the vertebra as they are seen from a panel's side, (n, 2)."""
    right, up, _ = _axes(name)
    return np.column_stack((local @ right, local @ up))


def _panel_frame(vertebra: Vertebra, name: str) -> Transform:
    """The plane through the vertebra's middle on which a panel is drawn."""
    right, _, viewer = _axes(name)
    lps = vertebra.lps_from_vertebra
    return Plane(lps.origin, lps.vectors(viewer)[0]).frame(lps.vectors(right)[0])


def _outlines(body: Solid, vertebra: Vertebra) -> dict[str, tuple[Flat, ...]]:
    """Outlines of the piece's body from all sides: from opposite ones they are mirror images."""
    found = {name: _seen(body, vertebra, name) for name in PANEL_AXES if name not in _OPPOSITE}
    for name, (other, turned) in _OPPOSITE.items():
        found[name] = tuple(np.asarray(loop[::-1] * np.array(turned)) for loop in found[other])
    return {name: found[name] for name in PANEL_AXES}


def _seen(body: Solid, vertebra: Vertebra, name: str) -> tuple[Flat, ...]:
    """Outline of the piece's body as seen from one side; what lies behind the wall is left off."""
    frame = _panel_frame(vertebra, name)
    return shadow_of_solid(body, frame, closing_mm=_CLOSING_MM).loops


def _panel_of(face: FaceMargin, shape: PlanarFace, vertebra: Vertebra) -> str:
    """The panel that a bone face lies on."""
    for name in ("cranial", "caudal"):
        if name in face.name:
            return name
    return _nearest_panel(shape, vertebra)


def _nearest_panel(shape: PlanarFace, vertebra: Vertebra) -> str:
    """The panel whose viewer a face looks at."""
    normal = vertebra.lps_from_vertebra.inverse.vectors(shape.lps_from_plane.axis(2))[0]
    return max(PANEL_AXES, key=lambda name: float(_axes(name)[2] @ normal))


def _laid_flat(
    face: FaceMargin, shape: PlanarFace, name: str, vertebra: Vertebra, tumour: SignedDistance
) -> Shape:
    """A bone face turned flat about its hinge, without stretching it."""
    to_body = vertebra.lps_from_vertebra.inverse
    normal = to_body.vectors(shape.lps_from_plane.axis(2))[0]
    right, _, _ = _axes(name)
    across = right - (right @ normal) * normal
    across = across / np.linalg.norm(across)
    along = np.cross(normal, across)
    hinge = _hinge(shape, normal, name, vertebra)
    start = _on_panel(hinge[None], name)[0]

    def flat(lps: Flat) -> Flat:
        away = to_body.points(lps) - hinge
        return np.asarray(start + np.column_stack((away @ across, away @ along)))

    found = map_margins(shape, tumour, min(PITCH_MM, np.sqrt(shape.area_mm2) / 3.0))
    return Shape(
        face=face,
        loops=tuple(flat(loop) for loop in shape.loops_lps()),
        weakest=flat(face.weakest[None])[0],
        cells=np.column_stack((flat(found.points), found.margins_mm)),
    )


def _hinge(shape: PlanarFace, normal: Flat, name: str, vertebra: Vertebra) -> Flat:
    """The place that stays where it is when a face is laid flat, in the vertebra's frame.

    On the fold, in the midline, for the faces at head and feet; else the face's middle.
    """
    local = vertebra.lps_from_vertebra.inverse.points(np.concatenate(shape.loops_lps()))
    if name not in ("cranial", "caudal"):
        return np.asarray(local.mean(axis=0))
    foot = np.array([0.0, vertebra.posterior_wall_mm, 0.0])
    foot[2] = (local[0] - foot) @ normal / normal[2]
    return foot


def _area(loop: Flat) -> float:
    x, y = loop.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
