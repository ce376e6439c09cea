"""Roots that no plan may give up: they stand in the way whatever else goes."""

from __future__ import annotations

from dataclasses import replace

from vertebloc.anatomy.levels import Level
from vertebloc.way_out.model import Substance
from vertebloc.way_out.obstacles import RoomOfPlan


def with_roots_kept(room: RoomOfPlan, runs: tuple[tuple[Level, Level], ...] | None) -> RoomOfPlan:
    """The room with some roots not to be given up.

    Parameters
    ----------
    room : RoomOfPlan
        In which every root may be.
    runs : tuple of (Level, Level), or None
        First and last level of each run whose roots are kept; None: all are.

    Returns
    -------
    RoomOfPlan
        The same obstacles.
    """

    def is_kept(level: Level | None) -> bool:
        return runs is None or any(
            level is not None and first <= level <= last for first, last in runs
        )

    obstacles = tuple(
        replace(one, is_kept=True)
        if one.substance is Substance.ROOT and is_kept(one.level)
        else one
        for one in room.room.obstacles
    )
    return replace(room, room=replace(room.room, obstacles=obstacles))
