"""Words on the pictures of the way out, and what is read while it plays: part of the catalogue."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from vertebloc.reports import text
from vertebloc.reports.way_out_text import GIVEN_UP
from vertebloc.way_out.clearances import CLIP_MM

#: Distances are measured up to here; what is farther away is as good.
MEASURED_TO_MM = CLIP_MM
MOMENTS = "Six moments of the way out"
MOMENTS_NOTE = (
    "Seen from the feet, back of the patient up, in the plane of travel; cut at the height of the "
    "place that decides. Thin lines: the piece at other heights; dashed: given up; ring: where "
    "piece and sac are nearest at that moment."
)
PLANE = "The way out in the plane of travel, seen from the feet, back up"
CURVE = "Room at the sac along the way out"
CURVE_AXES = "mm at the sac: whole line, room; dashed, what is wanted there"
UPPER_ENDS = "the ends at best are of moves in the plane"
TILTS_IN_VAIN = (
    "Tilting the piece and shifting it along the spine gained less than 0.1 mm there, as far as "
    f"was tried; {UPPER_ENDS}."
)
TILTS_OF_ANOTHER = (
    f"Tilts were tried for the plan that the search chose, not for this one; {UPPER_ENDS}."
)
TILTED_NOTE = "Tilted on its way: the piece's outlines are carried along."
_SAID_FROM = 0.05  #: mm and degrees: less is written as 0.0
EDGE_OF_WOUND = "edge of the wound"
AT_REST = "at rest"
#: Words of the picture that plays the way out.
PLAYER = {
    "play": "play",
    "pause": "pause",
    "slow": "slow motion",
    "rest": "at rest",
    "narrowest": "the narrowest",
    "back": "step back",
    "on": "step on",
    "where": "along the way out",
    "loading": "fetching the way out",
    "behind": "from behind",
    "across": "from the feet",
    "way": "which plan of the ledger",
    "none": "no way was found for this plan: the piece is shown at rest",
    "keys": "arrow keys step, space plays",
    "stand": "you stand here",
}


def moment_words(
    number: int, moved_mm: float, clearance_mm: float, *, decides: bool
) -> tuple[str, str]:
    """Two lines under one moment of the way out."""
    mark = ", decides" if decides else ""
    return f"{number}  moved {text.whole_mm(moved_mm)}{mark}", from_sac(clearance_mm)


def gone(name: str) -> str:
    """Something that is given up, on a picture."""
    return f"{name}: {GIVEN_UP}"


def narrowest(clearance_mm: float) -> str:
    """The place that decides, on the curve."""
    return f"decides: {text.mm(clearance_mm)}"


def outside_after(length: str) -> str:
    """The end of the curve."""
    return f"out of the wound, after {length} of travel"


def reading(
    moved_mm: float,
    clearance_mm: float,
    wanted_mm: float,
    *,
    turn_deg: float,
    leaned: tuple[float, float] = (0.0, 0.0),
) -> str:
    """What is read at one pose of the way out; ``leaned``: its tilt, degrees, and lift, mm."""
    tilt_deg, lift_mm = leaned
    tilted = f", tilted {text.degrees(tilt_deg)}" if tilt_deg >= _SAID_FROM else ""
    lifted = ""
    if abs(lift_mm) >= _SAID_FROM:
        lifted = f", {text.mm(abs(lift_mm))} to the {'head' if lift_mm > 0.0 else 'feet'}"
    return (
        f"moved {text.mm(moved_mm)}, turned {text.degrees(abs(turn_deg))}{tilted}{lifted}: "
        f"{from_sac(clearance_mm)}; wanted there {text.mm(wanted_mm)}"
    )


def tilted_sentence(way_out: Mapping[str, Any]) -> str:
    """What tilts and lifts gained in room at the sac.

    Parameters
    ----------
    way_out : mapping
        ``way_out`` of plan.json.

    Returns
    -------
    str
        One sentence; empty where no way was found, or nothing was written of it.
    """
    tilted = way_out.get("tilted")  # a plan from before, printed as out of date, tells none
    if tilted is None:
        return ""
    if isinstance(tilted, str):
        return TILTS_OF_ANOTHER
    gained_mm = int(10.0 * tilted["gained_mm"] + 1e-9) / 10.0  # rounded down: never a promise
    if gained_mm == 0.0:
        return TILTS_IN_VAIN
    when = "with all errors against it" if tilted["against_errors"] else "outlines as they are"
    return (
        f"Tilting the piece by up to {text.degrees(tilted['most_tilt_deg'])} and shifting it "
        f"along the spine by up to {text.mm(tilted['most_lift_mm'])} gains "
        f"{text.mm(gained_mm)} there, {when}; {UPPER_ENDS}."
    )


def from_sac(clearance_mm: float) -> str:
    """Room at the sac; beyond what is measured it is only known to be so much or more."""
    more = " or more" if clearance_mm >= MEASURED_TO_MM else ""
    return f"{clearance_mm:.2f} mm{more} from the sac"
