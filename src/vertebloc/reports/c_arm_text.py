"""What pages, sheets and pictures say of the C-arm: part of the one catalogue."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vertebloc.reports import text
from vertebloc.space.frames import Side

PREDICTED = "PREDICTED"
PREDICTED_FROM_CT = "PREDICTED from a supine CT: not a real picture"
FROM_BEHIND, FROM_SIDE = "from behind", "from the side"
STRAIGHT = "straight"
STRIP = "Level strip"
HOW_TO_SET = "How to set the C-arm"
WHICH_VIEW = "which view"
CUTS_AS_LINES = "Where each cut is a line"
HEADINGS = ("cut", "view, detector end", "other bone", "central ray")
NOT_YET = "The pictures are being predicted"
CAUTION = (
    "Predicted from a CT taken supine. Prone, the spine may lie otherwise by some degrees: start "
    "from these angles, then turn until the endplates beside the cut are lines. The real picture "
    "and the count in theatre decide; the prediction confirms no level."
)
NO_SCATTER = (
    "One energy, no scatter: a real picture has less contrast. Table, drapes and other "
    "instruments are not in it."
)
MARKS_NOTE = (
    "Bright line: the blade's line of a half cut from its entry to the far cortex, with the "
    "outline of its face; bar across: where first passes stop; arrow: a needle held as the blade, "
    "its tip at the entry; where the cut is a line the needle is in the picture too, of steel, 80 "
    "mm long and 2 mm thick (assumed). Each picture is turned as theatre sees it, never mirrored."
)
BAND_OFF_DEG = 5.0
UNCONFIRMED = "That is by the outlines: the level is UNCONFIRMED."
STRAIGHT_BELOW_DEG = 0.5  #: assumed: what nobody can set on a C-arm's scale


def end_words(beam: str, straight: NDArray[np.float64], towards: NDArray[np.float64]) -> str:
    """How the detector end leaves its straight place, in theatre's words.

    Parameters
    ----------
    beam : str
        ``from behind`` or ``from the side``.
    straight, towards : (3,) float64
        Unit vectors to the detector in the straight view and in this one, patient LPS.

    Returns
    -------
    str
        ``straight``, or such as ``6.8 degrees towards the FEET``.
    """
    lift = float(np.degrees(np.arcsin(towards[2])))
    flat = np.array([towards[0], towards[1], 0.0]) / np.hypot(towards[0], towards[1])
    turn = float(np.degrees(np.arccos(np.clip(flat @ straight, -1.0, 1.0))))
    said = []
    if abs(lift) >= STRAIGHT_BELOW_DEG:
        said.append(f"{text.degrees(abs(lift))} towards the {'HEAD' if lift > 0 else 'FEET'}")
    if turn >= STRAIGHT_BELOW_DEG:
        if beam == FROM_BEHIND:
            where = f"the patient's {'LEFT' if flat[0] > 0 else 'RIGHT'}"
        else:
            where = "the BACK (up)" if flat[1] > 0 else "the FRONT (down)"
        said.append(f"{text.degrees(turn)} towards {where}")
    return " and ".join(said) or STRAIGHT


def base_words(beam: str, detector_side: Side) -> str:
    """The C-arm's straight place, and on which side the tube is."""
    if beam == FROM_BEHIND:
        return "C-arm as for a view from behind: tube below the table, detector above the back"
    return (
        "C-arm as for a view from the side: detector at the patient's "
        f"{detector_side.value.upper()}, tube at the patient's {detector_side.other.value.upper()}"
    )


def aim_words(beam: str, offset: NDArray[np.float64], level: str) -> str:
    """Where the central ray runs, in cm from the middle of the diseased vertebra's body.

    Parameters
    ----------
    beam : str
        ``from behind`` or ``from the side``: only what is seen across the beam is told.
    offset : (3,) float64, mm
        Aim less that middle, patient LPS.
    level : str
        Its name.

    Returns
    -------
    str
        Such as ``1.7 cm towards the head of the middle of T10``.
    """
    across = (0, "to the patient's left", "to the patient's right")
    if beam != FROM_BEHIND:
        across = (1, "towards the back (up)", "towards the front (down)")
    said = []
    for axis, plus, minus in ((2, "towards the head", "towards the feet"), across):
        cm = float(offset[axis]) / 10.0
        if abs(cm) >= 0.05:
            said.append(f"{abs(cm):.1f} cm {plus if cm > 0 else minus}")
    where = f"the middle of {level}"
    return f"{' and '.join(said)} of {where}" if said else f"on {where}"


def distance_words(source_object_mm: float, source_detector_mm: float, *, said: bool) -> str:
    """How far tube and detector stand from the spine, in cm; whether the team said so.

    Parameters
    ----------
    source_object_mm, source_detector_mm : float, mm
        From the tube's focus.
    said : bool
        Whether both are the team's own.

    Returns
    -------
    str
        Such as ``Tube 60 cm from the spine, detector 40 cm (assumed)``.
    """
    beyond = source_detector_mm - source_object_mm
    return (
        f"Tube {_cm(source_object_mm)} from the spine, detector {_cm(beyond)}"
        f"{'' if said else ' (assumed)'}"
    )


def _cm(length_mm: float) -> str:
    return f"{length_mm / 10.0:.1f}".removesuffix(".0") + " cm"


def how_words(base: str, end: str, distances: str, aim: str, angles_deg: Sequence[float]) -> str:
    """The whole setting in sentences."""
    moved = "Straight" if end == STRAIGHT else f"Detector end {end}"
    return (
        f"{base}. {moved}. {distances}. Central ray {aim}. Positioner angles as DICOM counts "
        f"them: primary {_signed(angles_deg[0])}, secondary {_signed(angles_deg[1])} degrees."
    )


#: On the page: what the team can say of its own machine, by its name in the choices.
OWN_C_ARM = "Your C-arm"
OWN_NOTE = (
    "0: nobody said it, a usual C-arm is assumed. Read your own from its papers; the tube's place "
    "is its focus."
)
OWN_FIELDS = {
    "c_arm_source_detector_cm": "tube to detector, cm",
    "c_arm_source_object_cm": "tube to spine, cm",
    "c_arm_detector_cm": "side of the detector, cm",
    "c_arm_pixel_mm": "pixel of the detector, mm",
}


def _signed(angle_deg: float) -> str:
    shown = round(angle_deg, 1) + 0.0
    return f"{shown:+.1f}" if shown else "0"


def bone_words(mean_mm: float) -> str:
    """Other bone on the rays of a cut."""
    return "none" if mean_mm < 0.5 else text.whole_mm(mean_mm)


def answer_words(c_arm: Mapping[str, Any]) -> str:
    """The answer of the page: where cuts are lines, and what being off does.

    Parameters
    ----------
    c_arm : mapping
        ``c_arm`` of plan.json.

    Returns
    -------
    str
        One to three sentences.
    """
    cuts = c_arm["cuts"]
    if not cuts:
        return "No cut to be seen: the plan has none."
    by_setting: dict[tuple[str, str], list[str]] = {}
    hidden = [one["cut"] for one in cuts if not one["views"]]
    for one in cuts:
        for view in one["views"]:
            by_setting.setdefault((view["beam"], view["end"]), []).append(one["cut"])
    said = []
    for (beam, end), names in by_setting.items():
        told = [text.the(name) for name in together_words(names)]
        setting = "C-arm straight" if end == STRAIGHT else f"detector end {end}"
        are = "is a line" if len(told) == 1 else "are lines"
        said.append(f"{beam}, {setting}, {text.listed(told)} {are}")
    words = text.sentence("; ".join(said))
    if hidden:
        words += " " + text.sentence(f"No view shows as a line: {text.listed(hidden)}")
    wide = max((view["band_mm"] for one in cuts for view in one["views"]), default=0.0)
    return words + (
        f" {BAND_OFF_DEG:.0f} degrees off, a line becomes a band up to {text.mm(wide)} wide."
    )


def together_words(names: Sequence[str]) -> list[str]:
    """Names of half cuts, both halves of one cut told as that cut."""
    found: list[str] = []
    for name in names:
        whole = name.split(" half of the ", 1)[-1]
        halves = [f"{side} half of the {whole}" for side in ("left", "right")]
        told = whole if all(half in names for half in halves) else name
        if told not in found:
            found.append(told)
    return found


def strip_words(strip: Mapping[str, Any], level: str) -> str:
    """The level strip, or why there is none."""
    if strip["why_not"]:
        return text.sentence(f"No level strip: {strip['why_not']}")
    number = strip["views"][-1]["vertebrae"][-1]["number"]
    count = len(strip["views"])
    words = text.sentence(
        f"Level strip of {count} picture{'s' if count > 1 else ''} from the "
        f"{strip['counted_from']}: {level} is number {number}"
    )
    return words if strip["level_confirmed"] else f"{words} {UNCONFIRMED}"


def strip_setting(c_arm: Mapping[str, Any], level: str) -> str:
    """How the C-arm is set to count the level, for whoever sets it.

    Parameters
    ----------
    c_arm : mapping
        ``c_arm`` of plan.json.
    level : str
        The diseased vertebra's name.

    Returns
    -------
    str
        Where it stands, and of each picture its central ray and its count; or why there is none.
    """
    strip = c_arm["strip"]
    if strip["why_not"]:
        return strip_words(strip, level)
    base = c_arm["straight"][0]["how"].split(". ", maxsplit=1)[0]
    pictures = "; ".join(
        f"{strip_picture(place)}: central ray {one['central_ray']}, "
        f"{counted_row(one['vertebrae'])}"
        for place, one in enumerate(strip["views"], start=1)
    )
    unsure = "" if strip["level_confirmed"] else f" {UNCONFIRMED}"
    return f"To count from the {strip['counted_from']}: {base}. {text.sentence(pictures)}{unsure}"


def cut_sentence(one: Mapping[str, Any]) -> str:
    """What the C-arm shows of one half cut, for its card.

    Parameters
    ----------
    one : mapping
        One of ``c_arm.cuts`` of plan.json.

    Returns
    -------
    str
        Of each view that shows it as a line, first where depth can be read; else why none does.
    """
    if not one["views"]:
        why = "; ".join(f"{miss['beam']}: {miss['why']}" for miss in one["not_seen"])
        return text.sentence(f"No view shows this cut as a line ({why})")
    return "Predicted: " + " ".join(
        _seen_words(one, view, first=n == 0) for n, view in enumerate(one["views"])
    )


def _seen_words(one: Mapping[str, Any], view: Mapping[str, Any], *, first: bool) -> str:
    """One view of a half cut in a sentence."""
    end = "C-arm straight" if view["end"] == STRAIGHT else f"detector end {view['end']}"
    beam = view["beam"] if first else view["beam"].capitalize()
    said = f"{beam}, {end}, this cut is a line"
    if not view["shows_depth"]:
        said += ", its depth cannot be seen"
    elif one["stop_mm"] > 0.0:
        said += (
            f"; first passes stop {text.mm(one['stop_mm'])} from the entry, of "
            f"{text.mm(one['deep_mm'])} to the far cortex"
        )
    return f"{said}; other bone in the way: {bone_words(view['bone_in_way_mm'])}."


def view_name(beam: str, cuts: Sequence[str], place: int, count: int) -> str:
    """What a picture is called."""
    if place:
        return f"{STRIP}, picture {place} of {count}"
    if not cuts:
        return f"{beam[:1].upper()}{beam[1:]}, {STRAIGHT}"
    said = text.listed(together_words(cuts))
    return f"{said[:1].upper()}{said[1:]} as a line, {beam}"


def pictured(level: str, number: int) -> str:
    """A vertebra's name, with the number that theatre says at it."""
    return f"{level} · {number}" if number else level


def counted_row(vertebrae: Sequence[Mapping[str, Any]]) -> str:
    """The vertebrae of one picture of the strip."""
    return ", ".join(f"{one['level']} is {one['number']}" for one in vertebrae)


SCALE = "20 mm at the spine"
ROWS_NOTE = "First where depth can be read, then the least other bone in the way."
NO_DEPTH = "The blade runs along the beam here: its depth cannot be read."
ANEW = "being predicted anew: this picture is of the plan before"
PREDICTING = "predicting what the C-arm will show"


def line_rows(cuts: Sequence[Mapping[str, Any]]) -> tuple[tuple[str, str], ...]:
    """Where each cut is a line, in few words; halves that are seen alike told together."""
    by_setting: dict[str, list[str]] = {}
    for one in cuts:
        said = [f"{view['beam'].rsplit(' ', 1)[-1]} {short(view['end'])}" for view in one["views"]]
        by_setting.setdefault("; ".join(said) or "nowhere", []).append(one["cut"])
    return tuple(
        (name, said) for said, names in by_setting.items() for name in together_words(names)
    )


def strip_picture(place: int) -> str:
    """One picture of the level strip."""
    return f"picture {place}"


def bone_row(mean_mm: float, worst_mm: float) -> str:
    """Other bone on the rays, mean and most."""
    if worst_mm < 0.5:
        return "No other bone in the way."
    return f"Other bone in the way: {text.whole_mm(mean_mm)}, at most {text.whole_mm(worst_mm)}."


def strip_name(count: int) -> str:
    """The level strip, with how many pictures it has."""
    return f"{STRIP}, {count} picture{'s' if count > 1 else ''}"


def short(words: str) -> str:
    """A setting or a place in fewer words, for tables."""
    for long, few in (
        (" degrees", "°"),
        ("towards the ", "to "),
        ("to the patient's ", "to "),
        (" of the middle of ", " of "),
    ):
        words = words.replace(long, few)
    return words


def title_and_setting(beam: str, cuts: Sequence[str], name: str, end: str) -> tuple[str, str]:
    """The two lines above a picture: what it is, and how the detector end is set."""
    set_to = "C-arm straight" if end == STRAIGHT else f"detector end {short(end)}"
    if not cuts:
        return name, f"{set_to[:1].upper()}{set_to[1:]}"
    return name.removesuffix(f", {beam}"), f"{beam[:1].upper()}{beam[1:]}, {set_to}"
