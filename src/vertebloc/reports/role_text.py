"""What the role sheets say that stands on more than one of them: part of the catalogue."""

from __future__ import annotations

import math

from vertebloc.reports import text

CAUTIONS = (
    "A planning aid for qualified teams, not a medical device. Verify against the images. CT "
    "supine, theatre prone. Local protocol and the responsible clinician decide. Left and right "
    "are the patient's."
)
NO_SOURCE = "common practice, no source"
TO_FILL = "Empty lines are filled in by hand."
NO_DRUG = "No drug and no dose is named here: local protocol."
NOT_SAID = "not said"
TITLES = {
    "cut cards": "Cut card",
    "order of acts": "Order of acts",
    "what to do when": "What to do when",
    "anaesthetist": "Anaesthetist",
    "neurophysiologist": "Neurophysiologist",
    "theatre nurse": "Theatre nurse",
    "interventional radiologist": "Interventional radiologist: request and answer",
    "pathologist": "Pathologist",
    "radiation oncologist": "Radiation oncologist",
    "operation note": "Operation note",
}


def source_words(key: str, place: str = "", known: str = "") -> str:
    """Where a statement is from: the key in the list of sources, and how it is known here."""
    if key == "common-practice":
        return NO_SOURCE
    said = [key, place] if place else [key]
    if known.startswith("memory"):
        said.append("from memory")
    elif known == "secondary":
        said.append("as quoted elsewhere")
    return ", ".join(said)


def plan_in_short(kind: str, levels: list[str]) -> str:
    """What comes out, such as ``T10 comes out whole, in one piece``."""
    named = text.listed(levels)
    comes = "come" if len(levels) > 1 else "comes"
    if kind.startswith("whole"):
        return f"{named} {comes} out whole, in one piece"
    if kind.startswith("half"):
        return f"half of {named} {comes} out in one piece"
    return f"the arch of {named} {comes} out in one piece"


def signed(value_mm: float, plus: str, minus: str, same: str) -> str:
    """A length with its direction in words, such as ``12 mm towards the head``."""
    if abs(value_mm) < 0.5:
        return same
    return f"{abs(value_mm):.0f} mm {plus if value_mm > 0 else minus}"


def from_landmark(landmark: str, headward: float, leftward: float, deeper: float) -> str:
    """A cut's entry from one landmark."""
    parts = [
        signed(headward, "towards the head", "towards the feet", "at the same height"),
        signed(leftward, "to the patient's left", "to the patient's right", "in line with it"),
        signed(deeper, "deeper", "nearer to the skin", "at the same depth"),
    ]
    return f"{landmark}: {', '.join(parts)}."


def direction(forward: float, leftward: float, headward: float, side: str) -> str:
    """A blade's direction in words, along the diseased vertebra's own axes."""
    if abs(leftward) > abs(forward):
        to = "midline" if (leftward < 0) == (side == "left") else "side"
        base = f"across, from the {side} towards the {to}"
        return f"{base}{_tilted(headward, abs(leftward))}"
    aside = math.degrees(math.atan2(leftward, forward))
    words = "straight forward" if forward > 0 else "straight back"
    if abs(aside) >= 0.5:
        to = "left" if aside > 0 else "right"
        words = f"forward, {text.degrees(abs(aside))} to the patient's {to}"
    return f"{words}{_tilted(headward, abs(forward))}"


def _tilted(headward: float, along: float) -> str:

    tilt = math.degrees(math.atan2(headward, along))
    if abs(tilt) < 0.5:
        return ""
    return f", tip {text.degrees(abs(tilt))} towards the {'head' if tilt > 0 else 'feet'}"
