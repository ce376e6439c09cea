"""Once free, can the piece be turned round the cord and delivered, on which side, at what price?

A lattice of poses in the mid-plane of the two cuts is measured against every obstacle once. Each
scenario (a side, and what is given up) is then a widest path over stored clearances, between a
way that was looked at closely (lower end) and what no way can better (upper end). A "no" is
proven for a stated family of moves; the obstacles that shut every way together are named.
"""

from vertebloc.way_out.answer import WayOut, find_way_out
from vertebloc.way_out.model import (
    Answer,
    Bracket,
    Obstacle,
    Room,
    Scenario,
    Substance,
    WayOutSettings,
)
from vertebloc.way_out.search import Search, make_search

__all__ = [
    "Answer",
    "Bracket",
    "Obstacle",
    "Room",
    "Scenario",
    "Search",
    "Substance",
    "WayOut",
    "WayOutSettings",
    "find_way_out",
    "make_search",
]
