"""Discs as dark planes between bright bodies, in front of a canal that was followed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vertebloc.errors import InputError
from vertebloc.outlining.first_drafts.box import read_at
from vertebloc.outlining.first_drafts.canal import TrackedCanal
from vertebloc.outlining.first_drafts.settings import SETTINGS
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points

_CORE_AHEAD_MM = np.arange(4.0, 17.0, 1.5)  #: before the canal's front wall
_PROBES_MM = (-6.5, -5.0, -3.75, -2.5, -1.0, 0.0, 1.0, 2.5, 3.75, 5.0, 6.5)
_CORE_ASIDE_MM = np.arange(-7.0, 7.1, 2.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Disc:
    """The middle plane of a disc, or the end of what is in the images."""

    s_mm: float  #: along the canal
    centre: NDArray[np.float64]  #: (3,) mm, patient LPS
    left: NDArray[np.float64]  #: (3,) unit vectors
    back: NDArray[np.float64]
    up: NDArray[np.float64]
    is_end: bool = False  #: no disc: the images or the canal end here


def find_disc_planes(box: Volume, canal: TrackedCanal, bodies: Points) -> tuple[Disc, ...]:
    """Planes of all discs along the canal.

    Parameters
    ----------
    box : Volume
        Hounsfield units on even voxels.
    canal : TrackedCanal
        Followed in the same CT.
    bodies : (n, 3) float64, mm, patient LPS
        A place inside each body clicked on; their density is taken for that of bone.

    Returns
    -------
    tuple of Disc
        From the head to the feet; the ends of the canal come first and last.

    Raises
    ------
    InputError
        If no disc is found at all.
    """
    dense = body_density(box, bodies)
    s = canal.s_mm
    left, back, _ = canal.axes(s)
    front = canal.wall_mm[:, 0]
    inner = _chain(s, disc_score(_profile(box, canal)))
    if not inner:
        raise InputError("no disc was found above or below the place: more of the spine is needed")
    planes = [_end_plane(canal, float(s[0]))]
    for at in inner:
        n = int(np.argmin(np.abs(s - at)))
        ahead = front[n] + 14.0
        centre = canal.line.at(at)[0] - ahead * back[n]
        start = Disc(
            s_mm=at, centre=centre, left=left[n], back=back[n], up=canal.line.tangent(at)[0]
        )
        planes.append(_settled(box, start, dense))
    planes.append(_end_plane(canal, float(s[-1])))
    return tuple(planes)


def body_density(box: Volume, bodies: Points) -> float:
    """Typical Hounsfield units of the spongy bone around the places clicked on.

    Parameters
    ----------
    box : Volume
        Hounsfield units.
    bodies : (n, 3) float64, mm, patient LPS
        Places.

    Returns
    -------
    float, HU
        Median within 5 mm of the densest place, at least the least that is taken for bone.
    """
    ball = np.indices((9, 9, 9)).reshape(3, -1).T * 1.25 - 5.0
    ball = ball[np.linalg.norm(ball, axis=1) <= 5.0]
    medians = [float(np.median(read_at(box, body + ball))) for body in bodies]
    return max(float(np.median(medians)), SETTINGS.least_body_hu)


def _profile(box: Volume, canal: TrackedCanal) -> NDArray[np.float64]:
    """Brightness of the bodies' core along the canal, HU: the mean of each cross-section."""
    s = canal.s_mm
    left, back, _ = canal.axes(s)
    ahead = canal.wall_mm[:, :1] + _CORE_AHEAD_MM
    points = (
        canal.line.at(s)[:, None, None]
        - ahead[:, :, None, None] * back[:, None, None]
        + _CORE_ASIDE_MM[:, None] * left[:, None, None]
    )
    seen = np.clip(read_at(box, points).reshape(len(s), -1), -50.0, 800.0)
    return np.asarray(0.5 * (np.median(seen, axis=1) + seen.mean(axis=1)), dtype=np.float64)


def disc_score(profile: NDArray[np.float64]) -> NDArray[np.float64]:
    """How much each place along the canal looks like the middle of a disc.

    Parameters
    ----------
    profile : (n,) float64, HU
        Brightness of the bodies' core, every mm.

    Returns
    -------
    (n,) float64, -
        Around 1 at a disc, around -1 in the middle of a body.

    Notes
    -----
    Two signs together, since neither holds in everybody. Where spongy bone is dense, a disc is
    dark; where it is thin, discs between thick slices are no darker than it. But two endplates
    always lie close above and below a disc, so that brightness rises and falls there (its slope,
    smoothed over 4 mm, against that of the neighbourhood), and between them lies a narrow dip.
    """
    slope = np.abs(np.gradient(ndimage.gaussian_filter1d(profile, 0.7)))
    busy = ndimage.gaussian_filter1d(slope, SETTINGS.disc_busy_mm, mode="nearest")
    usual = ndimage.gaussian_filter1d(busy, 25.0, mode="nearest")
    dip = ndimage.gaussian_laplace(profile[:, None], (1.8, 0.0), mode="nearest")[:, 0]
    size = np.sqrt(ndimage.gaussian_filter1d(dip**2, 25.0, mode="nearest"))
    narrow = np.clip(dip / np.maximum(size, 1e-6), -1.5, 1.5)
    return np.asarray(2.0 * (busy / np.maximum(usual, 1e-6) - 1.0) + 0.5 * narrow)


def _chain(s: NDArray[np.float64], score: NDArray[np.float64]) -> list[float]:
    """The evenly spaced chain of places with the greatest sum of scores.

    By dynamic programming over the place and its spacing to the one before; each change of
    spacing costs the square of its logarithm.
    """
    low, high = SETTINGS.disc_spacing_mm
    spacings = np.arange(int(low), int(high) + 1)
    ratio = np.log(spacings[:, None] / spacings[None, :])
    change = SETTINGS.disc_even * ratio**2
    best = np.full((len(s), len(spacings)), -np.inf)
    came = np.full((len(s), len(spacings)), -1)
    for n in range(3, len(s) - 3):
        for m, spacing in enumerate(spacings):
            before = n - int(spacing)
            if before < 3:
                continue
            ways = best[before] - change[m]
            way = int(np.argmax(ways))
            begin = score[before]  # the chain may begin with the place before
            if ways[way] > begin:
                best[n, m], came[n, m] = ways[way] + score[n], way
            else:
                best[n, m] = begin + score[n]
    if not np.isfinite(best).any():
        return []
    n, m = (int(x) for x in np.unravel_index(int(np.argmax(best)), best.shape))
    chain = [n]
    while m >= 0:
        n, m = n - int(spacings[m]), int(came[n, m])
        chain.append(n)
    return [float(s[place]) for place in chain[::-1]]


def _end_plane(canal: TrackedCanal, at: float) -> Disc:
    left, back, up = (axis[0] for axis in canal.axes(at))
    centre = canal.line.at(at)[0] - 22.0 * back
    return Disc(s_mm=at, centre=centre, left=left, back=back, up=up, is_end=True)


def _settled(box: Volume, disc: Disc, dense: float) -> Disc:
    """Shift and tilt the plane until it is darkest against the endplates on either side."""
    u, v = np.meshgrid(np.linspace(-11.0, 11.0, 9), np.linspace(-10.0, 10.0, 9))
    round_ = np.hypot(u / 12.0, v / 11.0) <= 1.0
    u, v = u[round_], v[round_]
    best = disc
    for tilts, shifts, stays in (
        (np.radians([-16, -8, 0, 8, 16]), np.arange(-4.0, 4.1, 1.0), 10.0),
        (np.radians([-5, -2.5, 0, 2.5, 5]), np.arange(-1.0, 1.1, 0.5), 10.0),
        (np.radians([-3, 0, 3]), np.arange(-2.0, 2.1, 0.5), 4.0),
    ):
        start = best if stays < 10.0 else disc
        trials = [_tilted(best, a, b, t) for a in tilts for b in tilts for t in shifts]
        flat = np.stack([d.centre + u[:, None] * d.left + v[:, None] * d.back for d in trials])
        around = np.stack([d.up for d in trials])[:, None]
        seen = np.array(
            [
                np.minimum(read_at(box, flat + t * around), dense + 400.0).mean(axis=1)
                for t in _PROBES_MM
            ]
        )
        middle = len(_PROBES_MM) // 2
        here = 0.5 * seen[middle] + 0.25 * (seen[middle - 1] + seen[middle + 1])
        plates = np.minimum(seen[: middle - 1].max(axis=0), seen[middle + 2 :].max(axis=0))
        lean = np.array([np.arccos(np.clip(d.up @ disc.up, -1.0, 1.0)) for d in trials])
        off = np.array([(d.centre - start.centre) @ start.up for d in trials])
        cost = here - plates + 60.0 * (lean / 0.35) ** 2 + stays * off**2
        best = trials[int(np.argmin(cost))]
    return best


def _tilted(disc: Disc, about_left: float, about_back: float, shift: float) -> Disc:
    up = disc.up + np.tan(about_left) * disc.back + np.tan(about_back) * disc.left
    up /= np.linalg.norm(up)
    back = disc.back - (disc.back @ up) * up
    back /= np.linalg.norm(back)
    return replace(
        disc, centre=disc.centre + shift * disc.up, up=up, back=back, left=np.cross(back, up)
    )


def endplates(
    box: Volume, disc: Disc, half_mm: float, dense: float
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Height of both endplates over the disc's middle plane.

    Parameters
    ----------
    box : Volume
        Hounsfield units.
    disc : Disc
        Its middle plane.
    half_mm : float, mm
        Half width of the square that is looked at.
    dense : float, HU
        Typical spongy bone.

    Returns
    -------
    axis : (n,) float64, mm
        Positions along left and back.
    above, below : (n, n) float64, mm
        [left, back]: where the body above ends and where the body below begins, along ``up``;
        ``above`` is greater.

    Notes
    -----
    In each column the darkest place near the plane is the disc; bone begins at 0.7 of the step
    in brightness from it to the brightest place within 6 mm. Columns are smoothed together.
    """
    axis = np.arange(-half_mm, half_mm + 0.1, 1.0)
    t = np.arange(-9.0, 9.01, 0.5)
    points = (
        disc.centre
        + axis[:, None, None, None] * disc.left
        + axis[:, None, None] * disc.back
        + t[:, None] * disc.up
    )
    seen = np.minimum(read_at(box, points), dense + 250.0)
    seen = ndimage.gaussian_filter(seen, (1.2, 1.2, 0.0), mode="nearest")
    middle = len(t) // 2
    near = np.abs(t) <= 2.6
    valley = seen[:, :, near].argmin(axis=2) + int(np.flatnonzero(near)[0])
    valley = np.rint(ndimage.median_filter(valley, 7, mode="nearest")).astype(int)
    low = np.take_along_axis(seen, valley[:, :, None], axis=2)[:, :, 0]
    above = _half_height(seen, t, valley, low, +1)
    below = _half_height(seen, t, valley, low, -1)
    del middle
    even = [
        ndimage.gaussian_filter(ndimage.median_filter(x, 7, mode="nearest"), 1.0, mode="nearest")
        for x in (above, below)
    ]
    return axis, even[0], even[1]


def _half_height(
    seen: NDArray[np.float32],
    t: NDArray[np.float64],
    valley: NDArray[np.int64],
    low: NDArray[np.float32],
    sign: int,
) -> NDArray[np.float64]:
    """Where, from the valley towards ``sign``, half the way to the peak is reached."""
    step = float(t[1] - t[0])
    reach = round(6.0 / step)
    count = len(t)
    order = valley[:, :, None] + sign * np.arange(reach + 1)
    run = np.take_along_axis(seen, np.clip(order, 0, count - 1), axis=2)
    wanted = low + SETTINGS.endplate_share * (run.max(axis=2) - low)
    beyond = run >= wanted[:, :, None]
    first = np.maximum(np.argmax(beyond, axis=2), 1)
    after = np.take_along_axis(run, first[:, :, None], axis=2)[:, :, 0]
    before = np.take_along_axis(run, first[:, :, None] - 1, axis=2)[:, :, 0]
    part = (wanted - before) / np.maximum(after - before, 1e-3)
    return np.asarray(t[valley] + sign * step * (first - 1 + np.clip(part, 0.0, 1.0)))
