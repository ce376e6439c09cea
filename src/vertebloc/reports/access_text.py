"""What pages and sheets say of ring and front: part of the one catalogue."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from vertebloc.reports import text

RING_NOTE = (
    "The ring of bone about the sac, cut open in front and laid flat: the back of the patient in "
    "the middle, the body at both ends. Hatched: tumour at that angle and height, in the bone or "
    "between it and the sac; dotted: bone the plan takes piecemeal; striped dark: biopsy tract; "
    "pale plum: tumour within the error of the outlines. Teal: opening without tumour."
)
FRONT_NOTE = (
    "Cross-sections in the planes of the cuts and one between: back of the patient up, seen from "
    "the feet. Teal: way of the finger along the wall from the rib bed to the front midline; "
    "dashed: beyond its reach. Gaps are from a supine CT before dissection."
)
PENDING = "Ring and front are being measured for the plan on the screen …"
OF_THE_PLAN_BEFORE = "What stands here is of the plan before:"
CODE_PENDING = "not yet: ring and front are being measured"
REACH_TITLE = "Way along the wall, rib bed to front midline"
OPENINGS = "Openings"
LEAST = "Least contaminated opening"
RULES = "What the published rules say"
NEAREST = "What lies on the way"
STAGE = "Stage before"
NOT_OUTLINED = "not outlined"
BEFORE = "Surgery or radiation in front before"
BEFORE_NOT_SAID = "Surgery or radiation in front before: not said. Say it on this page."
FIELDS = {
    "finger_reach": "finger reach along the wall, mm",
    "before": "surgery or radiation in front before",
    "release": "front freed in a stage before",
}
RING_CHANGED, FRONT_CHANGED = "ring", "front"
RING_HEADINGS = ("side", "answer", "where", "width", "sac")
FRONT_HEADINGS = ("plane", "side", "way", "answer", "nearest")
LEFT_SIDE, RIGHT_SIDE = "patient's LEFT", "patient's RIGHT"
BODY, SAC_WORD = "body", "sac"
RING_PARTS = ("pedicle", "lamina", "midline", "lamina", "pedicle")
#: middles of those parts, degrees from the back, positive to the left
RING_PARTS_DEG = (105.0, 50.0, 0.0, -50.0, -105.0)
OPENING, LEAST_WORD, NO_OPENING = "opening", "least contaminated", "no tumour-free opening"
HEIGHT_SCALE = "10 mm"


def verdict_alone(said: str, page: str) -> str:
    """The first clause of an answer, and the page that tells the rest.

    Parameters
    ----------
    said : str
        Begins with the verdict, up to a colon or a full stop.
    page : str
        Its question.

    Returns
    -------
    str
        One sentence.
    """
    verdict = re.split(r":\s|\.\s|\.$", said, maxsplit=1)[0]
    return f"{verdict}: see \u201c{page}\u201d"


def ring_sentence(ring: Mapping[str, Any]) -> str:
    """Where the ring can be opened, in one or two sentences.

    Parameters
    ----------
    ring : mapping
        ``ring`` of plan.json.

    Returns
    -------
    str
        The answer first.
    """
    said = {
        "yes": "The ring can be opened without tumour",
        "no": "The ring cannot be opened without tumour",
        "cannot_tell": "Whether the ring can be opened without tumour cannot be told",
    }[ring["answer"]]
    if ring["answer"] == "yes" and ring["asked"] == "an opening for the sac":
        free = [o for o in ring["openings"] if o["answer"] == "yes" and o["side"] in _SIDES]
        return text.sentence(f"{said}: {'; or '.join(map(opening_words, free))}")
    least = ring.get("least_contaminated")
    if least is None or ring["answer"] == "yes":
        return text.sentence(f"{said}: {ring['decided_by']}")
    if ring["answer"] == "cannot_tell" and least["tumour_crossed_mm2"] == 0.0:
        return text.sentence(
            f"{said}: {ring['decided_by']}. Planned margin there: {least['margin_class']}"
        )
    return (
        f"{text.sentence(said)} Least contaminated opening: on the {least['side']}, "
        f"{least['place']}, {square_mm(least['tumour_crossed_mm2'])} crossed in all; planned "
        f"margin there: {least['margin_class']}."
    )


_SIDES = ("left", "right")


def opening_words(opening: Mapping[str, Any]) -> str:
    """One opening: side, place, width against the sac.

    Parameters
    ----------
    opening : mapping
        One of ``ring.openings``.

    Returns
    -------
    str
        One phrase.
    """
    return f"on the {opening['side']}, {opening['words']}, {width_words(opening)}"


def width_words(opening: Mapping[str, Any]) -> str:
    """The width of an opening against the sac.

    Parameters
    ----------
    opening : mapping
        One of ``ring.openings``.

    Returns
    -------
    str
        One phrase; empty if there is no gap.
    """
    if "sac_mm" not in opening:
        return ""
    sac = text.mm(opening["sac_mm"])
    if opening["nothing_in_the_way"]:
        return f"nothing left in the way of the sac ({sac} wide)" if opening["sac_mm"] else "free"
    return f"{text.mm(opening['width_mm'])} wide, the sac is {sac}"


def square_mm(area_mm2: float) -> str:
    """An area of tumour."""
    return f"{area_mm2:.0f} mm² of tumour"


def front_sentence(front: Mapping[str, Any]) -> str:
    """Whether the front can be got round, in one or two sentences.

    Parameters
    ----------
    front : mapping
        ``front`` of plan.json.

    Returns
    -------
    str
        The answer first.
    """
    said = {
        "posterior_alone": "The front can be got round from behind alone",
        "release_the_front_first": "Release the front first, in a stage of its own",
        "cannot_tell": "Whether the front can be got round from behind cannot be told",
    }[front["answer"]]
    words = text.sentence(f"{said}: {front['decided_by']}")
    if front["would_settle"]:
        words += " " + text.sentence(f"To settle it: {front['would_settle']}")
    if front.get("stage", {}).get("chosen"):
        words += " The team plans to release it in a stage before."
    return words


def between_sentence(planes: Sequence[Mapping[str, Any]]) -> str:
    """That tumour beside the body lengthens the way between the cuts.

    Parameters
    ----------
    planes : sequence of mapping
        ``front.planes`` of plan.json.

    Returns
    -------
    str
        Empty if the way between the cuts is not much longer than at them.
    """
    said = []
    for side in _SIDES:
        mine = [one for one in planes if one["side"] == side]
        cuts = [one["wall_mm"] for one in mine if one["is_cut"]]
        between = [one["wall_mm"] for one in mine if not one["is_cut"]]
        if cuts and between and max(between) > max(cuts) + 10.0:
            said.append(f"{text.mm(max(between))} on the {side}")
    if not said:
        return ""
    return text.sentence(
        f"Between the cuts tumour beside the body makes the way longer, {' and '.join(said)}: "
        "go round it under sight"
    )


def way_row(plane: Mapping[str, Any]) -> tuple[str, str]:
    """One plane's way along the wall, as a row."""
    return f"{plane['plane']}, {plane['side']}", text.mm(plane["wall_mm"])


def answer_words(answer: str) -> str:
    """An answer as people read it."""
    return answer.replace("_", " ")


def gap_words(structure: Mapping[str, Any]) -> str:
    """Gap and contact of one structure."""
    said = f"{structure['name']} {text.mm(structure['gap_mm'])}"
    if structure.get("tumour_contact_deg", 0.0) > 0.0:
        said += f", tumour on {structure['tumour_contact_deg']:.0f} degrees of it"
    return said


def stage_words(stage: Mapping[str, Any]) -> str:
    """The stage in front, in a sentence."""
    return text.sentence(
        f"{stage['approach']}: {'; '.join(stage['acts'])}. Frees: {', '.join(stage['frees'])}"
    )


def opening_row(opening: Mapping[str, Any]) -> str:
    """Answer and width of one opening, for a row."""
    return text.joined_by_dot(answer_words(opening["answer"]), short_width(opening))


def short_width(opening: Mapping[str, Any]) -> str:
    """The width against the sac in few words."""
    if "sac_mm" not in opening:
        return ""
    if opening["nothing_in_the_way"]:
        return "nothing in the way"
    return f"{text.mm(opening['width_mm'])}, sac {text.mm(opening['sac_mm'])}"


def least_rows(least: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """The least contaminated opening, as rows."""
    return (
        ("side", least["side"]),
        ("tumour crossed", f"{least['tumour_crossed_mm2']:.0f} mm²"),
        ("tumour between its banks", text.percent(least["area_fraction"])),
        ("planned margin", least["margin_class"]),
    )


def about_the_sac(ring: Mapping[str, Any]) -> str:
    """Which outline the sac's size comes from."""
    if ring["sac_is_outlined"]:
        return text.sentence(f"Angles about the {ring['angles_about']}")
    return text.sentence(
        f"The sac is not outlined: the {ring['sac_size_from']} stands for it; the sac is no wider "
        "than the bony canal"
    )


def nearest_rows(planes: Sequence[Mapping[str, Any]]) -> tuple[tuple[str, str], ...]:
    """Each structure where it lies nearest to the wall: its gap, and tumour on it."""
    found: dict[str, Mapping[str, Any]] = {}
    held: dict[str, float] = {}
    for plane in planes:
        for one in plane["structures"]:
            name = one["name"]
            if name not in found or one["gap_mm"] < found[name]["gap_mm"]:
                found[name] = one
            held[name] = max(held.get(name, 0.0), one.get("tumour_contact_deg", 0.0))
    order = sorted(found.values(), key=lambda one: one["gap_mm"])
    return tuple((one["name"], _gap_row(one["gap_mm"], held[one["name"]])) for one in order)


def _gap_row(gap_mm: float, held_deg: float) -> str:
    return text.mm(gap_mm) + (f", tumour on {held_deg:.0f}°" if held_deg >= 0.5 else "")


def assumed_reach(reach_mm: float) -> str:
    """The finger's reach as a setting."""
    return (
        f"Finger reach {text.whole_mm(reach_mm)} along the wall from the rib bed (assumed: a "
        "setting of the team)."
    )


def absent(names: Sequence[str]) -> str:
    """Structures that nobody outlined."""
    return f"Not outlined, so not looked at: {', '.join(names)}."


def side_and_way(side: str, length_mm: float) -> str:
    """Below a cross-section: whose side, and how long the way is there."""
    return f"{side.upper()} {text.whole_mm(length_mm)}"


def reach_of(reach_mm: float) -> str:
    """Below it: how far a finger reaches."""
    return f"reach {text.whole_mm(reach_mm)}"
