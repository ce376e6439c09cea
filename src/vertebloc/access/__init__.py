"""Can the ring be opened without tumour, and can we get round the front from behind?"""

from vertebloc.access.front import (
    front_not_measured,
    judge_front,
    judge_stations,
    measure_station,
)
from vertebloc.access.front_model import Front, FrontAnswer, FrontSettings
from vertebloc.access.ring import judge_ring, ring_not_measured
from vertebloc.access.ring_map import unroll_ring
from vertebloc.access.ring_model import Ring, RingMap, RingSettings, UnmeasuredRing
from vertebloc.access.surroundings import Surroundings, collect_surroundings
from vertebloc.access.unmeasured import BREAKS_OFF, Unmeasured

__all__ = [
    "BREAKS_OFF",
    "Front",
    "FrontAnswer",
    "FrontSettings",
    "Ring",
    "RingMap",
    "RingSettings",
    "Surroundings",
    "Unmeasured",
    "UnmeasuredRing",
    "collect_surroundings",
    "front_not_measured",
    "judge_front",
    "judge_ring",
    "judge_stations",
    "measure_station",
    "ring_not_measured",
    "unroll_ring",
]
