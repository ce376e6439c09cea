"""The way out with the spine pulled apart, where the team set a distraction."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from vertebloc.case.choices import Choices
from vertebloc.case.way_out_choice import FrontBridge
from vertebloc.reports.travel_scene import travel_scene
from vertebloc.resection import ResectionPlan
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.way_out import WayOut, WayOutSettings
from vertebloc.way_out.distraction import Part, Pull, pull_of_plan, pulled_room, surface_pulled
from vertebloc.way_out.obstacles import RoomOfPlan
from vertebloc.way_out.twins import find_on_either_hand
from vertebloc.way_out.with_pull import with_pull
from vertebloc.workflow.compute_plan import Prepared
from vertebloc.workflow.saying import Say


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Found:
    """The answer for a room, and for the same room pulled apart if the team asked for it."""

    way_out: WayOut
    room: RoomOfPlan
    pulled: RoomOfPlan | None = None
    pull: Pull | None = None


def find_both(
    room: RoomOfPlan,
    plan: ResectionPlan,
    prepared: Prepared,
    choices: Choices,
    settings: WayOutSettings,
    say: Say,
) -> Found:
    """Search as the spine stands, and once more pulled apart if the team set that.

    Parameters
    ----------
    room : RoomOfPlan
        As the spine stands.
    plan : ResectionPlan
        Piece and cuts.
    prepared : Prepared
        Knows the diseased vertebra.
    choices : Choices
        Distraction, and whether the bridge in front holds then.
    settings : WayOutSettings
        Of the search.
    say : callable
        Called before each long step; may raise to stop.

    Returns
    -------
    Found
        With one ledger.

    Raises
    ------
    InputError
        If the distraction is too far for a hinge; before anything is searched.
    """
    asked = choices.way_out
    if asked.distraction_mm == 0.0:
        return Found(way_out=find_on_either_hand(room.room, settings, say), room=room)
    pull = pull_of_plan(
        room,
        plan,
        prepared.anatomy.vertebrae[plan.level],
        asked.distraction_mm,
        bridge_holds=asked.front_bridge is FrontBridge.HOLDS,
    )
    pulled = pulled_room(room, plan.levels, pull, settings)
    plain = find_on_either_hand(room.room, settings, say)
    say("once more, with the spine pulled apart as the team set it")
    other = find_on_either_hand(pulled.room, settings, say)
    both = with_pull(plain, other, asked.distraction_mm)
    return Found(way_out=both, room=room, pulled=pulled, pull=pull)


def scenes_of(
    found: Found, inside: dict[str, TriangleSurface]
) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """What the way out is drawn and played from; a scene of its own where it is pulled apart.

    Parameters
    ----------
    found : Found
        From ``find_both``.
    inside : dict of str to TriangleSurface
        ``tumour`` and ``cord``; patient LPS, mm.

    Returns
    -------
    tuple of (dict, list of dict)
        The scene, under ``pulled`` the other one if there is one; and a way for each line of the
        ledger.
    """
    ledger = found.way_out.ledger
    if found.pulled is None or found.pull is None:
        return travel_scene(found.way_out, found.room, inside)
    plain = tuple(entry for entry in ledger if entry.distraction_mm == 0.0)
    scene, ways = travel_scene(replace(found.way_out, ledger=plain), found.room, inside)
    lps = found.room.lps_from_travel
    stretched = dict(inside)
    if "cord" in inside:
        cord = surface_pulled(inside["cord"].moved(lps.inverse), found.pull, Part.STRETCHED)
        stretched["cord"] = cord.moved(lps)
    apart = tuple(entry for entry in ledger if entry.distraction_mm > 0.0)
    other, more = travel_scene(replace(found.way_out, ledger=apart), found.pulled, stretched)
    return {**scene, "pulled": other}, [*ways, *({**way, "pulled": True} for way in more)]
