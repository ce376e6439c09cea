"""The room once the front was freed in a stage before: vessels are away, and there is room."""

from __future__ import annotations

from dataclasses import replace

from vertebloc.way_out.model import Substance, WayOutSettings
from vertebloc.way_out.obstacles import RoomOfPlan

#: With vessels held away in front, the piece may go forward so far (assumed).
FORWARD_MM = 45.0
ASSUMPTION = (
    "the stage before has freed the vessels in front and they are held clear of the piece, which "
    f"may go {FORWARD_MM:.0f} mm forward (assumed)"
)


def settings_freed(settings: WayOutSettings) -> WayOutSettings:
    """The settings of a search once the front was freed.

    Parameters
    ----------
    settings : WayOutSettings
        From behind alone.

    Returns
    -------
    WayOutSettings
        With more room in front.
    """
    return replace(settings, forward_mm=max(settings.forward_mm, FORWARD_MM))


def with_front_freed(room: RoomOfPlan, settings: WayOutSettings) -> RoomOfPlan:
    """The room without the vessels in front.

    Parameters
    ----------
    room : RoomOfPlan
        From behind alone.
    settings : WayOutSettings
        From ``settings_freed``.

    Returns
    -------
    RoomOfPlan
        The piece may go as far forward as the settings say.
    """
    own = room.room
    obstacles = tuple(o for o in own.obstacles if o.substance is not Substance.VESSEL)
    y_mm = (min(own.y_mm[0], -settings.forward_mm), own.y_mm[1])
    return replace(room, room=replace(own, obstacles=obstacles, y_mm=y_mm), front_freed=True)
