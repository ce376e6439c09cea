"""What the team decides about the way out: lengths nobody measured, and what it would spare."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from vertebloc.errors import InputError

#: Smallest and largest number that can be meant; they catch a slipped decimal point.
WAY_OUT_LIMITS: Mapping[str, tuple[float, float]] = {
    "least_mm": (0.0, 20.0),
    "clear_after_mm": (1.0, 50.0),
    "tolerance_mm": (0.0, 5.0),
    "sac_motion_mm": (0.0, 10.0),
    "distraction_mm": (0.0, 30.0),
}
#: Entries of the choices file, in its order.
WAY_OUT_NAMES = (*WAY_OUT_LIMITS, "front_bridge", "roots", "spare_first")


class FrontBridge(Enum):
    """The strip of bone in front, when the team pulls the spine apart."""

    HOLDS = "holds"  #: both parts tip about it
    CUT = "cut"  #: they move apart as they stand


class RootsKept(Enum):
    """Roots that no plan may give up."""

    BY_RULE = "by rule"  #: those that move arms and legs, see ``published.way_out.KEPT_ROOTS``
    ALL = "all kept"
    NONE = "any may be given up"


class Spared(Enum):
    """What a way out costs, to be put in the order of the surgeon."""

    ROOTS = "roots"
    RIBS = "ribs"
    ARTERIES = "arteries in a row"  #: consecutive levels that lose both segmental arteries
    ROOM = "room at the sac"  #: clearance that a dearer plan would bring


@dataclass(frozen=True, slots=True, kw_only=True)
class WayOutChoice:
    """Assumed lengths of the way out, distraction, and the order of what to spare."""

    least_mm: float = 2.0  #: assumed; between piece and sac once the piece is clear of its seat
    clear_after_mm: float = 10.0  #: assumed; it is clear after moving so far
    tolerance_mm: float = 1.0  #: assumed; bone and ribs may be pressed by so much
    sac_motion_mm: float = 1.0  #: assumed; the sac moves by so much, either way
    distraction_mm: float = 0.0  #: never anything else unless the team set it
    front_bridge: FrontBridge = FrontBridge.HOLDS  #: when it is pulled, if it is
    roots: RootsKept = RootsKept.BY_RULE
    spare_first: tuple[Spared, ...] = ()  #: the dearest first; empty: not said

    def __post_init__(self) -> None:
        """Refuse lengths that cannot be meant, and an order that names something twice.

        Raises
        ------
        InputError
            Names the setting, its value and what is allowed.
        """
        for name, (low, high) in WAY_OUT_LIMITS.items():
            value = getattr(self, name)
            if not (math.isfinite(value) and low <= value <= high):
                raise InputError(f"{name} is {value:g}: use a number from {low:g} to {high:g}")
            object.__setattr__(self, name, float(value) + 0.0)
        object.__setattr__(self, "spare_first", tuple(self.spare_first))
        twice = sorted({s.value for s in self.spare_first if self.spare_first.count(s) > 1})
        if twice:
            raise InputError(f"spare_first names {twice[0]!r} twice: name each once")
