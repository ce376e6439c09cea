"""From mm of water to what a screen shows: rays that arrive, blur, noise, and a film's greys."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import gaussian_filter

from vertebloc.errors import InputError
from vertebloc.published import imaging

_FWHM = (
    2.354820045030949  #: full width at half maximum of a Gaussian, in its sigma: 2 sqrt(2 ln 2)
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FilmSettings:
    """How a picture is blurred, how noisy it is, and how it is shown: all assumed."""

    blur_mm: float = 0.6  #: full width at half maximum on the detector
    photons: float = 4e6  #: that would arrive through nothing, on a mm2 of detector
    even_out_mm: float = 25.0  #: slow changes wider than this are flattened, on the detector
    kept_of_slow: float = 0.35  #: how much of them stays
    darkest: float = 0.01  #: share of the picture that may be quite dark
    brightest: float = 0.002  #: and quite bright

    def __post_init__(self) -> None:
        """Refuse lengths below 0 and shares outside 0 to 1.

        Raises
        ------
        InputError
            Names what cannot be meant.
        """
        if min(self.blur_mm, self.even_out_mm, self.photons) < 0.0:
            raise InputError("blur, evening out and photons need 0 or more")
        if not all(0.0 <= one <= 1.0 for one in (self.kept_of_slow, self.darkest, self.brightest)):
            raise InputError("shares of a film lie between 0 and 1")


def transmitted(waters_mm: ArrayLike) -> NDArray[np.float64]:
    """Share of a beam of 60 keV that arrives.

    Parameters
    ----------
    waters_mm : array of float, mm of water
        What lies on each ray.

    Returns
    -------
    array of float64, -
        exp(-mu x); one energy, no scatter: a real beam hardens and scatters, so that a real
        picture has less contrast.

    References
    ----------
    [hubbell1995] attenuation of water.
    """
    per_mm = imaging.WATER_60_KEV.value / 10.0
    return np.asarray(np.exp(-per_mm * np.asarray(waters_mm, dtype=np.float64)))


def expose(
    waters_mm: ArrayLike,
    pitch_mm: float,
    settings: FilmSettings,
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    """What a detector measures: blurred, with the noise of the rays that arrive.

    Parameters
    ----------
    waters_mm : (rows, columns) float, mm of water
        What lies on each ray.
    pitch_mm : float, mm
        Size of a pixel on the detector.
    settings : FilmSettings
        Blur and photons.
    rng : Generator
        Chance, from outside.

    Returns
    -------
    (rows, columns) float64, mm of water
        As the detector would tell it: -ln of the share that arrived, over mu of water. A pixel
        that none reached counts half a photon.
    """
    arrived = transmitted(waters_mm)
    if settings.blur_mm > 0.0:
        arrived = gaussian_filter(arrived, settings.blur_mm / _FWHM / pitch_mm, mode="nearest")
    if settings.photons > 0.0:
        sent = settings.photons * pitch_mm**2
        arrived = np.maximum(rng.poisson(arrived * sent), 0.5) / sent
    return np.asarray(-np.log(arrived) / (imaging.WATER_60_KEV.value / 10.0))


def show_as_film(
    waters_mm: ArrayLike, pitch_mm: float, settings: FilmSettings
) -> NDArray[np.float64]:
    """Greys of a picture as on film: what lets rays through is dark, bone is pale.

    Parameters
    ----------
    waters_mm : (rows, columns) float, mm of water
        From ``expose`` or ``Projector``.
    pitch_mm : float, mm
        Size of a pixel on the detector.
    settings : FilmSettings
        How far slow changes are flattened, and how much may clip.

    Returns
    -------
    (rows, columns) float64, 0 to 1
        0 dark, 1 pale.
    """
    found = np.asarray(waters_mm, dtype=np.float64)
    if settings.even_out_mm > 0.0:
        slow = gaussian_filter(found, settings.even_out_mm / pitch_mm / _FWHM, mode="nearest")
        found = found - (1.0 - settings.kept_of_slow) * slow
    ends = [settings.darkest, 1.0 - settings.brightest]
    low, high = np.quantile(found, ends)
    if high <= low:
        return np.zeros_like(found)
    return np.asarray(np.clip((found - low) / (high - low), 0.0, 1.0))
