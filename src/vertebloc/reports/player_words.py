"""What the file that plays a plan says: plain words for the person, all words for teaching.

Kept in tables apart from the code, to be translated.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum
from typing import Any

from vertebloc.reports import text
from vertebloc.reports.export_words import NOT_CONFIRMED, is_confirmed


class Audience(Enum):
    """For whom a plan is played."""

    TEACHING = "teaching"  #: all words
    CONSENT = "consent"  #: plain words for the person and family


BUTTONS = {
    "play": "Play",
    "pause": "Pause",
    "back": "Back",
    "next": "On",
    "home": "As at first",
    "slider": "place in the sequence",
    "picture": "Picture of the spine. Turn it with the mouse or the arrow keys; plus and minus "
    "bring it nearer and farther; space plays; n goes on, b goes back.",
    "keys": "Turn: drag, or arrow keys. Nearer, farther: wheel, or + and -. Play: space. "
    "On, back: n, b. As at first: Home.",
    "no_picture": "This browser cannot draw the picture (it lacks WebGL). The words stand beside.",
    "bar": "20 mm",
}
VIEWS = {"behind": "From behind", "slanted": "Slanted, from behind", "side": "From the left",
         "front": "From the front", "above": "From the head"}  # fmt: skip
DIRECTIONS = {
    Audience.TEACHING: {
        "left": "patient's LEFT", "right": "patient's RIGHT", "back": "BACK", "front": "FRONT",
        "head": "HEAD", "feet": "FEET",
    },
    Audience.CONSENT: {
        "left": "the person's LEFT", "right": "the person's RIGHT", "back": "back",
        "front": "front", "head": "head", "feet": "feet",
    },
}  # fmt: skip
KEY = {
    "bone": "bone that stays",
    "piece": "bone that comes out in one piece",
    "nibbled": "bone taken away bit by bit (dotted)",
    "tumour": "tumour (striped)",
    "sac": "sac around the spinal cord and nerves",
    "vessel": "aorta, the large artery",
    "blade": "cuts",
}
KEY_PLAIN = {
    **KEY,
    "sac": "covering of the spinal cord and nerves",
    "vessel": "main artery of the body",
    "blade": "where bone is cut",
}
TITLES = {
    Audience.TEACHING: "How the diseased vertebra {level} is to be taken out in one piece",
    Audience.CONSENT: "How the operation on vertebra {level} is planned",
}
ABOUT = {
    Audience.TEACHING: "For teaching. Plan {code}. It shows a plan, not what was or will be done.",
    Audience.CONSENT: "To be looked at together with the surgeon, who explains it and answers "
    "questions. It shows a plan: in the operation things may have to be done otherwise. "
    "Plan {code}.",
}
#: Titles of the steps, by what they show.
STEP_TITLES = {
    Audience.TEACHING: {
        "spine": "Spine and tumour", "cuts": "The cuts", "nibbled": "Bone taken piecemeal",
        "piece": "The piece", "out": "The way out", "apart": "The piece, shown apart",
    },
    Audience.CONSENT: {
        "spine": "The spine and the tumour", "cuts": "Where bone is cut",
        "nibbled": "Bone that is taken away first", "piece": "What comes out in one piece",
        "out": "How the piece comes out", "apart": "The piece, lifted apart to be seen",
    },
}  # fmt: skip
APART = {
    Audience.TEACHING: "Shown apart: lifted straight back in the picture only. This is no way "
    "out; whether the piece can be turned around the sac is not shown here.",
    Audience.CONSENT: "The piece is lifted straight back here only so that it can be seen. In the "
    "operation it does not come out like this: the surgeon turns it carefully past the spinal "
    "cord.",
}
#: What the person reads at each step.
PLAIN_STEPS = {
    "spine": (
        "This is a part of the spine, seen from behind, as if the person lay face down and the "
        "head were at the top.",
        "The tumour is dark and striped. It shines through the bone in which it lies.",
        "The yellow tube is the covering of the spinal cord and nerves. It is to stay whole.",
    ),
    "cuts": ("The green planes show where the bone is to be cut.",),
    "nibbled": (
        "To open a way past the spinal cord, some healthy bone is taken away bit by bit. It is "
        "dotted and disappears.",
    ),
    "piece": (
        "The tumour is to come out in one piece, with healthy bone left around it, so that it "
        "need not be opened.",
    ),
    "out": (
        "The piece is turned and moved past the spinal cord, as it was computed for this plan.",
    ),
    "after": (
        "What is done afterwards, such as screws and a support in place of the bone, is not "
        "shown.",
    ),
}
PLAIN_OPENS = (
    "In this plan the tumour cannot be left unopened everywhere. Ask the surgeon where, why, and "
    "what is done about it."
)
PLAIN_LEFT = (
    "In this plan some of the tumour does not come out with the piece. Ask the surgeon what is "
    "done about it."
)
PLAIN_NOT_SURE = (
    "It could not be shown that there is room enough for this everywhere. Ask the surgeon what "
    "that means."
)
NO_PROMISE = "Nobody can promise that it will go as planned."


def plain_margin(margin_mm: float) -> str:
    """The thinnest healthy bone, for the person."""
    if margin_mm <= 0.0:
        return PLAIN_OPENS
    return (
        "By plan, the layer of healthy tissue between a cut and the tumour is "
        f"{text.mm(margin_mm)} at its thinnest. {NO_PROMISE}"
    )


def warnings(document: Mapping[str, Any], audience: Audience) -> tuple[str, ...]:
    """What stands first, loud: an unconfirmed level, tumour left or opened.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    audience : Audience
        For whom.

    Returns
    -------
    tuple of str
        One sentence each; none names a person.
    """
    found = [] if is_confirmed(document) else [f"{NOT_CONFIRMED}."]
    if audience is Audience.CONSENT:
        resection = document["resection"]
        found += [PLAIN_LEFT] if resection["tumour_left_ml"] > 0.0 else []
        found += [PLAIN_OPENS] if resection["contamination"] else []
        return tuple(found)
    found += [
        part["words"]
        for part in document["answer_parts"]
        if part["must_not_be_overlooked"] and part["about"] not in _NAMES_PEOPLE
    ]
    return tuple(found)


#: Sentences of the answer that may say who confirmed or drew something.
_NAMES_PEOPLE = ("level", "stale")


def teaching_steps(document: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
    """What a trainee reads at each step, from the plan's own words.

    Parameters
    ----------
    document : mapping
        Content of plan.json.

    Returns
    -------
    dict of str to tuple of str
        By step; none names a person.
    """
    resection, staging = document["resection"], document["staging"]
    sectors = [one["words"] for one in staging["sectors"] if one["involved"]]
    layers = [f"{one['words']}: {one['involved']}" for one in staging["layer_verdicts"]]
    bone = [f for f in resection["faces"] if f["kind"] == "bone"]
    soft = [f for f in resection["faces"] if f["kind"] != "bone"]
    said = {part["about"]: part["words"] for part in document["answer_parts"]}
    piecemeal = [one["part"] for one in resection["bone_fates"] if one["fate"] == "piecemeal"]
    return {
        "spine": (
            f"Tumour of {document['level']}, {text.ml(document['tumour']['volume_ml'])}, "
            f"{_side_words(document['tumour']['side'])}.",
            f"Sectors with tumour: {text.listed(sectors) or 'none'}.",
            f"Layers: {'; '.join(layers)}.",
            f"Planned: {resection['kind']}, wanted margin "
            f"{text.mm(resection['wanted_margin_mm'])}.",
        ),
        "cuts": (
            said.get("cuts", ""),
            *(
                text.joined_by_comma(
                    f"{face['name']}: {text.mm(face['margin_mm'])} to tumour", face["barrier"]
                )
                for face in bone
            ),
            said.get("distances", ""),
        ),
        "nibbled": (
            f"Taken piecemeal, so that the ring opens: {text.listed(piecemeal) or 'nothing'}.",
            text.sentence(document["ring"]["words"]) if "ring" in document else "",
        ),
        "piece": (
            f"The piece: {text.ml(resection['piece']['volume_ml'])}.",
            said.get("ribs", ""),
            *(f"{face['name']} (dissected): {text.mm(face['margin_mm'])}" for face in soft),
            text.sentence(resection["keystone"]["words"]),
        ),
        "out": (text.sentence(document["way_out"]["words"]) if "way_out" in document else "",),
        "after": (
            "In theatre the order of acts is: "
            + ", ".join(f"{one['number']} {one['act']}" for one in resection["acts"]["order"])
            + ".",
        ),
    }


def _side_words(side: str) -> str:
    """Where most of the tumour lies."""
    return f"mostly on the {side}" if side in ("left", "right") else "on both sides"
