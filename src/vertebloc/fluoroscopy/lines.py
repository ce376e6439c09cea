"""Views in which a plane is a line: the angle by algebra, in the C-arm's own two turns."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from vertebloc.errors import NoSolutionError

_TINY = 1e-9


def tilt_for_line(normal: ArrayLike, primary_deg: float) -> float:
    """Secondary angle in which a plane is a line, the primary angle being held.

    Parameters
    ----------
    normal : (3,) float64
        Of the plane, patient LPS.
    primary_deg : float, degrees
        Held.

    Returns
    -------
    float, degrees
        Between -90 and +90.

    Raises
    ------
    NoSolutionError
        If the plane stands along the spine and the beam does not lie in it: no tilt helps.

    Notes
    -----
    The beam (sin a cos b, -cos a cos b, sin b) lies in the plane if it is square to its normal
    n: tan b = (n_y cos a - n_x sin a) / n_z.
    """
    x, y, z = _unit(normal)
    a = math.radians(primary_deg)
    across = y * math.cos(a) - x * math.sin(a)
    if abs(z) < _TINY and abs(across) > _TINY:
        raise NoSolutionError(
            "no tilt towards head or feet shows this plane as a line",
            reasons=("it stands along the spine",),
        )
    return math.degrees(math.atan(across / z)) if abs(z) >= _TINY else 0.0


def turn_for_line(normal: ArrayLike, secondary_deg: float, near_deg: float) -> float:
    """Primary angle in which a plane is a line, the secondary angle being held.

    Parameters
    ----------
    normal : (3,) float64
        Of the plane, patient LPS.
    secondary_deg : float, degrees
        Held.
    near_deg : float, degrees
        Of the two turns that do, the one nearest to this is given.

    Returns
    -------
    float, degrees
        Within 180 degrees of ``near_deg``.

    Raises
    ------
    NoSolutionError
        If no turn helps: the plane lies too much across the spine.

    Notes
    -----
    n_y cos a - n_x sin a = n_z tan b, so a = p +- acos(n_z tan b / r) with n_y = r cos p and
    -n_x = r sin p.
    """
    x, y, z = _unit(normal)
    r = math.hypot(x, y)
    wanted = z * math.tan(math.radians(secondary_deg))
    if r < _TINY or abs(wanted) > r:
        raise NoSolutionError(
            "no turn about the patient's long axis shows this plane as a line",
            reasons=("it lies across the spine",),
        )
    middle, half = math.degrees(math.atan2(-x, y)), math.degrees(math.acos(wanted / r))
    both = [near_deg + _wrapped(angle - near_deg) for angle in (middle + half, middle - half)]
    return min(both, key=lambda angle: abs(angle - near_deg))


def angles_for_line(
    normal: ArrayLike, primary_deg: float, secondary_deg: float = 0.0
) -> tuple[float, float]:
    """The smaller single turn of a C-arm that makes a plane a line.

    Parameters
    ----------
    normal : (3,) float64
        Of the plane, patient LPS.
    primary_deg, secondary_deg : float, degrees
        The straight view that one begins from.

    Returns
    -------
    tuple of float, degrees
        Primary and secondary angle; only one of them differs from the straight view.

    Raises
    ------
    NoSolutionError
        If neither turn does.
    """
    found = []
    reasons: list[str] = []
    try:
        found.append((primary_deg, tilt_for_line(normal, primary_deg)))
    except NoSolutionError as error:
        reasons += error.reasons
    try:
        found.append((turn_for_line(normal, secondary_deg, primary_deg), secondary_deg))
    except NoSolutionError as error:
        reasons += error.reasons
    if not found:
        raise NoSolutionError(
            "neither a tilt nor a turn shows this plane as a line", reasons=tuple(reasons)
        )
    return min(found, key=lambda at: abs(at[0] - primary_deg) + abs(at[1] - secondary_deg))


def band_mm(deep_mm: float, off_deg: float) -> float:
    """How wide a cut is seen when the C-arm is off the angle in which it is a line.

    Parameters
    ----------
    deep_mm : float, mm
        Length of the cut along the beam.
    off_deg : float, degrees
        How far off.

    Returns
    -------
    float, mm
        In the patient: L sin d.
    """
    return deep_mm * math.sin(math.radians(abs(off_deg)))


def _unit(normal: ArrayLike) -> tuple[float, float, float]:
    n = np.asarray(normal, dtype=np.float64)
    n = n / np.linalg.norm(n)
    return float(n[0]), float(n[1]), float(n[2])


def _wrapped(angle_deg: float) -> float:
    return (angle_deg + 180.0) % 360.0 - 180.0
