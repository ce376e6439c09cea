"""One vertebra as a solid in its own frame: body, pedicles, facets, laminae, processes.

Frame: +x left, +y back, +z cranial, origin in the middle of the body. The arch is symmetrical.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.made_up.bodies import WaistedColumn
from vertebloc.made_up.sizes import ARCH_BLEND_MM, SHAPES, WAIST, LevelShape
from vertebloc.published.morphometry import ANTERIOR_SHORTER, VERTEBRA_SIZES, VertebraSizes
from vertebloc.space.planes import Plane
from vertebloc.space.solids import (
    Capsule,
    Difference,
    EllipticCylinder,
    HalfSpace,
    Intersection,
    RoundCone,
    RoundedBox,
    SmoothUnion,
    Solid,
)


@dataclass(frozen=True, slots=True)
class VertebraShape:
    """The measures of one vertebra and the solids built from them, in its own frame."""

    level: Level

    @property
    def sizes(self) -> VertebraSizes:
        """Published means; a thirteenth thoracic vertebra is as large as L1 is (invented)."""
        return VERTEBRA_SIZES["L1" if self.level.name == "T13" else self.level.name]

    @property
    def shape(self) -> LevelShape:
        """Invented measures."""
        return SHAPES[self.level.name]

    @property
    def depth_mm(self) -> float:
        """Front to back at mid-body's endplates."""
        return 0.5 * (self.sizes.upper_depth.value + self.sizes.lower_depth.value)

    @property
    def height_mm(self) -> float:
        """Height at the middle: half way between that of the back and that of the front."""
        return self.sizes.posterior_height.value - 0.5 * ANTERIOR_SHORTER.value

    @property
    def canal_middle_mm(self) -> float:
        """How far behind the body's middle the canal's middle lies."""
        return 0.5 * (self.depth_mm + self.sizes.canal_depth.value)

    @property
    def arch_mm(self) -> float:
        """How far behind the body's middle the canal's back wall lies."""
        return self.canal_middle_mm + 0.5 * self.sizes.canal_depth.value

    @property
    def pedicle_x_mm(self) -> float:
        """How far to the side the pedicle's axis lies."""
        return 0.5 * (self.sizes.canal_width.value + self.sizes.pedicle_width.value)

    @property
    def pedicle_z_mm(self) -> float:
        """Height of the pedicle's axis: it springs from the upper part of the body."""
        return 0.5 * (self.height_mm - self.sizes.pedicle_height.value) - 0.3

    def endplates(self) -> tuple[Plane, Plane]:
        """Upper and lower endplate; normals point out of the body."""
        lean = ANTERIOR_SHORTER.value / (2.0 * self.depth_mm)
        half = np.array([0.0, 0.0, 0.5 * self.height_mm])
        return (
            Plane(half, np.array([0.0, -lean, 1.0])),
            Plane(-half, np.array([0.0, -lean, -1.0])),
        )

    def canal(self) -> Solid:
        """The hole in the ring, as a straight elliptic cylinder."""
        return EllipticCylinder(
            np.array([0.0, self.canal_middle_mm, 0.0]),
            np.array([0.5 * self.sizes.canal_width.value, 0.5 * self.sizes.canal_depth.value]),
            60.0,
        )

    def solid(self) -> Solid:
        """The whole bone: smoothly joined parts without the canal. Its distance is a bound."""
        parts: list[Solid] = [self._body(), self._spinous_process(), *self.upper_facets()]
        for side in (1.0, -1.0):
            parts += self._half_arch(side)
        return Difference(SmoothUnion(parts, ARCH_BLEND_MM), self.canal())

    def _body(self) -> Solid:
        """Waisted column with a squarer back, between the endplates."""
        s = self.sizes
        column = WaistedColumn(
            upper_half_axes_mm=0.5 * np.array([s.upper_width.value, s.upper_depth.value]),
            lower_half_axes_mm=0.5 * np.array([s.lower_width.value, s.lower_depth.value]),
            half_height_mm=0.5 * self.height_mm + 0.5,
            waist=WAIST,
        )
        half = np.array(
            [0.40 * s.upper_width.value, 0.27 * self.depth_mm, 0.5 * self.height_mm + 4]
        )
        back = RoundedBox(np.array([0.0, 0.5 * self.depth_mm + 1.2 - half[1], 0.0]), half, 4.0)
        joined = SmoothUnion((column, back), 2.0)
        return Intersection((joined, *(HalfSpace(plane) for plane in self.endplates())))

    def _half_arch(self, side: float) -> list[Solid]:
        """Pedicle, facets, lamina and transverse process of one side (+1 left, -1 right)."""
        return [
            self._pedicle(side),
            self._lower_facet(side),
            self._lamina(side),
            self._transverse_process(side),
        ]

    def _pedicle(self, side: float) -> Solid:
        s = self.sizes
        front, back = 0.5 * self.depth_mm - 5.0, self.canal_middle_mm + 4.0
        return EllipticCylinder(
            np.array([side * self.pedicle_x_mm, 0.5 * (front + back), self.pedicle_z_mm]),
            0.5 * np.array([s.pedicle_width.value, s.pedicle_height.value]),
            0.5 * (back - front),
            np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]),
        )

    def upper_facets(self) -> tuple[Solid, ...]:
        """Both upper facets, facing back; the next vertebra's lower ones hang behind them."""
        x, y, z = self.pedicle_x_mm - 0.5, self.canal_middle_mm + 4.0, 0.5 * self.height_mm - 1.0
        half = np.array([4.6, 2.2, 7.2])
        return tuple(RoundedBox(np.array([side * x, y, z]), half, 2.0) for side in (1.0, -1.0))

    def _lower_facet(self, side: float) -> Solid:
        x, y, z = self.pedicle_x_mm - 1.3, self.canal_middle_mm + 11.2, 0.5 * self.height_mm + 3.5
        return RoundedBox(np.array([side * x, y, -z]), np.array([4.6, 2.1, 7.0]), 2.0)

    def _lamina(self, side: float) -> Solid:
        """A sloping plate from the pedicle to the midline, its lower edge farther back."""
        outer = np.array([side * (self.pedicle_x_mm + 0.5), self.canal_middle_mm + 6.0, -4.0])
        inner = np.array([0.0, self.arch_mm + 3.6, -5.5])
        along = (inner - outer) / np.linalg.norm(inner - outer)
        lean = np.deg2rad(14.0)
        down = np.array([0.0, np.sin(lean), -np.cos(lean)])
        down -= (down @ along) * along
        down /= np.linalg.norm(down)
        across = np.cross(along, down)
        half = np.array([0.5 * float(np.linalg.norm(inner - outer)) + 1.0, 3.2, 8.5])
        return RoundedBox(0.5 * (outer + inner), half, 2.5, np.array([along, across, down]))

    def _transverse_process(self, side: float) -> Solid:
        x, back, up = self.shape.transverse_tip_mm
        root = np.array([side * (self.pedicle_x_mm + 1.5), self.canal_middle_mm + 6.0, 1.0])
        tip = np.array([side * x, self.canal_middle_mm + back, up])
        return RoundCone(root, tip, 4.2, 4.6 if self.level.region == "T" else 3.5)

    def _spinous_process(self) -> Solid:
        """A thin blade with a knob at its tip."""
        back, up = self.shape.spinous_tip_mm
        root = np.array([0.0, self.arch_mm + 3.0, -5.0])
        tip = np.array([0.0, self.arch_mm + 3.0 + back, -5.0 + up])
        along = (tip - root) / np.linalg.norm(tip - root)
        axes = np.array([along, [1.0, 0.0, 0.0], np.cross(along, [1.0, 0.0, 0.0])])
        half = np.array(
            [0.5 * float(np.linalg.norm(tip - root)), 2.8, self.shape.spinous_half_height_mm]
        )
        blade = RoundedBox(0.5 * (root + tip), half, 2.2, axes)
        reach = axes[2] * (self.shape.spinous_half_height_mm - 3.0)
        return SmoothUnion((blade, Capsule(tip - reach, tip + reach, 3.8)), 2.0)

    def points_of_left_rib(self) -> NDArray[np.float64]:
        """Where the left rib's head and knuckle would touch, (2, 3): pushed clear of bone later.

        Heads of ribs 2 to 9 straddle the disc above; 10, 11 and 12 touch their own body only.
        """
        top = 0.5 * self.height_mm
        straddles = self.level.number <= 9
        head_z = top + 2.0 if straddles else (top - 5.0 if self.level.number == 10 else top - 8.0)
        head_x = 0.5 * self.sizes.upper_width.value + 3.0
        x, back, up = self.shape.transverse_tip_mm
        knuckle = np.array([x + 4.0, self.canal_middle_mm + back - 8.0, up])
        return np.array([[head_x, 0.5 * self.depth_mm - 4.0, head_z], knuckle])
