"""On which side of the vertebra a tumour lies, and which levels it reaches along the canal."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Vertebra
from vertebloc.errors import InputError
from vertebloc.space.distance import SignedDistance
from vertebloc.staging.model import LevelReach, SideShare, Staging, StagingSettings, TumourSide
from vertebloc.staging.sampling import corners_of

_FINEST_MM = 0.5
_MOST_SAMPLES = 400_000


def tumour_side(
    *,
    vertebra: Vertebra,
    tumour: SignedDistance,
    tumour_extent: ArrayLike,
    settings: StagingSettings,
) -> SideShare:
    """Side of the vertebra's mid-plane on which a tumour lies, with its share.

    Parameters
    ----------
    vertebra : Vertebra
        Its frame's x = 0 is the mid-plane.
    tumour : SignedDistance
        The tumour.
    tumour_extent : (2, 3) or (n, 3) float64, mm, patient LPS
        Low and high corner of a box about the tumour, or points whose hull holds it.
    settings : StagingSettings
        ``side_share``: the share from which one side is named.

    Returns
    -------
    SideShare
        Left or right if at least ``side_share`` of the volume lies there, else both.

    Raises
    ------
    InputError
        If no tumour lies within the extent.

    Notes
    -----
    Volumes are summed over cubes that lie along the vertebra's axes and meet at the mid-plane;
    a cube at the surface counts in part, by its distance over its edge. Cubes are 0.5 mm, larger
    for a very large tumour. A share says nothing of how far the smaller part reaches.
    """
    vertebra_from_lps = vertebra.lps_from_vertebra.inverse
    corners = vertebra_from_lps.points(corners_of(tumour_extent))
    size = corners.max(axis=0) - corners.min(axis=0)
    edge = max(_FINEST_MM, float(np.cbrt(np.prod(size) / _MOST_SAMPLES)))
    low = np.floor(corners.min(axis=0) / edge).astype(np.int64) - 1
    high = np.ceil(corners.max(axis=0) / edge).astype(np.int64) + 1
    axes = [(np.arange(a, b) + 0.5) * edge for a, b in zip(low, high, strict=True)]
    local = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    distance = np.asarray(tumour.signed_distance_mm(vertebra.lps_from_vertebra.points(local)))
    part = np.clip(0.5 - distance / edge, 0.0, 1.0)
    total = float(part.sum())
    if total <= 0.0:
        raise InputError(
            "no tumour lies within tumour_extent: check that both are of the same patient"
        )
    left = float(part[local[:, 0] > 0.0].sum()) / total
    side = TumourSide.BOTH
    if left >= settings.side_share:
        side = TumourSide.LEFT
    elif 1.0 - left >= settings.side_share:
        side = TumourSide.RIGHT
    return SideShare(side=side, left_share=left, volume_mm3=total * edge**3)


def reached_levels(
    *, staging: Staging, vertebrae: Mapping[Level, Vertebra]
) -> tuple[LevelReach, ...]:
    """Which vertebrae's planes a tumour reaches along the canal.

    Parameters
    ----------
    staging : Staging
        The staged tumour.
    vertebrae : mapping of Level to Vertebra
        The vertebrae to ask about.

    Returns
    -------
    tuple of LevelReach
        One a level, from head to feet.

    Notes
    -----
    A vertebra's planes run from its upper to its lower endplate, both taken at the body's middle
    and carried to the canal. ``flips_after_mm`` is how far the tumour reaches past the nearer
    end of them, or stays away. It says how far tumour reaches, not that it has entered bone
    there; its step is the planes' spacing.
    """
    found = []
    for level in sorted(vertebrae):
        one = vertebrae[level]
        upper = one.canal_s_mm - one.upper_endplate_mm
        lower = one.canal_s_mm - one.lower_endplate_mm
        overlap = min(staging.lower_s_mm - upper, lower - staging.upper_s_mm)
        found.append(
            LevelReach(level=level, reached=overlap > 0.0, flips_after_mm=float(abs(overlap)))
        )
    return tuple(found)
