"""A round ring of bone about a round sac: every width of an opening is known in closed form.

Canal coordinates: x to the left, y to the back, z to the head, the canal's middle on the z axis.
"""

from dataclasses import dataclass, field
from functools import cache
from types import SimpleNamespace

import numpy as np

from vertebloc.access.ring_map import RingGround, unroll_ring
from vertebloc.access.ring_model import RingSettings, Surrogate
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import CanalSpline, Vertebra
from vertebloc.resection.model import Kind
from vertebloc.space.frames import Frame, Side
from vertebloc.space.transforms import Transform, rigid_frame
from vertebloc.staging import StagingSettings, stage_tumour

INNER_MM, OUTER_MM, HALF_HEIGHT_MM, SAC_MM = 8.0, 20.0, 12.0, 6.0
#: the flat wall of the body lies at y = -8 mm; rays whose wall lies 2 mm behind it are arch
EDGE_DEG = np.degrees(np.arccos(-6.0 / INNER_MM))


def turned(degrees, axis, shift=(0.0, 0.0, 0.0)):
    """Rigid motion: a turn about an axis through the origin, then a shift."""
    x, y, z = np.asarray(axis, dtype=float) / np.linalg.norm(axis)
    k = np.array(((0, -z, y), (z, 0, -x), (-y, x, 0)))
    angle = np.deg2rad(degrees)
    matrix = np.eye(4)
    matrix[:3, :3] = np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * k @ k
    matrix[:3, 3] = shift
    return Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)


STRAIGHT = turned(0.0, (0.0, 0.0, 1.0))
OBLIQUE = turned(37.0, (0.3, -0.5, 0.8), (21.0, -33.0, 55.0))


@dataclass(frozen=True)
class Shape:
    """A solid of the scene, moved with it; its distance in scene coordinates is ``of``."""

    of: object
    motion: Transform = STRAIGHT

    def signed_distance_mm(self, points):
        local = self.motion.inverse.points(np.asarray(points, dtype=float).reshape(-1, 3))
        return np.asarray(self.of(local), dtype=float)


def bone_distance(p):
    r = np.hypot(p[:, 0], p[:, 1])
    return np.maximum.reduce((INNER_MM - r, r - OUTER_MM, np.abs(p[:, 2]) - HALF_HEIGHT_MM))


def sac_distance(p):
    return np.hypot(p[:, 0], p[:, 1]) - SAC_MM


def sectors(*spans, half_height=6.0):
    """Tumour in the ring over spans of degrees from the back over the left; exact by arc length.

    The distance beyond a bank is the arc to it: at most the true distance, so that growing it by
    d moves each bank by d / r radians.
    """

    def distance(p):
        r = np.maximum(np.hypot(p[:, 0], p[:, 1]), 1e-9)
        angle = np.degrees(np.arctan2(p[:, 0], p[:, 1]))
        aside = np.full(len(p), np.inf)
        for first, last in spans:
            middle, half = 0.5 * (first + last), 0.5 * (last - first)
            off = np.abs((angle - middle + 180.0) % 360.0 - 180.0) - half
            aside = np.minimum(aside, np.radians(off) * r)
        return np.maximum.reduce(
            (aside, INNER_MM - r, r - OUTER_MM, np.abs(p[:, 2]) - half_height)
        )

    return distance


@dataclass
class RingScene:
    """The ring with a tumour, moved as a whole."""

    tumour: object
    motion: Transform = STRAIGHT
    error_mm: float = 0.0
    surrogate: Surrogate = Surrogate.SAC
    sac: object = field(default=sac_distance)

    @property
    def vertebra(self):
        placed = rigid_frame((0.0, -24.0, 0.0), np.eye(3), source=Frame.VERTEBRA)
        return Vertebra(
            level=Level("T10"), lps_from_vertebra=self.motion @ placed, canal_s_mm=100.0,
            posterior_wall_mm=16.0, anterior_wall_mm=-16.0, upper_endplate_mm=12.0,
            lower_endplate_mm=-12.0, left_wall_mm=16.0, right_wall_mm=-16.0,
            frame_from_neighbours=True, own_frame_differs_deg=0.0,
        )  # fmt: skip

    @property
    def canal(self):
        s = np.linspace(0.0, 200.0, 41)
        points = np.column_stack((np.zeros(41), np.zeros(41), 100.0 - s))
        return CanalSpline(s, self.motion.points(points), "made by hand")

    def solid(self, of):
        return Shape(of, self.motion)

    def unrolled(self):
        angle = np.radians(np.arange(0.0, 360.0, 5.0))
        rims = [
            np.column_stack((r * np.sin(angle), r * np.cos(angle), np.full(len(angle), z)))
            for r in (INNER_MM, OUTER_MM)
            for z in (-HALF_HEIGHT_MM, HALF_HEIGHT_MM)
        ]
        ground = RingGround(
            canal=self.canal, vertebra=self.vertebra, bone=self.solid(bone_distance),
            bone_points=self.motion.points(np.concatenate(rims)), tumour=self.solid(self.tumour),
            tract=None, sac=self.solid(self.sac) if self.sac else None, surrogate=self.surrogate,
        )  # fmt: skip
        return unroll_ring(
            ground, RingSettings(contour_error_mm=self.error_mm, plane_spacing_mm=2.0)
        )

    def staged(self):
        corners = np.array([[x, y, z] for x in (-20, 20) for y in (-20, 20) for z in (-6, 6)])
        return stage_tumour(
            canal=self.canal, vertebra=self.vertebra, tumour=self.solid(self.tumour),
            bone=self.solid(bone_distance), sac=None,
            tumour_extent=self.motion.points(corners.astype(float)),
            settings=StagingSettings(reach_mm=30.0, contour_error_mm=self.error_mm),
        )  # fmt: skip


@cache
def any_staging():
    """For tests that do not look at the rules: measured once."""
    return RingScene(sectors((60.0, 139.0))).staged()


def plan_of(kind=Kind.WHOLE_BODY, open_side=Side.RIGHT):
    """The little of a plan that the ring asks for."""
    return SimpleNamespace(kind=kind, open_side=open_side)
