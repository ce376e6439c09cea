"""What an independent library says of a way out, and at which wanted room the answer flips."""

from __future__ import annotations

from typing import Any

import numpy as np

from vertebloc.way_out.answer import WayOut


def check_document(found: WayOut) -> dict[str, Any]:
    """Keys of ``way_out`` in plan.json about the check and the flip.

    Parameters
    ----------
    found : WayOut
        The answer; what was not looked at has no key, and nothing is said of it.

    Returns
    -------
    dict
        ``exact``, ``yes_up_to_mm`` and ``no_from_mm``, mm; rounded so that they promise no more
        and rule out no more than was shown.
    """
    written: dict[str, Any] = {}
    exact = found.exact
    if exact is not None:
        worst = (*exact.most_above_mm.values(), *exact.most_below_mm.values())
        written["exact"] = {
            "poses": len(exact.poses),
            "distances_measured": int(exact.distances_measured),
            "most_off_mm": float(np.ceil(100.0 * max(worst, default=0.0)) / 100.0),
            "agrees": bool(exact.agrees),
        }
    if np.isfinite(found.yes_up_to_mm):
        written["yes_up_to_mm"] = float(np.floor(100.0 * found.yes_up_to_mm) / 100.0)
    if np.isfinite(found.no_from_mm):
        written["no_from_mm"] = float(np.ceil(100.0 * found.no_from_mm) / 100.0)
    return written
