"""The unrolled ring: what lies at each angle about the sac and at each height."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vertebloc.access.ring_model import RingMap, RingSettings, Surrogate
from vertebloc.anatomy.model import CanalSpline, Vertebra
from vertebloc.errors import InputError
from vertebloc.space.distance import SignedDistance
from vertebloc.space.transforms import Points
from vertebloc.staging import StagingSettings
from vertebloc.staging.sampling import CanalPlanes, Samples, take_samples

_SAC_REACH_MM = 25.0  #: no sac, cord or canal is wider than twice this
_REACH_MM = 60.0  #: bone is looked for so far from the sac
_FAR_WALL = 1.8  #: a first bone farther than so many median walls is seen through a gap
_INTO_BONE_MM = 1.5  #: behind the wall: where the fate of a cell's bone is read
_NEAR_CANAL_MM = 35.0  #: bone within this of the canal's middle belongs to the ring
#: Rays of ``take_samples`` run 0 to 360 degrees from the back over the left.
_HALF = 180.0


@dataclass(frozen=True, slots=True, kw_only=True)
class RingGround:
    """What the ring is measured on."""

    canal: CanalSpline
    vertebra: Vertebra
    bone: SignedDistance  #: the diseased vertebra, destroyed bone included
    bone_points: Points  #: (n, 3) of its surface: says how high the ring is
    tumour: SignedDistance  #: with the tract in bone and the scarred bed
    tract: SignedDistance | None
    sac: SignedDistance | None  #: the sac, or the cord that stands for it
    surrogate: Surrogate


def unroll_ring(ground: RingGround, settings: RingSettings) -> RingMap:
    """Look at bone, tumour and sac by angle about the sac and height along the canal.

    Parameters
    ----------
    ground : RingGround
        Bone, tumour, sac.
    settings : RingSettings
        How deep the ring is, and how finely it is looked at.

    Returns
    -------
    RingMap
        Heights of the diseased vertebra's arch and pedicles only.

    Raises
    ------
    InputError
        If no bone lies behind the canal.

    Notes
    -----
    The middle is the sac's own, averaged over the vertebra's height, so that all heights share
    one axis along the canal; without a sac it is the canal's line. The ring reaches from there to
    ``depth_mm`` outside the canal's wall: tumour inside the canal, in that bone or on it counts,
    tumour farther out (the tip of a transverse process) does not. A division of the ring at an
    angle is the half-plane through the axis; the tumour in it, within the ring, is what a cut
    there crosses.
    """
    planes, heights = _planes(ground, settings)
    planes, words = _about_the_sac(planes, ground)
    looked = StagingSettings(
        radial_step_mm=settings.radial_step_mm,
        search_mm=settings.search_mm,
        contour_error_mm=settings.contour_error_mm,
    )
    samples = take_samples(
        planes=planes, tumour=ground.tumour, bone=ground.bone, reach_mm=_REACH_MM, settings=looked
    )
    order = np.argsort(_signed(samples), kind="stable")
    wall, filled = _walls(samples)
    in_ring = samples.radii_mm[None, None, :] <= (filled + settings.depth_mm)[:, :, None]
    growth = np.where(in_ring, samples.growth_mm, np.inf)
    behind = _is_arch(samples, filled, ground.vertebra, settings)[order]
    return RingMap(
        heights_mm=heights,
        angles_deg=_signed(samples)[order],
        wall_mm=wall[:, order],
        growth_mm=growth.min(axis=2)[:, order],
        tumour_mm=_where_tumour_begins(growth, samples.radii_mm, settings)[:, :, order],
        crossed_mm2=_crossed_mm2(growth, settings)[order],
        tract=_tract(samples, in_ring, ground)[:, order],
        sac_mm=_sac_radii(planes, samples, ground)[:, order],
        is_arch=_one_arch(behind, _signed(samples)[order]),
        canal_mm=np.median(filled, axis=0)[order],
        bone_lps=_bone_places(samples, filled)[:, order],
        middle_words=words,
        surrogate=ground.surrogate,
        settings=settings,
    )


def _signed(samples: Samples) -> NDArray[np.float64]:
    """Angles from -180 to 180 degrees, positive to the left."""
    angles = np.degrees(samples.angles_rad)
    return np.asarray(np.where(angles > _HALF, angles - 2 * _HALF, angles))


def _planes(ground: RingGround, settings: RingSettings) -> tuple[CanalPlanes, NDArray[np.float64]]:
    """Planes across the canal over the height of the arch and the pedicles."""
    canal, vertebra = ground.canal, ground.vertebra
    points = ground.bone_points
    behind = vertebra.lps_from_vertebra.inverse.points(points)[:, 1] > vertebra.posterior_wall_mm
    s = canal.nearest_s_mm(points[behind])
    near = np.linalg.norm(points[behind] - canal.at(s), axis=1) < _NEAR_CANAL_MM
    if not near.any():
        raise InputError(
            "no bone of the diseased vertebra lies behind its body: check its outline and the "
            "canal's"
        )
    step = settings.plane_spacing_mm
    first, last = (float(end) - vertebra.canal_s_mm for end in (s[near].min(), s[near].max()))
    count = np.arange(np.ceil(first / step), np.floor(last / step) + 1.0)
    at = vertebra.canal_s_mm + count * step
    heads = canal.tangent(at)
    y = vertebra.lps_from_vertebra.axis(1)
    backs = y - (heads @ y)[:, None] * heads
    backs /= np.linalg.norm(backs, axis=1, keepdims=True)
    return CanalPlanes(at, canal.at(at), heads, backs, np.zeros_like(heads)), -count * step


def _about_the_sac(planes: CanalPlanes, ground: RingGround) -> tuple[CanalPlanes, str]:
    """The same planes with their middles moved by the mean offset of the sac's middle."""
    if ground.sac is None:
        return planes, "middle line of the canal"
    radii, angles = _polar()
    inside = _inside_sac(planes, ground.sac, radii, angles)
    weight = inside * radii[None, None, :]
    if not weight.any():
        return planes, "middle line of the canal"
    across = np.stack((np.cos(angles), np.sin(angles)))[:, None, :, None] * radii
    back, left = (float((weight * one).sum() / weight.sum()) for one in across)
    centres = planes.centres + back * planes.backs + left * planes.lefts
    what = "sac" if ground.surrogate is Surrogate.SAC else "spinal cord"
    return replace(planes, centres=centres), f"middle of the {what}"


def _polar() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    radii = np.arange(0.25, _SAC_REACH_MM, 0.5)
    angles = np.radians(np.arange(0.5, 360.0, 1.0)[::3] + 1.0)
    return radii, angles


def _inside_sac(
    planes: CanalPlanes,
    sac: SignedDistance,
    radii: NDArray[np.float64],
    angles: NDArray[np.float64],
) -> NDArray[np.bool_]:
    """Which points of the polar grid lie in the sac, (planes, angles, radii)."""
    shape = (len(planes.s_mm), len(angles), len(radii))
    plane, angle, radius = (one.reshape(-1) for one in np.indices(shape))
    points = planes.place(plane, angles[angle], radii[radius])
    return np.asarray(sac.signed_distance_mm(points) <= 0.0).reshape(shape)


def _sac_radii(planes: CanalPlanes, samples: Samples, ground: RingGround) -> NDArray[np.float64]:
    """Radius of the sac on each ray, between samples by straight steps; NaN: none."""
    shape = samples.bone.shape[:2]
    if ground.sac is None:
        return np.full(shape, np.nan)
    radii = np.arange(0.0, _SAC_REACH_MM, 0.5)
    plane, ray, radius = (one.reshape(-1) for one in np.indices((*shape, len(radii))))
    points = planes.place(plane, samples.angles_rad[ray], radii[radius])
    distance = np.asarray(ground.sac.signed_distance_mm(points)).reshape(*shape, len(radii))
    inside = distance <= 0.0
    last = len(radii) - 1 - np.argmax(inside[:, :, ::-1], axis=2)
    rows, rays = np.indices(shape)
    here, beyond = (
        distance[rows, rays, np.minimum(at, len(radii) - 1)] for at in (last, last + 1)
    )
    share = np.where(beyond > here, -here / np.maximum(beyond - here, 1e-9), 0.0)
    found = radii[last] + np.clip(share, 0.0, 1.0) * 0.5
    return np.where(inside.any(axis=2), found, np.nan)


def _walls(samples: Samples) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where bone begins on each ray, NaN where none does; and the same with gaps filled."""
    met = samples.bone.any(axis=2)
    first = samples.bone.argmax(axis=2) * samples.step_mm
    own = np.where(met & (first > 0.0), first, np.nan)
    if np.isnan(own).all():
        raise InputError("no bone is met about the sac: check the outlines of bone and sac")
    own = np.where(own <= _FAR_WALL * np.nanmedian(own), own, np.nan)
    by_ray = np.full(own.shape[1], np.nan)
    seen = ~np.isnan(own).all(axis=0)
    by_ray[seen] = np.nanmedian(own[:, seen], axis=0)
    rays = np.arange(len(by_ray))
    by_ray = np.interp(rays, rays[seen], by_ray[seen], period=len(rays))
    return own, np.where(np.isnan(own), by_ray[None, :], own)


def _is_arch(
    samples: Samples, filled: NDArray[np.float64], vertebra: Vertebra, settings: RingSettings
) -> NDArray[np.bool_]:
    """Rays whose wall lies behind the body's back wall, at most heights."""
    planes, rays = filled.shape
    plane, ray = (one.reshape(-1) for one in np.indices(filled.shape))
    points = samples.planes.place(plane, samples.angles_rad[ray], filled.reshape(-1))
    y = vertebra.lps_from_vertebra.inverse.points(points)[:, 1].reshape(planes, rays)
    return np.asarray(np.median(y, axis=0) > vertebra.posterior_wall_mm + settings.body_edge_mm)


def _bone_places(samples: Samples, filled: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points a little behind the wall, (planes, rays, 3)."""
    plane, ray = (one.reshape(-1) for one in np.indices(filled.shape))
    radius = filled.reshape(-1) + _INTO_BONE_MM
    points = samples.planes.place(plane, samples.angles_rad[ray], radius)
    return np.asarray(points.reshape(*filled.shape, 3))


def _one_arch(behind: NDArray[np.bool_], angles: NDArray[np.float64]) -> NDArray[np.bool_]:
    """One stretch of rays about the back: a hollow of the body's wall is no arch."""
    left, right = (behind[angles > 0.0], behind[angles < 0.0][::-1])
    ends = [len(side) if side.all() else int(np.argmin(side)) for side in (left, right)]
    place = np.where(angles > 0.0, angles, -angles)
    reach = np.where(angles > 0.0, ends[0], ends[1])
    return np.asarray(place < reach * (2 * _HALF / len(angles)))


def _where_tumour_begins(
    growth: NDArray[np.float64], radii: NDArray[np.float64], settings: RingSettings
) -> NDArray[np.float64]:
    """Radius of the first tumour in the ring on each ray: shrunk, as drawn, grown; inf: none."""
    error = settings.contour_error_mm
    found = [np.where(growth <= by, radii, np.inf).min(axis=2) for by in (-error, 0.0, error)]
    return np.stack(found)


def _crossed_mm2(growth: NDArray[np.float64], settings: RingSettings) -> NDArray[np.float64]:
    """Tumour in the half-plane of each ray, mm2."""
    cell = settings.radial_step_mm * settings.plane_spacing_mm
    return np.asarray(np.count_nonzero(growth <= 0.0, axis=(0, 2)) * cell, dtype=np.float64)


def _tract(samples: Samples, in_ring: NDArray[np.bool_], ground: RingGround) -> NDArray[np.bool_]:
    """Where the biopsy tract runs through the ring."""
    shape = samples.bone.shape[:2]
    if ground.tract is None:
        return np.zeros(shape, dtype=np.bool_)
    where = np.nonzero(in_ring)
    distance = np.asarray(ground.tract.signed_distance_mm(samples.points(where)))
    found = np.zeros(shape, dtype=np.bool_)
    hit = distance <= 0.0
    found[where[0][hit], where[1][hit]] = True
    return found
