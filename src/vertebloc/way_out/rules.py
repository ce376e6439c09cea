"""What a pose is worth: the rising demand at the sac, and what shuts a pose."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vertebloc.way_out.model import WayOutSettings


def demanded_mm(
    gone_mm: NDArray[np.float64], *, at_rest_mm: float, target_mm: float, settings: WayOutSettings
) -> NDArray[np.float64]:
    """Clearance that is demanded of a pose.

    Parameters
    ----------
    gone_mm : (n,) float64, mm
        Largest displacement of any point of the piece from its seat.
    at_rest_mm : float, mm
        Clearance at rest.
    target_mm : float, mm
        Demanded once the piece is clear of its seat.
    settings : WayOutSettings
        Tolerance, and when it is clear.

    Returns
    -------
    (n,) float64, mm
        From the clearance at rest less the tolerance (or the target if that is less) straight
        up to the target.
    """
    first = min(target_mm, at_rest_mm - settings.tolerance_mm)
    share = np.clip(gone_mm / settings.clear_after_mm, 0.0, 1.0)
    return np.asarray(first + (target_mm - first) * share)


def worth_mm(
    clearance_mm: NDArray[np.float64],
    gone_mm: NDArray[np.float64],
    *,
    at_rest_mm: float,
    settings: WayOutSettings,
) -> NDArray[np.float64]:
    """Largest target that a pose fulfils.

    Parameters
    ----------
    clearance_mm : (n,) float64, mm
        Clearance to the sac.
    gone_mm : (n,) float64, mm
        Largest displacement from the seat.
    at_rest_mm : float, mm
        Clearance at rest.
    settings : WayOutSettings
        Tolerance, and when the piece is clear of its seat.

    Returns
    -------
    (n,) float64, mm
        The target at which ``demanded_mm`` equals the clearance: a path fulfils every target up
        to the least of its poses. Without bound at the seat itself.
    """
    first = at_rest_mm - settings.tolerance_mm
    share = np.clip(gone_mm / settings.clear_after_mm, 1e-9, 1.0)
    over = np.asarray(clearance_mm) - first
    return np.where(over >= 0.0, first + over / share, clearance_mm)
