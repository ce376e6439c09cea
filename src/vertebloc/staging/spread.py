"""Sectors and layers that a tumour involves, how full they are, and how near to flipping."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.anatomy.model import CanalSpline, Vertebra
from vertebloc.errors import InputError
from vertebloc.space.distance import SignedDistance
from vertebloc.staging import _kernels
from vertebloc.staging.model import (
    ASKED,
    Answer,
    Layer,
    LayerSpread,
    SectorSpread,
    Staging,
    StagingSettings,
)
from vertebloc.staging.sampling import Samples, corners_of, lay_planes, take_samples
from vertebloc.staging.sectors import SECTOR_COUNT, SECTORS

_LAYERS = tuple(Layer)


def stage_tumour(  # noqa: PLR0913  what is staged is six things; the choices are in `settings`
    *,
    canal: CanalSpline,
    vertebra: Vertebra,
    tumour: SignedDistance,
    bone: SignedDistance,
    sac: SignedDistance | None,
    tumour_extent: ArrayLike,
    settings: StagingSettings,
) -> Staging:
    """Stage a tumour in twelve sectors and five layers about the canal of one vertebra.

    Parameters
    ----------
    canal : CanalSpline
        Middle of the canal: centre of the sectors, normal of the planes.
    vertebra : Vertebra
        The diseased vertebra; its +y axis points to the posterior midline.
    tumour : SignedDistance
        The tumour, at least up to ``settings.search_mm`` outside it.
    bone : SignedDistance
        The diseased vertebra including bone destroyed by tumour.
    sac : SignedDistance or None
        The dural sac; None if it is not outlined: layer E then reads "cannot tell".
    tumour_extent : (2, 3) or (n, 3) float64, mm, patient LPS
        Low and high corner of a box about the tumour, or points whose hull holds it.
    settings : StagingSettings
        The assumed choices.

    Returns
    -------
    Staging
        Sectors, layers, extent along the canal.

    Raises
    ------
    InputError
        If no plane meets tumour, or no plane meets bone about the canal.

    Notes
    -----
    In each plane perpendicular to the canal a sector's area fraction is
    A(tumour) / max(A(tumour or bone), ``least_sector_mm2``), areas within the sector, tumour in
    every layer. A sector is involved if the fraction of its fullest plane is at least
    ``involved_fraction``. With the outline moved outward by d everywhere, so that tumour is
    where its signed distance is <= d, the fraction can only rise with d; ``flips_after_mm`` is
    the size of the least d at which the sector is involved, to about half a sample's spacing.

    Layers: in bone, C is the inner part ``deep_below`` of the way from the canal's wall to the
    outermost bone of the same ray, B the rest; inside the canal's wall, E is inside the sac, D
    the rest; A is everything else. Where a ray leaves through a gap its wall is taken from the
    nearest plane. A layer is involved from ``least_layer_mm2`` in one plane; its flip is found
    like a sector's, with the layers' places held still.

    It does not say whether tissue is tumour (the outline does), nor how far the cord is
    compressed: that needs sac and cord confirmed on T2 images and is asked. ``bone`` is one
    vertebra: tumour in a neighbour's bone reads as layer A.

    References
    ----------
    [sector-variants] sectors and layers.
    """
    corners = corners_of(tumour_extent)
    planes = lay_planes(canal=canal, vertebra=vertebra, corners=corners, settings=settings)
    foot = canal.at(canal.nearest_s_mm(corners))
    farthest = float(np.linalg.norm(corners - foot, axis=1).max()) + settings.search_mm
    samples = take_samples(
        planes=planes,
        tumour=tumour,
        bone=bone,
        reach_mm=max(settings.reach_mm, farthest),
        settings=settings,
    )
    measured = _measure(samples, sac, settings)
    if not measured.has_tumour.any():
        raise InputError(
            "no plane across the canal meets tumour: check that tumour and tumour_extent are of "
            "the same patient and that the outline is larger than 1 mm"
        )
    held = planes.s_mm[measured.has_tumour]
    half = 0.5 * settings.plane_spacing_mm
    return Staging(
        level=vertebra.level,
        sectors=measured.sectors,
        layers=measured.layers,
        planes_s_mm=held,
        area_fractions=measured.fractions[measured.has_tumour],
        upper_s_mm=float(held.min()) - half,
        lower_s_mm=float(held.max()) + half,
        epidural_compression=ASKED,
        settings=settings,
        warnings=_find_warnings(samples, sac, measured.layers),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Measured:
    sectors: tuple[SectorSpread, ...]
    layers: tuple[LayerSpread, ...]
    fractions: NDArray[np.float64]
    has_tumour: NDArray[np.bool_]


def _measure(samples: Samples, sac: SignedDistance | None, settings: StagingSettings) -> _Measured:
    near = np.nonzero(np.isfinite(samples.growth_mm))
    growth = samples.growth_mm[near]
    fractions, sectors = _measure_sectors(samples, near, growth, settings)
    layers = _measure_layers(samples, near, sac, settings)
    has_tumour = np.zeros(len(samples.bone), dtype=np.bool_)
    has_tumour[near[0][growth <= 0.0]] = True
    return _Measured(sectors, layers, fractions, has_tumour)


def _measure_sectors(
    samples: Samples,
    near: tuple[NDArray[np.int64], ...],
    growth: NDArray[np.float64],
    settings: StagingSettings,
) -> tuple[NDArray[np.float64], tuple[SectorSpread, ...]]:
    planes = len(samples.bone)
    shape = (planes, SECTOR_COUNT)
    areas = samples.areas_mm2[near[2]]
    bone_areas = areas * samples.bone[near]
    group = near[0] * SECTOR_COUNT + samples.sector_of_ray[near[1]]
    inside = growth <= 0.0
    tumour, eaten = (
        _kernels.areas_by_group(group[inside], one[inside], planes * SECTOR_COUNT)
        for one in (areas, bone_areas)
    )
    per_ray = samples.bone @ samples.areas_mm2
    bone = per_ray.reshape(planes, SECTOR_COUNT, -1).sum(axis=2).reshape(-1)
    whole = np.maximum(tumour + bone - eaten, settings.least_sector_mm2)
    fractions = (tumour / whole).reshape(shape)
    flips = _kernels.growth_to_share(
        group,
        growth,
        (areas, bone_areas),
        bone,
        (settings.involved_fraction, settings.least_sector_mm2),
    )
    flips = flips.reshape(shape).min(axis=0)
    worst = fractions.argmax(axis=0)
    return fractions, tuple(
        SectorSpread(
            sector=sector,
            area_fraction=float(fractions[worst[i], i]),
            tumour_mm2=float(tumour.reshape(shape)[worst[i], i]),
            worst_s_mm=float(samples.planes.s_mm[worst[i]]),
            involved=bool(fractions[worst[i], i] >= settings.involved_fraction),
            flips_after_mm=_size_of(flips[i], settings),
            flip_found=bool(np.isfinite(flips[i])),
        )
        for i, sector in enumerate(SECTORS)
    )


def _measure_layers(
    samples: Samples,
    near: tuple[NDArray[np.int64], ...],
    sac: SignedDistance | None,
    settings: StagingSettings,
) -> tuple[LayerSpread, ...]:
    layer = _find_layers(samples, near, sac, settings)
    growth = samples.growth_mm[near]
    areas = samples.areas_mm2[near[2]]
    planes, count = len(samples.bone), len(_LAYERS)
    group = near[0] * count + layer
    inside = growth <= 0.0
    area = _kernels.areas_by_group(group[inside], areas[inside], planes * count)
    area = area.reshape(planes, count).max(axis=0)
    held = tuple(one[inside] for one in near)
    volumes = samples.volumes_mm3(held, settings.plane_spacing_mm)
    volume = _kernels.areas_by_group(layer[inside], volumes, count)
    flips = _kernels.growth_to_area(group, growth, areas, planes * count, settings.least_layer_mm2)
    flips = flips.reshape(planes, count).min(axis=0)
    spreads = tuple(
        LayerSpread(
            layer=one,
            involved=Answer.YES if area[i] >= settings.least_layer_mm2 else Answer.NO,
            area_mm2=float(area[i]),
            volume_mm3=float(volume[i]),
            flips_after_mm=_size_of(flips[i], settings),
            flip_found=bool(np.isfinite(flips[i])),
        )
        for i, one in enumerate(_LAYERS)
    )
    if sac is not None:
        return spreads
    untold = LayerSpread(
        layer=Layer.INTRADURAL,
        involved=Answer.CANNOT_TELL,
        area_mm2=None,
        volume_mm3=None,
        flips_after_mm=None,
        flip_found=False,
    )
    return (*spreads[:-1], untold)


def _size_of(flip: np.float64, settings: StagingSettings) -> float:
    """Size of a flip; the end of the search if none was found. Shrinking is searched in full."""
    return float(abs(flip)) if np.isfinite(flip) else settings.search_mm


def _find_layers(
    samples: Samples,
    near: tuple[NDArray[np.int64], ...],
    sac: SignedDistance | None,
    settings: StagingSettings,
) -> NDArray[np.int64]:
    """Index in ``Layer`` of each sample near tumour, (m,)."""
    wall, outer, own = _kernels.canal_walls(samples.bone, samples.step_mm, settings.wall_ratio)
    if not own.any():
        raise InputError(
            "no plane across the canal meets bone around it: check that bone is the outline of "
            "the diseased vertebra and that the canal's middle lies in the canal, not in bone"
        )
    plane, ray, radius = near
    distance = samples.radii_mm[radius]
    inner, outmost = wall[plane, ray], outer[plane, ray]
    depth = np.maximum(outmost - inner, samples.step_mm)
    in_bone = samples.bone[near]
    in_canal = ~in_bone & (distance < inner)
    layer = np.full(len(plane), _LAYERS.index(Layer.SOFT_TISSUE))
    deep = (distance - inner) / depth < settings.deep_below
    layer[in_bone & deep] = _LAYERS.index(Layer.DEEP)
    layer[in_bone & ~deep] = _LAYERS.index(Layer.SUPERFICIAL)
    layer[in_canal] = _LAYERS.index(Layer.EPIDURAL)
    if sac is not None:
        canal_index = np.flatnonzero(in_canal)
        points = samples.points(tuple(one[canal_index] for one in near))
        inside = np.asarray(sac.signed_distance_mm(points)) <= 0.0
        layer[canal_index[inside]] = _LAYERS.index(Layer.INTRADURAL)
    return layer


def _find_warnings(
    samples: Samples, sac: SignedDistance | None, layers: tuple[LayerSpread, ...]
) -> tuple[str, ...]:
    found = []
    if samples.bone[:, :, -1].any():
        reach = samples.bone.shape[2] * samples.step_mm
        found.append(
            f"The bone's outline reaches farther than {reach:.0f} mm from the middle of the "
            "canal; the sectors are measured up to there."
        )
    epidural = next(one for one in layers if one.layer is Layer.EPIDURAL)
    if sac is None and epidural.involved is Answer.YES:
        found.append(
            "Tumour lies in the canal, and no sac is outlined: it counts as epidural (layer D); "
            "whether some of it lies inside the sac (layer E) cannot be told."
        )
    return tuple(found)
