"""Can the ring be opened without tumour, and can we get round the front from behind?"""

from vertebloc.access.front import judge_front
from vertebloc.access.front_model import Front, FrontAnswer, FrontSettings
from vertebloc.access.ring import judge_ring
from vertebloc.access.ring_map import unroll_ring
from vertebloc.access.ring_model import Ring, RingMap, RingSettings
from vertebloc.access.surroundings import Surroundings, collect_surroundings

__all__ = [
    "Front",
    "FrontAnswer",
    "FrontSettings",
    "Ring",
    "RingMap",
    "RingSettings",
    "Surroundings",
    "collect_surroundings",
    "judge_front",
    "judge_ring",
    "unroll_ring",
]
