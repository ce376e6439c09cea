"""What tilts and lifts gained for the way that the search chose, as plan.json writes it."""

from __future__ import annotations

from typing import Any

import numpy as np

from vertebloc.way_out.answer import WayOut


def tilted_document(found: WayOut) -> dict[str, Any]:
    """The key ``tilted`` of ``way_out`` in plan.json.

    Parameters
    ----------
    found : WayOut
        The answer.

    Returns
    -------
    dict
        ``tilted``: lengths in mm and angles in degrees, rounded so that they promise no more than
        was shown; null where no way was found that could be tilted.
    """
    tilted = found.tilted
    if tilted is None:
        return {"tilted": None}
    tilts = np.degrees(np.hypot(tilted.way[:, 3], tilted.way[:, 4]))
    return {
        "tilted": {
            "gained_mm": float(np.floor(100.0 * tilted.gained_mm) / 100.0),
            "worth_mm": float(np.floor(100.0 * tilted.worth_mm) / 100.0),
            "most_tilt_deg": float(np.ceil(100.0 * tilts.max()) / 100.0),
            "most_lift_mm": float(np.ceil(100.0 * np.abs(tilted.way[:, 5]).max()) / 100.0),
            "against_errors": bool(tilted.against_errors),
        }
    }
