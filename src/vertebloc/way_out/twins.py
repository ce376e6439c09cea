"""The same answer for a patient and the mirror twin: both are searched as the same one of the two.

A search on a lattice breaks ties and betters ways in an order of its own, which prefers a side.
So a room whose sac lies to the left is mirrored before it is searched, and its answer after.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import replace

import numpy as np

from vertebloc.space.surfaces import TriangleSurface
from vertebloc.way_out.answer import Entry, WayOut, find_way_out
from vertebloc.way_out.model import Obstacle, Path, Room, WayOutSettings
from vertebloc.way_out.tilting import Tilted

_FLIP = np.array([-1.0, 1.0, 1.0])
_OTHER = {"left": "right", "right": "left"}


def find_on_either_hand(
    room: Room, settings: WayOutSettings, say: Callable[[str], None]
) -> WayOut:
    """Say whether the piece can be delivered, so that a twin gets the mirrored answer.

    Parameters
    ----------
    room : Room
        Piece and obstacles.
    settings : WayOutSettings
        Lengths.
    say : callable
        Called before each long step, with sides as they are; it may raise to stop.

    Returns
    -------
    WayOut
        As ``find_way_out`` gives it.
    """
    if room.sac_middle_mm[0] <= 0.0:
        return find_way_out(room, settings, say)
    found = find_way_out(mirrored_room(room), settings, lambda step: say(other_side(step)))
    return mirrored_answer(found)


def other_side(words: str) -> str:
    """Words with left and right changed over.

    Parameters
    ----------
    words : str
        Such as ``left T10 root``.

    Returns
    -------
    str
        Such as ``right T10 root``.
    """
    return re.sub(r"\b(left|right)\b", lambda found: _OTHER[found[0]], words)


def mirrored_room(room: Room) -> Room:
    """A room behind a looking glass.

    Parameters
    ----------
    room : Room
        x towards the left.

    Returns
    -------
    Room
        x becomes -x, left and right change over in every name.
    """
    low, high = room.x_mm
    return replace(
        room,
        piece=_surface(room.piece),
        sac=_surface(room.sac),
        obstacles=tuple(_obstacle(one) for one in room.obstacles),
        x_mm=(-high, -low),
        sac_middle_mm=(-room.sac_middle_mm[0], room.sac_middle_mm[1]),
    )


def mirrored_answer(found: WayOut) -> WayOut:
    """The answer for the room on this side of the looking glass.

    Parameters
    ----------
    found : WayOut
        For the mirrored room.

    Returns
    -------
    WayOut
        Sides, names and ways changed over; its ledger begins with the left again.
    """
    entries = {entry: _entry(entry) for entry in found.ledger}
    exact = found.exact
    if exact is not None:
        exact = replace(
            exact,
            most_above_mm={other_side(n): v for n, v in exact.most_above_mm.items()},
            most_below_mm={other_side(n): v for n, v in exact.most_below_mm.items()},
        )
    return replace(
        found,
        side=found.side.other if found.side else None,
        best=entries[found.best],
        ledger=tuple(sorted(entries.values(), key=lambda entry: -entry.side.sign)),
        exact=exact,
        tilted=None if found.tilted is None else _tilted(found.tilted),
    )


def _tilted(tilted: Tilted) -> Tilted:
    """Poses with tilts, changed over as ``_path`` does."""
    return replace(tilted, way=tilted.way * [-1.0, 1.0, -1.0, 1.0, -1.0, 1.0])


def _surface(surface: TriangleSurface) -> TriangleSurface:
    return TriangleSurface(surface.vertices * _FLIP, surface.triangles[:, ::-1])


def _obstacle(obstacle: Obstacle) -> Obstacle:
    here = replace(
        obstacle,
        name=other_side(obstacle.name),
        sacrifice=None if obstacle.sacrifice is None else other_side(obstacle.sacrifice),
        part_of=None if obstacle.part_of is None else other_side(obstacle.part_of),
    )
    if obstacle.surface is not None:
        return replace(here, surface=_surface(obstacle.surface))
    assert obstacle.line is not None
    return replace(here, line=obstacle.line * _FLIP)


def _names(names: Iterable[str]) -> tuple[str, ...]:
    return tuple(map(other_side, names))


def _entry(entry: Entry) -> Entry:
    return replace(
        entry,
        side=entry.side.other,
        given_up=frozenset(_names(entry.given_up)),
        blocking=_names(entry.blocking),
        decided_by=_names(entry.decided_by),
        path=None if entry.path is None else _path(entry.path),
    )


def _path(path: Path) -> Path:
    """Turns about axes in the looking glass change their sense, that about its normal does not."""
    return replace(path, poses=path.poses * [-1.0, 1.0, -1.0], tilts=path.tilts * [1.0, -1.0, 1.0])
