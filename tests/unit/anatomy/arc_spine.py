"""A spine bent along a circle, whose frames, walls and owners of ribs are known in closed form.

Made for the tests of the anatomy room alone: nothing of the package makes it, so nothing of
the package can be wrong in the same way.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vertebloc.anatomy.contours import ContourSet, LabelMap
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.space.frames import Side
from vertebloc.space.grids import Grid, Volume

THORACIC = tuple(f"T{n}" for n in range(1, 13))
WHOLE = ("C7", *THORACIC, "L1")
PITCH_MM = 26.0  # from body to body along the canal
HALF_HEIGHT_MM = 10.0
HALF_WIDTH_MM = 15.0
WALL_MM, FRONT_MM = -9.0, -35.0  # back and front of a body, from the canal's middle
CANAL_MM = 7.5
SPACING = (1.5, 1.5, 2.0)
OFFSET = np.array([7.0, -11.0, 25.0])  # of the canal at the middle of the row
BONE, RIB, CANAL, TUMOUR, AORTA = 1, 2, 3, 4, 5  # label numbers where one stands for all


@dataclass
class ArcSpine:
    """Labels and the truth about them."""

    names: tuple[str, ...]
    radius_mm: float
    grid: Grid
    labels: np.ndarray
    meaning: dict[int, tuple[Contour, ...]]
    key: dict[int, Contour] = field(default_factory=dict)
    offset: np.ndarray = field(default_factory=lambda: OFFSET.copy())

    def contours(self, *, withheld: bool = False) -> ContourSet:
        """As outlines; withheld = one label for all vertebrae, one for all ribs."""
        labels, meaning = self.labels, dict(self.meaning)
        if withheld:
            table = np.arange(256, dtype=np.uint8)
            for value, contour in self.key.items():
                table[value] = BONE if contour.structure is Structure.VERTEBRA else RIB
            labels = table[labels]
            meaning = {v: c for v, c in meaning.items() if v not in self.key}
            meaning |= {BONE: (Contour(Structure.VERTEBRA),), RIB: (Contour(Structure.RIB),)}
        return ContourSet(LabelMap(Volume(self.grid, labels), meaning))

    def value(self, structure: Structure, name: str, side: Side | None = None) -> int:
        """The label number of a vertebra or a rib."""
        wanted = Contour(structure, Level(name), side)
        return next(value for value, contour in self.key.items() if contour == wanted)

    def height_mm(self, name: str) -> float:
        """Length along the canal from its middle to a vertebra, growing towards the feet."""
        return (self.names.index(name) - (len(self.names) - 1) / 2.0) * PITCH_MM

    def true_axes(self, name: str) -> np.ndarray:
        """Rows: +x, +y (back) and +z (head) of a vertebra."""
        angle = -self.height_mm(name) / self.radius_mm
        back = np.array([0.0, np.cos(angle), np.sin(angle)])
        head = np.array([0.0, -np.sin(angle), np.cos(angle)])
        return np.stack([[1.0, 0.0, 0.0], back, head])

    def local(self, points: np.ndarray) -> np.ndarray:
        """Aside, behind the canal's middle and along it to the feet, (n, 3)."""
        x, y, z = (points - OFFSET).T
        return np.stack(
            [
                x,
                np.hypot(y + self.radius_mm, z) - self.radius_mm,
                -np.arctan2(z, y + self.radius_mm) * self.radius_mm,
            ],
            axis=1,
        )

    def paint(self, value: int, where: np.ndarray, over: tuple[int, ...] | None = None) -> None:
        """Give voxels a label: free ones, or those with the given labels, or (()) all."""
        if over is None:
            where = where & (self.labels == 0)
        elif over:
            where = where & np.isin(self.labels, over)
        self.labels[where] = value


def make_spine(
    names: tuple[str, ...] = ("T8", "T9", "T10", "T11"),
    *,
    ribs: tuple[str, ...] | None = None,
    radius_mm: float = 300.0,
    canal: Structure = Structure.CANAL,
    aorta_mm: float | None = None,
    room_mm: float = 20.0,
) -> ArcSpine:
    """Build the labels.

    ``ribs`` names the vertebrae that carry a pair (default: all thoracic ones in view);
    ``aorta_mm`` puts an aorta so far to the left; ``room_mm`` is left beyond the last bodies.
    """
    reach_mm = 45.0 if ribs == () else 110.0
    length = len(names) * PITCH_MM + 2 * room_mm
    depth = (-45.0, 60.0) if ribs == () else (-105.0, 75.0)
    shape = (
        round(2 * reach_mm / SPACING[0]),
        round((depth[1] - depth[0]) / SPACING[1]),
        round(length / SPACING[2]),
    )
    matrix = np.diag([*SPACING, 1.0])
    matrix[:3, 3] = OFFSET + np.array([-reach_mm, depth[0], -length / 2])
    grid = Grid.from_matrix(shape, matrix)
    spine = ArcSpine(names, radius_mm, grid, np.zeros(shape, dtype=np.uint8), {})
    place = spine.local(grid.centres()).reshape(*shape, 3)
    x, y, s = np.moveaxis(place, 3, 0)
    spine.meaning[CANAL] = (Contour(canal),)
    spine.paint(CANAL, np.hypot(x, y) < CANAL_MM)
    central = (np.abs(x) < 31.0) & (np.abs(y) < 41.0)
    for number, name in enumerate(names):
        value = 10 + number
        spine.key[value] = Contour(Structure.VERTEBRA, Level(name))
        near = central & (np.abs(s - spine.height_mm(name)) < 20.0)
        bone = np.zeros(shape, dtype=bool)
        bone[near] = _vertebra(x[near], y[near], s[near] - spine.height_mm(name))
        spine.paint(value, bone)
    bearing = [n for n in names if n.startswith("T")] if ribs is None else ribs
    for number, name in enumerate(bearing):
        for side in Side:
            value = 100 + 2 * number + (side is Side.RIGHT)
            spine.key[value] = Contour(Structure.RIB, Level(name), side)
            cells = _near_curve(spine, _rib_line(spine, name, side), 4.0)
            spine.labels[cells] = np.where(spine.labels[cells] == 0, value, spine.labels[cells])
    spine.meaning |= {value: (contour,) for value, contour in spine.key.items()}
    if aorta_mm is not None:
        spine.meaning[AORTA] = (Contour(Structure.AORTA),)
        spine.paint(AORTA, np.hypot(x - aorta_mm, y + 46.0) < 9.0)
    return spine


def _vertebra(x: np.ndarray, y: np.ndarray, t: np.ndarray) -> np.ndarray:
    """Body, ring with processes, and facets that reach the vertebra below; t to the feet."""
    middle, half = (WALL_MM + FRONT_MM) / 2, (WALL_MM - FRONT_MM) / 2
    body = ((x / HALF_WIDTH_MM) ** 4 + ((y - middle) / half) ** 4 < 1) & (
        np.abs(t) < HALF_HEIGHT_MM
    )
    ring = (np.hypot(x, y) > 8.5) & (np.hypot(x, y) < 13.5) & (y > -10.0) & (t > -8) & (t < 4)
    process = (np.abs(x) > 10) & (np.abs(x) < 30) & (np.abs(y - 8) < 5) & (np.abs(t + 3) < 5)
    spine = (np.abs(x) < 3) & (y > 10) & (y < 40) & (t > -2) & (t < 16)
    facet = (np.abs(np.abs(x) - 10) < 3) & (np.abs(y - 11) < 2.5) & (t > 0) & (t < 18.5)
    return body | ring | process | spine | facet


def _rib_line(spine: ArcSpine, name: str, side: Side) -> np.ndarray:
    """Middle line of a rib, aside, back and along the canal: rib heads straddle the disc."""
    number = int(name[1:])
    top = spine.height_mm(name) - HALF_HEIGHT_MM
    top += -1.0 if 2 <= number <= 9 else 5.0
    round_mm = {1: 45.0, 11: 45.0, 12: 25.0}.get(number, 75.0)
    u = np.linspace(0.0, 1.0, 200)
    x = 22.0 + round_mm * np.sin(u * np.pi * 0.62)
    y = -10.0 + 25.0 * np.sin(u * np.pi) - 60.0 * u**2
    return np.stack([side.sign * x, y, top + 35.0 * u], axis=1)


def _near_curve(spine: ArcSpine, line: np.ndarray, radius_mm: float) -> tuple[np.ndarray, ...]:
    """Indices of voxels within a distance of a curve given in local terms."""
    angle = -line[:, 2] / spine.radius_mm
    ring = line[:, 1] + spine.radius_mm
    points = OFFSET + np.stack(
        [line[:, 0], ring * np.cos(angle) - spine.radius_mm, ring * np.sin(angle)], axis=1
    )
    index = spine.grid.lps_from_ijk.inverse.points(points)
    around = np.indices((9, 9, 7)).reshape(3, -1).T - [4, 4, 3]
    around = around[np.linalg.norm(around * SPACING, axis=1) < radius_mm]
    cells = np.unique((index.round().astype(int)[:, None] + around).reshape(-1, 3), axis=0)
    cells = cells[np.all((cells >= 0) & (cells < spine.grid.shape), axis=1)]
    return tuple(cells.T)
