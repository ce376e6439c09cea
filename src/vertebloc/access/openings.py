"""Openings of the unrolled ring: how wide they are against the sac, and what they cross."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.access.ring_model import RingMap, Surrogate
from vertebloc.space.frames import Side

#: The three readings of the outlines, as indices: what speaks against a "yes" is GROWN.
SHRUNK, DRAWN, GROWN = 0, 1, 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Windows:
    """Every opening that is tried: two banks each, with its width and the sac's."""

    first_deg: NDArray[np.float64]  #: (n,) right bank
    last_deg: NDArray[np.float64]  #: (n,) left bank
    first: NDArray[np.int64]  #: (n,) ray of the right bank
    last: NDArray[np.int64]
    width_mm: NDArray[np.float64]  #: (n,) infinite: nothing left in the way
    needed_mm: NDArray[np.float64]  #: (n,) the sac's width across each
    sac_gives_mm: float
    free: NDArray[np.bool_]  #: (n,) no tumour in the opening

    @property
    def spare_mm(self) -> NDArray[np.float64]:
        """Width beyond what the sac needs; below 0: it does not pass."""
        spare: NDArray[np.float64] = self.width_mm - self.needed_mm + self.sac_gives_mm
        return spare

    def reaches(self, side: Side, by_deg: float) -> NDArray[np.bool_]:
        """Which openings reach round to an angle on a side.

        Parameters
        ----------
        side : Side
            Of the patient.
        by_deg : float, deg
            From the back.

        Returns
        -------
        (n,) bool
            One each.
        """
        reach: NDArray[np.float64] = self.last_deg if side is Side.LEFT else -self.first_deg
        found: NDArray[np.bool_] = reach >= by_deg
        return found


def blocked_rays(ring: RingMap, reading: int) -> NDArray[np.bool_]:
    """Rays with tumour in the ring at any height.

    Parameters
    ----------
    ring : RingMap
        The unrolled ring.
    reading : int
        SHRUNK, DRAWN or GROWN outlines.

    Returns
    -------
    (a,) bool
        One each.
    """
    return np.asarray(np.isfinite(ring.tumour_mm[reading]).any(axis=0))


def edge_deg(ring: RingMap, side: Side) -> float:
    """How far round from the back the arch reaches on a side before it meets the body.

    Parameters
    ----------
    ring : RingMap
        The unrolled ring.
    side : Side
        Of the patient.

    Returns
    -------
    float, deg
        Positive on both sides.
    """
    right, left = ring.edges_deg
    return left if side is Side.LEFT else -right


def beside_deg(ring: RingMap, side: Side) -> float:
    """How far round an opening must reach to count as on a side.

    Parameters
    ----------
    ring : RingMap
        The unrolled ring.
    side : Side
        Of the patient.

    Returns
    -------
    float, deg
        To beside the middle of the sac, or as far as the arch goes if that is less.
    """
    return min(ring.settings.beside_sac_deg, edge_deg(ring, side) - ring.settings.window_step_deg)


def find_windows(ring: RingMap, reading: int) -> Windows:
    """Measure every opening between two banks in the arch.

    Parameters
    ----------
    ring : RingMap
        The unrolled ring.
    reading : int
        SHRUNK, DRAWN or GROWN outlines of bone, tumour and sac.

    Returns
    -------
    Windows
        Banks lie on a fixed lattice, the same for every reading.

    Notes
    -----
    The sac leaves straight along the middle of the opening. Of all bone and tumour that is left,
    at all heights together, only what lies ahead of the sac's middle on that way can hold it
    back: the width is the room between the nearest of it on the left and on the right. For a
    round ring of inner radius R this is 2 R sin(half the opening), and no limit from 180 degrees
    on. More tumour, or less opening, never gives more width. It says nothing of how the piece is
    turned on its way out.
    """
    error = (reading - 1) * ring.settings.contour_error_mm
    wall = np.where(np.isnan(ring.wall_mm), np.inf, ring.wall_mm - error)
    inner = np.minimum(wall, ring.tumour_mm[reading]).min(axis=0)
    first, last = _banks(ring)
    angles = ring.angles_deg
    half_ray = 0.5 * (angles[1] - angles[0])
    first_deg, last_deg = angles[first] - half_ray, angles[last] + half_ray
    middle = 0.5 * (first_deg + last_deg)
    width = _width_mm(angles, inner, (first_deg, last_deg), middle)
    blocked = np.concatenate(([0], np.cumsum(blocked_rays(ring, reading))))
    return Windows(
        first_deg=first_deg,
        last_deg=last_deg,
        first=first,
        last=last,
        width_mm=width,
        needed_mm=_needed_mm(ring, reading, middle),
        sac_gives_mm=ring.settings.sac_gives_mm,
        free=blocked[last + 1] == blocked[first],
    )


def _banks(ring: RingMap) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rays of every pair of banks, on a lattice that counts from both body edges."""
    arch = np.flatnonzero(ring.is_arch)
    ray_deg = float(ring.angles_deg[1] - ring.angles_deg[0])
    step = max(1, round(ring.settings.window_step_deg / ray_deg))
    first, last = (one.reshape(-1) for one in np.meshgrid(arch[::step], arch[::-1][::step]))
    keep = last >= first
    return first[keep], last[keep]


def _width_mm(
    angles_deg: NDArray[np.float64],
    inner_mm: NDArray[np.float64],
    banks: tuple[NDArray[np.float64], NDArray[np.float64]],
    middle_deg: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Room between what is left ahead of the sac's middle, right and left of the way out."""
    width = np.empty(len(middle_deg))
    half_ray = 0.5 * np.radians(angles_deg[1] - angles_deg[0])
    for some in np.array_split(np.arange(len(width)), max(1, len(width) // 2000)):
        turned = np.radians(angles_deg[None, :] - middle_deg[some, None])
        # what a ray met may reach to its own edge: never wider than it is
        turned = np.sign(turned) * np.maximum(np.abs(turned) - half_ray, 0.0)
        outside = (angles_deg[None, :] < banks[0][some, None]) | (
            angles_deg[None, :] > banks[1][some, None]
        )
        ahead = outside & (np.cos(turned) > 1e-9) & np.isfinite(inner_mm)[None, :]
        aside = np.where(np.isfinite(inner_mm), inner_mm, 0.0)[None, :] * np.sin(turned)
        left = np.where(ahead & (aside > 0.0), aside, np.inf).min(axis=1)
        right = np.where(ahead & (aside <= 0.0), -aside, np.inf).min(axis=1)
        width[some] = left + right
    return width


def sac_width_mm(
    angles_deg: NDArray[np.float64], radii_mm: NDArray[np.float64], way_deg: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Widest size of an outline across a way, over all heights.

    Parameters
    ----------
    angles_deg : (a,) float64, deg
        Of the rays.
    radii_mm : (h, a) float64, mm
        Of the outline; NaN where there is none.
    way_deg : (n,) float64, deg
        Directions.

    Returns
    -------
    (n,) float64, mm
        0 where there is no outline at all.
    """
    known = np.where(np.isnan(radii_mm), 0.0, radii_mm)
    found = np.empty(len(way_deg))
    for place, way in enumerate(way_deg):
        aside = known * np.sin(np.radians(angles_deg - way))[None, :]
        found[place] = float((aside.max(axis=1) - aside.min(axis=1)).max())
    return found


def _needed_mm(
    ring: RingMap, reading: int, middle_deg: NDArray[np.float64]
) -> NDArray[np.float64]:
    """What the sac needs across each way: what stands for it gives a least and a most.

    The sac lies in the canal, so that it is never wider than the canal is in the same reading.
    """
    ways, where = np.unique(middle_deg, return_inverse=True)
    error = 2.0 * (reading - 1) * ring.settings.contour_error_mm
    canal = sac_width_mm(ring.angles_deg, ring.canal_mm[None, :], ways) - error
    seen = sac_width_mm(ring.angles_deg, ring.sac_mm, ways) + error
    if ring.surrogate is Surrogate.SAC or reading == SHRUNK:
        needed = np.minimum(seen, canal)
    else:
        needed = canal
    return np.asarray(np.maximum(needed, 0.0)[where.reshape(-1)])


def best_window(windows: Windows, among: NDArray[np.bool_]) -> int | None:
    """The opening with most room to spare; of several without limit the largest.

    Parameters
    ----------
    windows : Windows
        All openings.
    among : (n,) bool
        Which of them count.

    Returns
    -------
    int or None
        Its place; None if none counts.
    """
    if not among.any():
        return None
    spare = np.where(among, windows.spare_mm, -np.inf)
    best = np.flatnonzero(spare == spare.max())
    size = windows.last_deg[best] - windows.first_deg[best]
    return int(best[int(np.argmax(size))])


def least_crossing(ring: RingMap, windows: Windows, side: Side) -> int | None:
    """The opening on a side that cuts through least tumour and lets the sac through.

    Parameters
    ----------
    ring : RingMap
        The unrolled ring.
    windows : Windows
        Openings by the outlines as drawn; tumour in them is allowed here.
    side : Side
        Of the patient.

    Returns
    -------
    int or None
        Least area at its two banks, then least tumour between, then the widest; None if no
        opening on that side lets the sac through.
    """
    fits = windows.reaches(side, beside_deg(ring, side)) & (windows.spare_mm >= 0.0)
    if not fits.any():
        return None
    at = np.flatnonzero(fits)
    crossed = ring.crossed_mm2[windows.first[at]] + ring.crossed_mm2[windows.last[at]]
    running = np.concatenate(([0.0], np.cumsum(ring.crossed_mm2)))
    between = running[windows.last[at] + 1] - running[windows.first[at]]
    size = windows.last_deg[at] - windows.first_deg[at]
    return int(at[int(np.lexsort((-size, between, crossed))[0])])
