"""The way out of a planned piece: computed on demand, kept as long as what it stands on."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from vertebloc.anatomy.contours import ContourSet
from vertebloc.case.choices import Choices
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.reports.way_out_document import way_out_document
from vertebloc.resection import ResectionPlan
from vertebloc.resection.model import Kind
from vertebloc.way_out import WayOutSettings, find_way_out
from vertebloc.way_out.obstacles import room_of_plan
from vertebloc.workflow.compute_plan import Prepared
from vertebloc.workflow.saying import Say

_WHOLE_BODIES = (Kind.WHOLE_BODY, Kind.TWO_BODIES, Kind.THREE_BODIES)


def saved_way_out(case: CaseFolder, document: Mapping[str, Any]) -> dict[str, Any] | None:
    """The way out in the saved plan, if it was computed from the very same inputs.

    Parameters
    ----------
    case : CaseFolder
        The case.
    document : mapping
        The plan as computed anew.

    Returns
    -------
    dict or None
        None: there is none, or something has changed since.
    """
    if not case.has("plan"):
        return None
    saved = json.loads(case.path_of("plan").read_bytes())
    if saved.get("inputs") != document["inputs"]:
        return None
    found: dict[str, Any] | None = saved.get("way_out")
    return found


def find_way_out_of(
    contours: ContourSet,
    prepared: Prepared,
    plan: ResectionPlan,
    choices: Choices,
    *,
    known: dict[str, Any] | None = None,
    say: Say,
) -> dict[str, Any]:
    """Say whether, where and at what price a planned piece can be delivered.

    Parameters
    ----------
    contours : ContourSet
        Roots, skin.
    prepared : Prepared
        Anatomy and solids.
    plan : ResectionPlan
        The piece.
    choices : Choices
        Kerf and contour error.
    known : dict or None
        Handed back as it is, if given.
    say : callable
        Called before each long step; raises to stop.

    Returns
    -------
    dict
        The key ``way_out`` of plan.json.

    Raises
    ------
    InputError
        If no sac is outlined.
    """
    if known is not None:
        return known
    if plan.kind not in _WHOLE_BODIES:
        return {
            "answer": "cannot_tell",
            "words": f"The way out is not computed for the kind '{plan.kind.value}' yet.",
        }
    say("collecting what is in the way")
    settings = WayOutSettings(contour_error_mm=choices.contour_error_mm)
    room = room_of_plan(
        contours, prepared.anatomy, prepared.solids, plan, settings, choices.kerf_mm
    )
    return way_out_document(find_way_out(room.room, settings, say), room, plan.levels)
