"""What the pages say that is not part of the plan: one catalogue, to be translated."""

from __future__ import annotations

from collections.abc import Sequence
from enum import Enum

from vertebloc.reports.bone_words import BRUSH_SLICE
from vertebloc.reports.piece_words import VIEWER_PIECE


class Question(Enum):
    """The surgeon's questions that have a page, in the order of the journey."""

    PICTURES = "Who is this, and which pictures?"
    LEVEL = "Which vertebra?"
    CONTOURS = "What is where?"
    SPREAD = "How far has it grown?"
    RING = "Where can the ring be opened?"
    FRONT = "Can we get round the front?"
    CUTS = "Where do we cut?"
    WAY_OUT = "Which way out, and what is given up?"
    C_ARM = "What will the C-arm show?"
    ROLES = "Who does what?"


CAUTION = (
    "Planning aid for qualified teams, not a medical device. Verify against the images; local "
    "protocols and the responsible surgeon decide."
)
NO_CASE = "There is no case here yet."
NO_CASE_HOW = (
    "Bring one in with: vertebloc import SOURCE --case DIR --labels FILE --names FILE. "
    "Or try everything with a made-up patient, no real person."
)
TRY_MADE_UP = "try it with the made-up patient"
SERIES = "Choose among what the scanner wrote"
SOURCE_FOLDER = "folder on this machine"
LOOK_INSIDE = "show what it holds"
LISTING = "looking through the folder"
IMPORTING = "bringing the images in"
NO_SOURCE = "no folder is named: type where the scanner's files lie on this machine"


def take_series(number: int) -> str:
    """The verb that takes one series of a list."""
    return f"take series {number}"


NO_CONTOURS = "No contours yet: nothing can be measured."
NO_CONTOURS_HOW = (
    "Outline tumour, vertebrae and sac, then: "
    "vertebloc import SOURCE --case DIR --labels FILE --names FILE"
)
NOBODY_NAMED = "Nobody is named in these images: whose they are is not known."
PREPARING = "Measuring tumour and bone"
BEGIN_AT = "Begin at: {question}"


def no_plan(why: str) -> str:
    """That there is no plan, and why."""
    return f"There is no plan: {why}"


PENDING = "being computed"
PLANNING = "computing the plan"
WRITING_SHEET = "writing the sheet"
MAKING_DEMO = "making the made-up patient: images, contours, case"
STALE = "out of date"
LIST = "the whole list"
IN_WORDS = "the whole plan in words"
HOW_TO_READ = "how to read this"
WHY = "why these numbers"
SOURCE, LIMITS = "Where it comes from", "What it does not say"
UNDO, REDO, PRINT, SAVE_SHEET = "undo", "redo", "print", "write the sheet"
NEXT_QUESTION = "next question"
ONLY_READ = "Here it can be read, not changed, so that two hands do not pull at one plan."
SECOND_WINDOW = f"This case is open in another window. {ONLY_READ}"
TAKE_OVER = "work here instead"


def held_elsewhere(program: str) -> str:
    """That another window holds the case, of this program or of another one that is named."""
    if not program:
        return SECOND_WINDOW
    return f"{program[:1].upper()}{program[1:]} works on this case. {ONLY_READ}"


ASSUMED = "assumed"
STANDING = "You stand at"
STANDING_WORDS = {
    "left": "the patient's left",
    "right": "the patient's right",
    "head up": "the head end, head up",
}
HALVES_TOGETHER = "move both halves together"
NOT_COUNTED = "not counted yet"
HEAD, FEET = "HEAD", "FEET"
DIRECTION_ORDER = "HEAD top, FEET bottom"
STRUCTURES = "Contours"
IMAGES = "Pictures"
PERSON = "Person"
LAYERS = "Layers"
COUNTING = "How it was counted"
SIDES = "Left and right"
BARS = "How far may each bone cut err"
CARTON = "The piece, opened out"


def pictures_sentence(sizes: Sequence[int], spacing_mm: Sequence[float], contours: int) -> str:
    """What images and contours the case holds."""
    voxels = " x ".join(map(str, sizes))
    mm = " x ".join(f"{value:.4g}" for value in spacing_mm)
    outlined = f"{contours} structures outlined" if contours else "nothing outlined yet"
    return f"CT of {voxels} voxels of {mm} mm, {outlined}."


def saved(what: str) -> str:
    """That a change is on disk."""
    return f"saved: {what}"


def undone(what: str) -> str:
    """That a change was taken back."""
    return f"taken back: {what}"


def layer_row(involved: str) -> str:
    """Verdict on a layer: yes, no, cannot tell."""
    return involved


def nearest_flip(words: str, involved: bool, flips_after_mm: float) -> str:
    """Which sector is nearest to being judged the other way."""
    now, change = ("involved", "smaller") if involved else ("free", "larger")
    return (
        f"Nearest to flipping: {words}, {now}; it flips if the outline is "
        f"{flips_after_mm:.1f} mm {change}."
    )


def sheet_is_old(reason: str) -> str:
    """That the sheet in the case folder is not of the plan on the screen."""
    return f"The sheet in the case folder is OUT OF DATE: {reason}."


def tumour_side(side: str) -> str:
    """On which side of the patient the tumour lies."""
    return f"tumour on {'both sides' if side == 'both' else f'the {side}'}"


#: What the picture says; handed to the browser as it is.
VIEWER = {
    "toolbar": "ways of looking",
    "looks": {
        "behind": "from behind",
        "side": "from the side",
        "across": "across",
        "cut": "in the cut",
        "solid": "solid",
        "piece": "the piece",
    },
    "piece": VIEWER_PIECE,
    "brush": BRUSH_SLICE,
    "which_cut": "which cut",
    "together": HALVES_TOGETHER,
    "stage": "picture: up and down step through slices, with Shift arrows move the picture, plus "
    "and minus zoom, square brackets make it darker and brighter, Home centres; arrows turn the "
    "solid picture and the piece; Tab reaches the cuts' handles, arrows move them by 0.5 mm, with "
    "Shift by 0.1 mm",
    "loading": "loading the images",
    "let_go": "the graphics card let the picture go; it is drawn anew",
    "turned": "turned by hand",
    "in_plane": "in the plane of the",
    "across_canal": "square to the canal",
    "level_with": "level with",
    "off_slice": "mm off this slice",
    "stand_here": "you stand here",
    "handles": {"move": "height", "tip": "tilt", "side": "roll"},
    "directions": {
        "left": "patient's LEFT",
        "right": "patient's RIGHT",
        "back": "BACK",
        "front": "FRONT",
        "head": HEAD,
        "feet": FEET,
    },
}


def cut_words(level: str, disc: str) -> str:
    """What a cut is called in the picture."""
    return f"cut in the {disc}" if disc else f"cut in {level}"


def bars_note(wanted_mm: float, hand: str) -> str:
    """How to read the bars."""
    return (
        "Bold: room to tumour. Below: the cut may be off by this many mm, or tilted by this many "
        "degrees, NOT BOTH, before it touches tumour. Teal tick: wanted margin "
        f"{wanted_mm:.1f} mm. {hand[:1].upper() + hand[1:]}."
    )


#: What each line of the plan is about.
LINE_CUTS, LINE_ARCH, LINE_RIBS, LINE_KEEP = "Cuts", "Arch", "Ribs", "Keep"
ARCH_OUT = "cut both pedicles of {level} and take its arch out to the back"


def out_together(levels: str) -> str:
    """Which bodies come out as one piece."""
    return f"take {levels} out in one piece,"


OPEN_ARCH = "open {level} on the"
STAND_AT = "to tumour at every bone face; you stand at"
PART_LABELS = {
    "open_side": "side on which the arch is opened",
    "wanted_margin": "wanted margin, mm",
    "height": "height, mm past the endplate",
    "tilt": "tilt, degrees; positive: the tip goes to the head",
    "roll": "roll about the blade, degrees",
    "halves": "left and right half",
    "fate": "what happens to it",
    "length": "length taken, mm from the rib's head; empty: by rule",
}
TILTED = ", tilted"
ROLLED = ", rolled"
HALVES_CHOICE = (
    ("apart", "halves apart"),
    ("left", "both as the left half"),
    ("right", "both as the right half"),
)
RIB_OVER = "over"
BETWEEN = ";"
OTHER_RIB = "give up another:"
OTHER_RIB_LABEL = "another rib to give up"
NO_OTHER_RIB = "none"
RIB_FATES = {"by rule": "{fate} (by rule)", "kept": "kept", "removed": "removed with its head",
             "head on piece": "cut to the side, head left on the piece"}  # fmt: skip


def cut_through(neighbour: str, *, first: bool) -> str:
    """Start of the words on a cut through a neighbour's body."""
    return f"{'' if first else '; '}through {neighbour}"


def cut_in_disc(above: str, below: str, *, first: bool) -> str:
    """Start of the words on a cut through a disc."""
    return f"{'' if first else '; '}through the disc {above}/{below} at"


def cut_in_own_body(level: str, *, first: bool) -> str:
    """Start of the words on a cut through the diseased body itself."""
    return f"{'' if first else '; '}through {level} itself at"


def past_endplate(which: str) -> str:
    """What a height in a neighbour's body is counted from."""
    if which == "cranial":
        return "above its lower endplate"
    return "below its upper endplate"


def from_endplate(which: str, neighbour: str, level: str) -> str:
    """What a height short of the neighbour's endplate is counted from."""
    end = "lower" if which == "cranial" else "upper"
    return f"from the {end} endplate of {neighbour} (minus: towards {level})"


def of_half(begin: str, side: str) -> str:
    """That what follows is of one half of a cut only."""
    return f"{begin.removesuffix(' at')}, {side} half{' at' if begin.endswith(' at') else ''}"


def by_rule(side: str) -> str:
    """That a side was decided by the rule, and which."""
    return f"{side} (by rule)"


def nibble(parts: str) -> str:
    """What is taken piecemeal."""
    return f"nibble away {parts}"


NIBBLE_ALL = "nibble away all of its arch"


def rib_is(name: str) -> str:
    """Start of the words on one rib."""
    return name.replace(" rib of ", " ")


def part_label(which: str, side: str) -> str:
    """Name of a cut or one of its halves, for a screen reader."""
    return f"{which} cut" if side == "both" else f"{side} half of the {which} cut"


def part_changed(part: str) -> str:
    """A change of the paragraph, for the journal."""
    return f"{part.replace('.', ' ').replace('_', ' ')} changed"


def look_at(level: str, *, diseased: bool) -> str:
    """What a vertebra of the strip does when it is chosen."""
    return f"look at {level}" + (", the diseased vertebra" if diseased else "")


UNCONFIRMED = "unconfirmed"


def counted_as(number: int, end: str) -> str:
    """The number that theatre says at a vertebra."""
    return f", number {number} from the {end}"


#: Names of the unfolded piece's sides, in letters that say which way it is held.
CARTON_PANELS = {
    "cranial": "HEAD END",
    "left": "LEFT",
    "back": "BACK",
    "right": "RIGHT",
    "front": "FRONT",
    "caudal": "FEET END",
}
CARTON_EDGES = ("head", "feet", "front")
CARTON_SEEN_FROM = {
    "back": "seen from behind, head up",
    "front": "seen from the front, feet up",
    "left": "seen from the left, head up",
    "right": "seen from the right, head up",
    "cranial": "seen from the head, front up",
    "caudal": "seen from the feet, back up",
}
CARTON_LEGEND = ("bone cut", "dissected", "tumour", "weakest")
CARTON_NO_BONE = ("no bone", "is cut here")
CARTON_NOTE = (
    "Seen from outside. Bone faces are true to scale, tinted (dark = thin); dissected faces are "
    "white, drawn as they are seen, as far as the back wall of the body. Ring = weakest place; "
    "numbers = mm to tumour, and the face's area. Hatched: the face runs in tumour, or tumour "
    "lies bare on it."
)


def carton_ramp(widest_mm: float) -> tuple[str, str]:
    """The ends of the violet ramp."""
    return "0", f"{widest_mm:.0f} mm"


def carton_crossed(area_mm2: float) -> tuple[str, str]:
    """That a face runs through tumour, in two short lines."""
    return "in tumour:", f"{area_mm2:.0f} mm²"


def crossed(area_mm2: float) -> str:
    """That a face runs through tumour."""
    return f"{area_mm2:.0f} mm² in tumour"


def face_title(name: str, area_mm2: float) -> str:
    """A face and its size."""
    return f"{name}, {area_mm2:.0f} mm²"


def left_behind(volume: str) -> str:
    """How much tumour stays outside the piece."""
    return f"{volume} of tumour left behind"


CARTON_HEADINGS = ("face", "kind", "margin", "area", "between")
DEPTHS = "How deep may each blade go?"
DEPTHS_BY_ANGLE = "How deep, by the blade's angle"
DEPTHS_CAUTION = (
    "Depths count from where the blade meets bone. A gap to a vessel is information from a supine "
    "CT before dissection, never room for the blade."
)
PROTECTOR_HEADINGS = ("half cut", "protector")
DEPTH_HEADINGS = ("half cut", "blade held", "far cortex", "stop", "vessel")
ACTS = "In which order, and can we still stop?"
ACT_HEADINGS = ("no.", "still stop?", "act")
BAIL_OUTS = "If it goes wrong"
BAIL_OUT_CAUTION = (
    "Common practice where no source is named; local protocols and the responsible surgeon decide."
)
BAIL_OUT_HEADINGS = ("trouble", "steps")


def square_mm(area_mm2: float) -> str:
    """An area."""
    return f"{area_mm2:.0f} mm²"


def source_of(source: str) -> str:
    """Where a rule comes from."""
    return f"({source})"


def may_go_wrong(troubles: str) -> str:
    """What an act may bring."""
    return f"May bring: {troubles}."
