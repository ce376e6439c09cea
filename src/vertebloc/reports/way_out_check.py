"""What an independent library says of a way out, and at which wanted room the answer flips."""

from __future__ import annotations

from typing import Any

import numpy as np

from vertebloc.way_out.answer import WayOut


def check_document(found: WayOut) -> dict[str, Any]:
    """Keys of ``way_out`` in plan.json that a search adds which looks so far.

    Parameters
    ----------
    found : WayOut
        The answer. A search that checks nothing exactly, or looks for no flip, has no such
        fields: then there is no key, and nothing is said.

    Returns
    -------
    dict
        ``exact``, ``yes_up_to_mm`` and ``no_from_mm``, mm; rounded so that they promise no more
        and rule out no more than was shown.
    """
    written: dict[str, Any] = {}
    exact = getattr(found, "exact", None)
    if exact is not None:
        worst = (*exact.most_above_mm.values(), *exact.most_below_mm.values())
        written["exact"] = {
            "poses": len(exact.poses),
            "distances_measured": int(exact.distances_measured),
            "most_off_mm": float(np.ceil(100.0 * max(worst, default=0.0)) / 100.0),
            "agrees": bool(exact.agrees),
        }
    yes_up_to = getattr(found, "yes_up_to_mm", -np.inf)
    no_from = getattr(found, "no_from_mm", np.inf)
    if np.isfinite(yes_up_to):
        written["yes_up_to_mm"] = float(np.floor(100.0 * yes_up_to) / 100.0)
    if np.isfinite(no_from):
        written["no_from_mm"] = float(np.ceil(100.0 * no_from) / 100.0)
    return written
