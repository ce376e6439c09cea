"""What the pictures are drawn from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Vertebra
from vertebloc.errors import InputError
from vertebloc.fluoroscopy import CArmPlan
from vertebloc.published import margins
from vertebloc.reports import text
from vertebloc.reports.answer import least_room
from vertebloc.resection.model import FaceKind, FaceMargin, ResectionPlan
from vertebloc.space.frames import Frame, Side
from vertebloc.space.grids import Volume
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Transform
from vertebloc.space.views import View, screen_from_body


@dataclass(frozen=True, slots=True, kw_only=True)
class HandError:
    """How far hands were found to be off, drawn as a bracket on the allowance bars."""

    low_mm: float
    high_mm: float
    words: str  #: bone, tool, number of cuts and source, such as ``free-hand, pelvis, 24 cuts``

    def __post_init__(self) -> None:
        """Refuse a bracket that is upside down or without its source in words."""
        if not 0 <= self.low_mm <= self.high_mm or not self.words:
            raise InputError(
                f"a hand's error needs 0 <= low <= high and words on its source, got "
                f"{self.low_mm} to {self.high_mm} mm, {self.words!r}"
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """Images, outlines and plan of one person, ready to be drawn.

    ``surfaces`` may hold ``bone`` (vertebrae), ``tumour``, ``sac``, ``cord``, ``aorta``,
    ``piece``, ``nibbled`` (bone taken piecemeal), and ribs under the names they have in
    ``plan.rib_fates``. What is missing is not drawn.
    """

    plan: ResectionPlan
    vertebra: Vertebra  #: the diseased one
    surfaces: Mapping[str, TriangleSurface]
    ct: Volume | None = None  #: Hounsfield units
    vertebrae: Mapping[Level, Vertebra] = field(default_factory=dict)  #: to name levels
    standing: Side | None = Side.LEFT  #: where the surgeon stands; None: head up instead
    hand: HandError | None = None
    c_arm: CArmPlan | None = None  #: views to predict

    def __post_init__(self) -> None:
        """Freeze the mappings."""
        object.__setattr__(self, "surfaces", MappingProxyType(dict(self.surfaces)))
        object.__setattr__(self, "vertebrae", MappingProxyType(dict(self.vertebrae)))

    @property
    def theatre_view(self) -> View:
        """The view of somebody who stands at the chosen side of the prone patient, or head up."""
        if self.standing is None:
            return View.THEATRE_HEAD_UP
        at_left = self.standing is Side.LEFT
        return View.THEATRE_STANDING_LEFT if at_left else View.THEATRE_STANDING_RIGHT

    def screen_from_lps(self, view: View) -> Transform:
        """Map into a view's picture: origin at the diseased body's middle, turned to its frame."""
        screen_from_vertebra = screen_from_body(view, Frame.VERTEBRA)
        return screen_from_vertebra @ self.vertebra.lps_from_vertebra.inverse

    @property
    def tumour_middle(self) -> NDArray[np.float64]:
        """Centre of the tumour's volume, (3,) mm LPS; the body's middle if none is outlined."""
        tumour = self.surfaces.get("tumour")
        if tumour is None or not len(tumour.triangles):
            return self.vertebra.lps_from_vertebra.origin
        inside = tumour.vertices.mean(axis=0)
        a, b, c = np.moveaxis(tumour.corners - inside, 1, 0)
        weights = np.einsum("ij,ij->i", a, np.cross(b, c))
        if abs(weights.sum()) < 1e-9:
            return np.asarray(inside)
        return np.asarray(inside + ((a + b + c) / 4.0 * weights[:, None]).sum(0) / weights.sum())

    @property
    def bone_faces(self) -> tuple[FaceMargin, ...]:
        """The faces that are cut, in the plan's order."""
        return tuple(face for face in self.plan.faces if face.kind is FaceKind.BONE)

    @property
    def weakest_bone_face(self) -> FaceMargin | None:
        """The bone face nearest to tumour, as the answer names it; None if there is none."""
        return min(self.bone_faces, key=least_room, default=None)


def published_hand_error() -> HandError:
    """The published error of free hands, for the bracket on the allowance bars.

    Returns
    -------
    HandError
        From no error to the mean location error of free-hand cuts.

    Notes
    -----
    Location is the largest distance of any point of the cut face from its plane. It was
    measured on blocks, not on vertebrae, and says nothing about one team's hands.

    References
    ----------
    [cartiaux2010] mean location error of free-hand cuts.
    """
    mean = margins.LOCATION_FREE_HAND_MM
    return HandError(low_mm=0.0, high_mm=mean.value, words=text.hand_error(mean))
