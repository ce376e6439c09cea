"""Words on the pictures of the way out, and what is read while it plays: part of the catalogue."""

from __future__ import annotations

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


def reading(moved_mm: float, clearance_mm: float, wanted_mm: float, *, turn_deg: float) -> str:
    """What is read at one pose of the way out."""
    return (
        f"moved {text.mm(moved_mm)}, turned {text.degrees(abs(turn_deg))}: "
        f"{from_sac(clearance_mm)}; wanted there {text.mm(wanted_mm)}"
    )


def from_sac(clearance_mm: float) -> str:
    """Room at the sac; beyond what is measured it is only known to be so much or more."""
    more = " or more" if clearance_mm >= MEASURED_TO_MM else ""
    return f"{clearance_mm:.2f} mm{more} from the sac"
