"""A hand-made vertebra about a straight canal, for which areas are known in closed form.

Canal coordinates: x to the left, y to the back, z to the head, the canal's middle on the z
axis. Bone is a ring between two radii, so that every sector holds pi (R^2 - r^2) / 12.
"""

from dataclasses import dataclass, replace
from types import SimpleNamespace

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import CanalSpline, Vertebra
from vertebloc.space.frames import Frame
from vertebloc.space.planes import Plane
from vertebloc.space.solids import (
    Difference,
    HalfSpace,
    Intersection,
    Moved,
)
from vertebloc.space.transforms import Transform, rigid_frame
from vertebloc.staging import Staging, StagingSettings, stage_tumour

CANAL_MM, BONE_MM, HALF_HEIGHT_MM = 8.0, 40.0, 12.0
SECTOR_MM2 = np.pi * (BONE_MM**2 - CANAL_MM**2) / 12.0
IN_PLACE = Transform(np.eye(4), target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
SETTINGS = StagingSettings(reach_mm=48.0)  # the bone ends at 40 mm: no need to look farther


@dataclass(frozen=True)
class Tube:
    """A round cylinder along z about the origin; exact everywhere (and quick)."""

    radius: float
    half_height: float

    def signed_distance_mm(self, points):
        x, y, z = np.asarray(points).T
        across, along = np.hypot(x, y) - self.radius, np.abs(z) - self.half_height
        outside = np.hypot(np.maximum(across, 0.0), np.maximum(along, 0.0))
        return outside + np.minimum(np.maximum(across, along), 0.0)

    def bounds_mm(self):
        corner = np.array((self.radius, self.radius, self.half_height))
        return -corner, corner


def tube(radius, half_height=HALF_HEIGHT_MM):
    return Tube(radius, half_height)


BONE = Difference(tube(BONE_MM), tube(CANAL_MM, 50.0))
SAC = tube(6.0, 60.0)


def wedge(first, last, inner=CANAL_MM, outer=BONE_MM, half_height=6.0):
    """Exactly the bone of sectors ``first`` to ``last`` (counter-clockwise, at most six)."""
    start, end = np.deg2rad(30.0 * (first - 1)), np.deg2rad(30.0 * last)
    # Angles run from the back (+y) over the left (+x); outward normals of the two sides.
    before = Plane(np.zeros(3), (-np.cos(start), np.sin(start), 0.0))
    after = Plane(np.zeros(3), (np.cos(end), -np.sin(end), 0.0))
    ring = Difference(tube(outer, half_height), tube(inner, 50.0))
    return Intersection((ring, HalfSpace(before), HalfSpace(after)))


def turned(degrees, axis, shift=(0.0, 0.0, 0.0)):
    """Rigid motion: a turn about an axis through the origin, then a shift."""
    x, y, z = np.asarray(axis, dtype=float) / np.linalg.norm(axis)
    k = np.array(((0, -z, y), (z, 0, -x), (-y, x, 0)))
    angle = np.deg2rad(degrees)
    matrix = np.eye(4)
    matrix[:3, :3] = np.eye(3) + np.sin(angle) * k + (1 - np.cos(angle)) * k @ k
    matrix[:3, 3] = shift
    return Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)


@dataclass
class Scene:
    """The ring vertebra with a tumour, moved as a whole."""

    motion: Transform = IN_PLACE

    def __post_init__(self):
        self.canal = self._straight_canal()
        self.vertebra = self._upright_vertebra()

    def _straight_canal(self):
        s = np.linspace(0.0, 200.0, 41)
        points = np.column_stack((np.zeros(41), np.zeros(41), 100.0 - s))
        return CanalSpline(s, self.motion.points(points), "made by hand")

    def _upright_vertebra(self):
        placed = rigid_frame((0.0, -24.0, 0.0), np.eye(3), source=Frame.VERTEBRA)
        return Vertebra(
            level=Level("T10"),
            lps_from_vertebra=self.motion @ placed,
            canal_s_mm=100.0,
            posterior_wall_mm=16.0,
            anterior_wall_mm=-16.0,
            upper_endplate_mm=HALF_HEIGHT_MM,
            lower_endplate_mm=-HALF_HEIGHT_MM,
            left_wall_mm=16.0,
            right_wall_mm=-16.0,
            frame_from_neighbours=True,
            own_frame_differs_deg=0.0,
        )

    def _moved(self, solid):
        return solid if self.motion is IN_PLACE else Moved(solid, self.motion)

    def stage(self, tumour, *, bone=BONE, sac=SAC, settings=SETTINGS, box=None) -> Staging:
        low, high = box if box is not None else tumour.bounds_mm()
        corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1])
                            for z in (low[2], high[2])])  # fmt: skip
        return stage_tumour(
            canal=self.canal,
            vertebra=self.vertebra,
            tumour=self._moved(tumour),
            bone=self._moved(bone),
            sac=None if sac is None else self._moved(sac),
            tumour_extent=self.motion.points(corners),
            settings=settings,
        )


def bent_scene(radius_mm):
    """The scene with its canal on a circle in the sagittal plane, hollow towards the back."""
    s = np.linspace(0.0, 200.0, 81)
    angle = (100.0 - s) / radius_mm
    points = np.column_stack(
        (np.zeros(81), radius_mm * (1.0 - np.cos(angle)), radius_mm * np.sin(angle))
    )
    scene = Scene()
    scene.canal = CanalSpline(s, points, "made by hand")
    return scene


def at_level(vertebra, level, middle_z):
    """The vertebra under another name, its middle ``middle_z`` above the canal's."""
    return replace(vertebra, level=level, canal_s_mm=100.0 - middle_z)


def numbers(staging):
    """Numbers of the involved sectors, counter-clockwise."""
    return {i + 1 for i, one in enumerate(staging.sectors) if one.involved}


@pytest.fixture
def ring():
    """Everything above under one name: test files cannot import each other."""
    return SimpleNamespace(
        Scene=Scene,
        at_level=at_level,
        bent_scene=bent_scene,
        bone=BONE,
        bone_mm=BONE_MM,
        canal_mm=CANAL_MM,
        half_height_mm=HALF_HEIGHT_MM,
        numbers=numbers,
        sector_mm2=SECTOR_MM2,
        tube=tube,
        turned=turned,
        wedge=wedge,
    )
