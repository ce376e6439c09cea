"""What a distraction that the team set does to the way out: never proposed, never hidden."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from vertebloc.reports import text
from vertebloc.way_out.answer import Entry, WayOut
from vertebloc.way_out.distraction import Pull
from vertebloc.way_out.model import Answer, Bracket


def distraction_document(found: WayOut, pull: Pull | None) -> dict[str, Any]:
    """Key ``distraction`` of ``way_out`` in plan.json.

    Parameters
    ----------
    found : WayOut
        The answer with its ledger.
    pull : Pull or None
        None: the team set none, and nothing is said of it.

    Returns
    -------
    dict
        ``by_mm``, ``front_bridge``, ``tips_deg`` of each part, ``needed``, and ``words``.
    """
    if pull is None:
        return {}
    tips = float(np.degrees(pull.tip_rad))
    return {
        "distraction": {
            "by_mm": pull.by_mm,
            "front_bridge": "holds" if pull.bridge_holds else "cut",
            "tips_deg": round(tips, 2),
            "needed": found.best.distraction_mm > 0.0,
            "words": distraction_words(found, pull),
        }
    }


def distraction_words(found: WayOut, pull: Pull) -> str:
    """What it gains, side by side with none.

    Parameters
    ----------
    found : WayOut
        Its ledger holds both.
    pull : Pull
        How far.

    Returns
    -------
    str
        Sentences.
    """
    how = (
        f"the bridge in front holds, each part tips {np.degrees(pull.tip_rad):.1f} degrees"
        if pull.bridge_holds
        else "the bridge in front is cut, the parts move apart as they stand"
    )
    with_it = [e for e in found.ledger if e.distraction_mm > 0.0]
    without = [e for e in found.ledger if e.distraction_mm == 0.0]
    if any(e.answer is Answer.YES for e in without):
        need = "It is NOT NEEDED for a yes."
    elif any(e.answer is Answer.YES for e in with_it):
        need = "Without it there is no yes."
    else:
        need = "It makes no yes."
    return (
        f"DISTRACTION of {text.mm(pull.by_mm)} at the sac, set by the team ({how}): room shown "
        f"at best {_most(with_it)} with it, {_most(without)} without; with all errors "
        f"{_most(with_it, errors=True)} and {_most(without, errors=True)}. {need}"
    )


def _most(entries: Iterable[Entry], *, errors: bool = False) -> str:
    def low(bracket: Bracket) -> float:
        return bracket.lower_mm

    most = max((low(e.with_errors if errors else e.model) for e in entries), default=-np.inf)
    return f"{np.floor(10.0 * most) / 10.0:.1f} mm" if np.isfinite(most) else "none found"
