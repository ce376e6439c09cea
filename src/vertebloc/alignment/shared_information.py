"""How much the brightness of one image says about that of the other, and which way it grows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.alignment import _kernels
from vertebloc.errors import InputError
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points, Transform

BINS = 32
_ROOM = 2  #: bins left free at either end, so that a spline always finds its four
_ENDS = (0.5, 99.5)  #: percentiles between which the moving image's brightness is told apart


@dataclass(frozen=True, slots=True, eq=False)
class BinnedImage:
    """The moving image with its brightness in bins."""

    values: NDArray[np.float32]  #: (ni, nj, nk), from _ROOM to BINS - _ROOM - 1
    ijk_from_lps: Transform


@dataclass(frozen=True, slots=True, eq=False)
class Samples:
    """Points of the fixed image with its brightness in bins."""

    points: Points  #: (n, 3) mm, patient LPS of the fixed image
    fixed_bin: NDArray[np.int64]  #: (n,)

    def take(self, chosen: NDArray[np.bool_] | NDArray[np.int64]) -> Samples:
        """Some of the points."""
        return Samples(self.points[chosen], self.fixed_bin[chosen])


@dataclass(frozen=True, slots=True, eq=False)
class Match:
    """Shared information at one place of the moving image."""

    nats: float  #: mutual information, natural units
    inside: int  #: points that lie in the moving image
    pull: NDArray[np.float64]  #: (3,) gain per mm of shift, in the moving image's LPS
    turn: NDArray[np.float64]  #: (3,) gain per radian about the centre, in the same axes
    gain: NDArray[np.float64]  #: (BINS, BINS) log ratio of each cell
    values: NDArray[np.float64]  #: (n,) brightness met by each point in bins, -1 outside


def bin_moving(values: NDArray[np.generic], ijk_from_lps: Transform) -> BinnedImage:
    """Bring a moving image's brightness into bins.

    Parameters
    ----------
    values : (ni, nj, nk) array
        Brightness in any unit.
    ijk_from_lps : Transform
        From its own patient LPS.

    Returns
    -------
    BinnedImage
        The ends of the scale lie at the 0.5th and 99.5th percentile.

    Raises
    ------
    InputError
        If the image is of one brightness.
    """
    image = np.asarray(values, dtype=np.float32)
    low, high = np.percentile(image[::2, ::2, :], _ENDS)
    if not high > low:
        raise InputError(f"the image is of one brightness ({low:g}): is it empty?")
    scale = (BINS - 2 * _ROOM - 1) / (high - low)
    binned = np.clip((image - low) * scale, 0.0, BINS - 2 * _ROOM - 1 - 1e-3) + _ROOM
    return BinnedImage(np.ascontiguousarray(binned, dtype=np.float32), ijk_from_lps)


def bin_fixed(values: NDArray[np.float64], low: float, high: float) -> NDArray[np.int64]:
    """Bins of the fixed image's brightness.

    Parameters
    ----------
    values : (n,) float64
        Brightness, such as HU.
    low, high : float
        Ends of the scale, in the same unit.

    Returns
    -------
    (n,) int64
        From 0 to BINS - 1.
    """
    place = (values - low) * (BINS / (high - low))
    return np.clip(place, 0, BINS - 1).astype(np.int64)


def measure_match(
    samples: Samples, image: BinnedImage, moving_from_fixed: Transform, centre: NDArray[np.float64]
) -> Match:
    """Mutual information of the samples with the image they land in, and its derivative.

    Parameters
    ----------
    samples : Samples
        Points of the fixed image.
    image : BinnedImage
        The moving image.
    moving_from_fixed : Transform
        Where a point of the fixed image lies in the moving one.
    centre : (3,) float64, mm, patient LPS of the moving image
        About which turns are told.

    Returns
    -------
    Match
        Of the points that lie inside; 0 if there is none.

    Notes
    -----
    A joint histogram of 32 x 32 cells, boxes for the fixed image and cubic B-splines for the
    moving one, so that the derivative exists. Biased upwards by about (cells - 1) / 2n, alike
    for every placement of the same number of points.

    References
    ----------
    [mattes2003] mutual information with B-spline windows and its derivative.
    """
    landed = moving_from_fixed.points(samples.points)
    places = image.ijk_from_lps.points(landed)
    count = len(landed)
    values, slopes = np.empty(count), np.empty((count, 3))
    _kernels.look_up(image.values, places, values, slopes)
    table = _kernels.count_pairs(samples.fixed_bin, values, BINS)
    inside = round(float(table.sum()))
    if inside == 0:
        zero = np.zeros(3)
        return Match(0.0, 0, zero, zero, np.zeros((BINS, BINS)), values)
    nats, gain = _shared(table)
    per_mm = image.ijk_from_lps.matrix[:3, :3]
    pull, turn = _kernels.pull_of_points(
        samples.fixed_bin, values, slopes, gain, per_mm, landed - centre
    )
    return Match(nats, inside, pull / inside, turn / inside, gain, values)


def shared_by_all(samples: Samples, places: NDArray[np.float64], image: BinnedImage) -> float:
    """What all samples together share with the image: those outside share nothing.

    Parameters
    ----------
    samples : Samples
        Points of the fixed image.
    places : (n, 3) float64, voxels of the image
        Where they land in it.
    image : BinnedImage
        The moving image.

    Returns
    -------
    float
        Mutual information of those inside, natural units, times their number.
    """
    values, slopes = np.empty(len(places)), np.empty((len(places), 3))
    _kernels.look_up(image.values, places, values, slopes)
    table = _kernels.count_pairs(samples.fixed_bin, values, BINS)
    inside = float(table.sum())
    return _shared(table)[0] * inside if inside > 0.0 else 0.0


def _shared(table: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
    """Mutual information of a joint histogram, and the log ratio of each cell."""
    share = table / table.sum()
    fixed, moving = share.sum(axis=1, keepdims=True), share.sum(axis=0, keepdims=True)
    least = 1e-12
    gain = np.log(np.maximum(share, least) / np.maximum(fixed * moving, least))
    gain[share <= 0.0] = 0.0
    return float(np.sum(share * gain)), gain


def smooth(volume: Volume, sigma_mm: float) -> NDArray[np.float32]:
    """Blur an image by the same length along every axis, thick slices not further.

    Parameters
    ----------
    volume : Volume
        The image.
    sigma_mm : float, mm
        Standard deviation of the blur; an axis whose voxels are longer than twice that stays.

    Returns
    -------
    (ni, nj, nk) float32
        Blurred.
    """
    from scipy import ndimage

    spacing = volume.grid.spacing_mm
    sigma = np.where(spacing > 2.0 * sigma_mm, 0.0, sigma_mm / spacing)
    values = np.asarray(volume.values, dtype=np.float32)
    return np.asarray(ndimage.gaussian_filter(values, sigma), dtype=np.float32)
