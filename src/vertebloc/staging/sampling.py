"""Samples of tumour and bone in planes perpendicular to the canal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.anatomy.model import CanalSpline, Vertebra
from vertebloc.errors import InputError
from vertebloc.space import tolerances
from vertebloc.space.distance import SignedDistance
from vertebloc.space.transforms import Points, as_points
from vertebloc.staging.model import StagingSettings
from vertebloc.staging.sectors import SECTOR_COUNT

RAYS = 360  #: rays of a plane, 1 degree apart: 30 a sector, none on a sector's border
_BLOCKS = ((30, 16), (10, 4), (5, 2))  #: rays x radii of blocks, each made of the next ones


@dataclass(frozen=True, slots=True, eq=False)
class CanalPlanes:
    """Planes perpendicular to the canal, each with the directions back and left in it."""

    s_mm: NDArray[np.float64]  #: (n,) along the canal, growing towards the feet
    centres: Points  #: (n, 3) on the canal's middle
    heads: Points  #: (n, 3) unit normals
    backs: Points  #: (n, 3) unit vectors
    bends: Points  #: (n, 3) change of the normal per mm along the canal

    @property
    def lefts(self) -> Points:
        """Unit vectors to the patient's left, (n, 3)."""
        return np.asarray(np.cross(self.backs, self.heads))

    def place(
        self, plane: NDArray[np.int64], angle_rad: NDArray[np.float64], radius: NDArray[np.float64]
    ) -> Points:
        """Find points of planes by angle and radius.

        Parameters
        ----------
        plane : (m,) int64
            Index of each point's plane.
        angle_rad : (m,) float64, rad
            From the back over the patient's left.
        radius : (m,) float64, mm
            From the canal's middle.

        Returns
        -------
        (m, 3) float64, mm, patient LPS
            The points.
        """
        across = np.cos(angle_rad)[:, None] * self.backs[plane]
        across += np.sin(angle_rad)[:, None] * self.lefts[plane]
        return np.asarray(self.centres[plane] + radius[:, None] * across)


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Tumour and bone on the polar grid of every plane; arrays are (planes, rays, radii)."""

    planes: CanalPlanes
    step_mm: float
    growth_mm: NDArray[np.float64]  #: signed distance to tumour; inf beyond the search
    bone: NDArray[np.bool_]

    @property
    def radii_mm(self) -> NDArray[np.float64]:
        """Radius of the samples, (radii,)."""
        count = self.bone.shape[2]
        return np.asarray((np.arange(count) + 0.5) * self.step_mm, dtype=np.float64)

    @property
    def angles_rad(self) -> NDArray[np.float64]:
        """Angle of the rays from the back over the left, (rays,)."""
        return np.asarray((np.arange(RAYS) + 0.5) * (2.0 * np.pi / RAYS), dtype=np.float64)

    @property
    def areas_mm2(self) -> NDArray[np.float64]:
        """Area of the samples, (radii,)."""
        return np.asarray(self.radii_mm * self.step_mm * (2.0 * np.pi / RAYS), dtype=np.float64)

    @property
    def sector_of_ray(self) -> NDArray[np.int64]:
        """Index of each ray's sector in ``SECTORS``, (rays,)."""
        return np.arange(RAYS) // (RAYS // SECTOR_COUNT)

    def points(self, index: tuple[NDArray[np.int64], ...]) -> Points:
        """Find where samples lie.

        Parameters
        ----------
        index : three (m,) int64
            Plane, ray and radius of each sample.

        Returns
        -------
        (m, 3) float64, mm, patient LPS
            The samples' places.
        """
        plane, ray, radius = index
        return self.planes.place(plane, self.angles_rad[ray], self.radii_mm[radius])

    def volumes_mm3(
        self, index: tuple[NDArray[np.int64], ...], spacing_mm: float
    ) -> NDArray[np.float64]:
        """Volume that samples stand for: planes of a bent canal fan out or close up.

        Parameters
        ----------
        index : three (m,) int64
            Plane, ray and radius of each sample.
        spacing_mm : float, mm
            Between planes, along the canal.

        Returns
        -------
        (m,) float64, mm3
            Area x spacing x (1 + bend . offset).
        """
        plane, _, radius = index
        offset = self.points(index) - self.planes.centres[plane]
        spread = 1.0 + np.einsum("ij,ij->i", self.planes.bends[plane], offset)
        return np.asarray(self.areas_mm2[radius] * spacing_mm * np.abs(spread))


def corners_of(extent: ArrayLike) -> Points:
    """Corners of a (low, high) box, or the points themselves.

    Parameters
    ----------
    extent : (2, 3) or (n, 3) float64, mm, patient LPS
        Two points: the low and high corner of a box; more: points whose hull holds the tumour.

    Returns
    -------
    (8, 3) or (n, 3) float64, mm, patient LPS
        Points whose hull holds the tumour.

    Raises
    ------
    InputError
        If a number is not finite, there are fewer than two points, or the box has no size.
    """
    points = as_points(extent)
    if len(points) < 2 or not np.all(np.isfinite(points)):
        raise InputError("the tumour's extent needs two corners or more points, all finite")
    if len(points) > 2:
        return points
    low, high = points
    if not np.all(high > low):
        raise InputError(
            f"the tumour's box must have its low corner first, got {low.tolist()} "
            f"and {high.tolist()}"
        )
    pick = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    return np.asarray(np.where(pick == 0, low, high))


def lay_planes(
    *, canal: CanalSpline, vertebra: Vertebra, corners: Points, settings: StagingSettings
) -> CanalPlanes:
    """Planes perpendicular to the canal through the tumour, its surroundings and the vertebra.

    Parameters
    ----------
    canal : CanalSpline
        Middle of the canal.
    vertebra : Vertebra
        The diseased vertebra; its frame says where the back is.
    corners : (n, 3) float64, mm, patient LPS
        Points whose hull holds the tumour.
    settings : StagingSettings
        Spacing of the planes; how far beyond the tumour they go.

    Returns
    -------
    CanalPlanes
        From the head down.

    Raises
    ------
    InputError
        If the vertebra's back direction runs along the canal.
    """
    s = canal.nearest_s_mm(corners)
    ends = vertebra.canal_s_mm - np.array((vertebra.upper_endplate_mm, vertebra.lower_endplate_mm))
    first = min(float(s.min()) - settings.search_mm, float(ends.min()))
    last = max(float(s.max()) + settings.search_mm, float(ends.max()))
    # Whole steps from the vertebra's own place: moving the patient moves no plane against it.
    step = settings.plane_spacing_mm
    count = np.arange(
        np.floor((first - vertebra.canal_s_mm) / step),
        np.ceil((last - vertebra.canal_s_mm) / step) + 1,
    )
    planes_s = vertebra.canal_s_mm + count * step
    heads = canal.tangent(planes_s)
    y = vertebra.lps_from_vertebra.axis(1)
    backs = y - (heads @ y)[:, None] * heads
    length = np.linalg.norm(backs, axis=1, keepdims=True)
    if length.min() < tolerances.COSINE:
        raise InputError(
            "the vertebra's back direction runs along the canal: its frame cannot be right"
        )
    bends = (canal.tangent(planes_s + 0.5 * step) - canal.tangent(planes_s - 0.5 * step)) / step
    return CanalPlanes(planes_s, canal.at(planes_s), heads, backs / length, bends)


def take_samples(
    *,
    planes: CanalPlanes,
    tumour: SignedDistance,
    bone: SignedDistance,
    reach_mm: float,
    settings: StagingSettings,
) -> Samples:
    """Look up tumour and bone on a polar grid in every plane.

    Parameters
    ----------
    planes : CanalPlanes
        Where to look.
    tumour : SignedDistance
        The tumour.
    bone : SignedDistance
        The vertebra, bone destroyed by tumour included.
    reach_mm : float, mm
        How far from the canal's middle to look.
    settings : StagingSettings
        Step between radii, and how far from tumour samples matter.

    Returns
    -------
    Samples
        Growth and bone of every sample.

    Notes
    -----
    Large blocks of samples are looked at by their middle first, then smaller ones within them.
    A distance changes by no more than the way walked, so only blocks whose middle lies within
    their own radius of the bone's surface need samples of bone, and only those within that plus
    the search of tumour.
    """
    step = settings.radial_step_mm
    per_radius = _BLOCKS[0][1]
    count = int(np.ceil(reach_mm / (step * per_radius))) * per_radius
    shape = (len(planes.s_mm), RAYS, count)
    samples = Samples(planes, step, np.full(shape, np.inf), np.zeros(shape, dtype=np.bool_))
    edge, inside = _narrow_down(samples, bone, 0.0, 0.0)
    samples.bone[inside] = True
    samples.bone[edge] = np.asarray(bone.signed_distance_mm(samples.points(edge))) <= 0.0
    near, _ = _narrow_down(samples, tumour, -np.inf, settings.search_mm)
    distance = np.asarray(tumour.signed_distance_mm(samples.points(near)), dtype=np.float64)
    samples.growth_mm[near] = np.where(distance <= settings.search_mm, distance, np.inf)
    return samples


_Index = tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]


def _narrow_down(
    samples: Samples, solid: SignedDistance, low_mm: float, high_mm: float
) -> tuple[_Index, _Index]:
    """Samples whose distance may lie from low to high, and samples where it surely is lower."""
    planes, rays, radii = samples.bone.shape
    grid = np.indices((planes, rays // _BLOCKS[0][0], radii // _BLOCKS[0][1])).reshape(3, -1)
    blocks: _Index = (grid[0], grid[1], grid[2])
    lower: list[_Index] = []
    for step, per in enumerate(_BLOCKS):
        size, middles = _measure_blocks(samples, blocks, per)
        distance = np.asarray(solid.signed_distance_mm(middles))
        lower.append(_split(blocks, distance < low_mm - size, per))
        kept = (distance >= low_mm - size) & (distance <= high_mm + size)
        smaller = _BLOCKS[step + 1] if step + 1 < len(_BLOCKS) else (1, 1)
        blocks = _split(blocks, kept, (per[0] // smaller[0], per[1] // smaller[1]))
    plane, ray, radius = (np.concatenate(one) for one in zip(*lower, strict=True))
    return blocks, (plane, ray, radius)


def _measure_blocks(
    samples: Samples, blocks: _Index, per: tuple[int, int]
) -> tuple[NDArray[np.float64], Points]:
    """How far blocks of ``per`` rays x radii reach from their middle, and those middles."""
    plane, ray, radius = blocks
    half_angle = per[0] * np.pi / RAYS
    depth = 0.5 * per[1] * samples.step_mm
    middle = np.asarray((2 * radius + 1) * depth, dtype=np.float64)
    angle = np.asarray((2 * ray + 1) * half_angle, dtype=np.float64)
    # No point of a block lies farther from its middle than half its depth plus half its arc.
    size = np.asarray(depth + (middle + depth) * half_angle, dtype=np.float64)
    return size, samples.planes.place(plane, angle, middle)


def _split(blocks: _Index, wanted: NDArray[np.bool_], into: tuple[int, int]) -> _Index:
    """Indices of the parts of the wanted blocks, each cut into rays x radii parts."""
    plane, ray, radius = (one[wanted] for one in blocks)
    rays = (ray[:, None] * into[0] + np.arange(into[0]))[:, :, None]
    radii = (radius[:, None] * into[1] + np.arange(into[1]))[:, None, :]
    cells = np.broadcast_arrays(plane[:, None, None], rays, radii)
    return cells[0].reshape(-1), cells[1].reshape(-1), cells[2].reshape(-1)
