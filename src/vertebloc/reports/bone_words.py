"""Words of the card that says which bone comes out, and how."""

from __future__ import annotations

from vertebloc.resection.arch_presets import PRESETS_SOURCE

HEAD, FEET = "HEAD", "FEET"
LEFT, RIGHT = "patient's LEFT", "patient's RIGHT"
BONE = "What happens to the bone"
BONE_NOTE = (
    "Choose a fate, then click or sweep over the parts; with the keyboard, Tab to a part and "
    "press Enter. The drawing says where a part lies, not how large it is. A preset never has "
    "bone nibbled away that the tumour wants kept whole."
)
TIPS = "the next parts shall be"
FATE_WORDS = {
    "by rule": "as the rule says",
    "piece": "out with the piece",
    "piecemeal": "nibbled away",
    "stays": "kept in place",
    "split": "out with the piece in front of the arch cut, nibbled away behind it",
}
#: No letter that could be read as a side.
FATE_LETTERS = {"piece": "P", "piecemeal": "N", "stays": "K", "split": "S"}
FATE_KEY = "P out with the piece · N nibbled away · K kept in place · S split by the arch cut"
ARCH_SEEN = {
    "left": "arch from behind, head at the left, the patient's left at the bottom",
    "right": "arch from behind, head at the right, the patient's right at the bottom",
    "head up": "arch from behind, head up, the patient's left at the left",
}
MORE = "what comes out, biopsy tract, cuffs"
OUT = "what comes out in one piece"
SAGITTAL = "sagittal cut, mm left of the mid-plane (minus: right)"
TRACT = "biopsy tract in soft tissue"
TRACT_WORDS = {
    "with the piece": "taken with the piece",
    "separate ellipse": "taken as an ellipse of its own",
    "left": "left (not advised: tumour may have been carried along it)",
}
CUFF = "dissect the {face}"
CUFF_WORDS = {
    "on the tumour": "on the tumour, no cuff",
    "pleura": "with the pleura as a cuff",
    "muscle": "with muscle as a cuff",
}
CUFF_MM = "cuff on the {face}, mm"
EARLIER, LATER = "earlier", "later"
ORDER_NOTE = (
    "Move an act with its two arrows. An order that breaks a rule wants a name and a reason."
)
ORDER_WISHED = "This order is NOT taken yet. It breaks:"
ORDER_WHO, ORDER_WHY = "who takes it all the same", "why"
TAKE_ORDER, LEAVE_ORDER, RULE_ORDER = "take this order", "leave it as it was", "back to the rule"
ORDER_CHANGED = "order of acts changed"


def preset(region: str) -> str:
    """The verb that takes a region's preset."""
    return f"as usual at {region} levels ({PRESETS_SOURCE})"


def arch_part(part: str, fate: str, *, by_rule: bool) -> str:
    """A part of the arch and what happens to it."""
    said = f"{part}: {FATE_WORDS.get(fate, fate)}"
    return f"{said} (by rule)" if by_rule and fate != "by rule" else said


def arch_label(part: str, fate: str) -> str:
    """A part of the arch with the letter of its fate, for the picture."""
    letter = FATE_LETTERS.get(fate, "")
    return f"{part} · {letter}" if letter else part


#: The brush of the picture.
BRUSH_SLICE = {
    "verb": "brush",
    "how": "sweep over parts of the arch: a part that is swept is nibbled away; one that was "
    "marked so goes back to the rule",
    "becomes": "becomes",
}


def whole(levels: tuple[str, ...]) -> str:
    """Whole bodies that come out together."""
    if len(levels) == 1:
        return f"{levels[0]} whole"
    joined = " and ".join(levels) if len(levels) == 2 else f"{levels[0]} to {levels[-1]}"
    return f"{joined} whole, in one piece"


def half(level: str) -> str:
    """Half a body, on the tumour's side of a sagittal cut."""
    return f"half of {level}, on the tumour's side of a sagittal cut"


def arch_only(level: str) -> str:
    """The arch without the body."""
    return f"the arch of {level} only"


def moves(act: str, way: str) -> str:
    """What an arrow does."""
    return f"{way}: {act}"


def changed(part: str) -> str:
    """A change on the card, for the journal."""
    return f"{part.replace('.', ' ')} changed"
