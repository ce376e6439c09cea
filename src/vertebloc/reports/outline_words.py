"""What the page on which outlines are drawn says: one catalogue, to be translated."""

from __future__ import annotations

from collections.abc import Sequence

from vertebloc.reports import text

NOTHING_DRAWN = "Nothing is outlined yet: choose a structure and draw it."
NO_IMAGES = "There are no images to draw on yet."
OPENING = "reading the outlines"
STRUCTURE, DRAWS = "structure", "who draws"
NOBODY = "nobody named"
CONFIRM, UNDO, REDO = "confirm this outline", "undo", "redo"
CONFIRMS = "who confirms"
MEASURE = "measure again"
MEASURING = "measuring the outlines as they are now"
HOW = "Outlines"
TOOLS, LIMITS, FIRST_DRAFTS = "The whole outline", "limits", "First drafts"
WHICH_DRAFT, MAKE_DRAFT = "which one", "point at it"
MISSING, STILL_DRAFT, IS_OUTLINED = "not outlined yet", "drafts, not confirmed", "outlined"
DRAFT_NOTE = (
    "What is missing stands first, nearest to the diseased vertebra. Then point at it in the "
    "picture: click, or bring it to the picture's middle and press Space."
)
BRIDGE = "bridge the gap between drawn slices"
SPREAD = "let it spread inside limits"
FINISH = "finish my outline from a few strokes"
CRUMBS = "drop crumbs"
SOFTEN = "soften the edge"
LOW, HIGH = "from, HU", "to, HU"
REACH = "no farther than, mm (assumed)"
SOFTEN_BY = "the edge moves at most, mm (assumed)"
LIMITS_NOTE = (
    "At first the range of the outline's own voxels, 5th to 95th percentile. It never enters the "
    "fence; tumour never enters sac, cord, aorta, azygos or cava. Finishing ends where the images "
    "have an edge, at most 12 mm from the strokes (assumed)."
)
DRAW_FIRST = "nothing is drawn yet: draw a stroke inside first"
DOING = {
    "bridge": "bridging the gap between drawn slices",
    "spread": "spreading inside the limits",
    "finish": "finishing the outline",
    "soften": "softening the edge",
}
NO_NAME = "Nobody says who draws: the outline will say so too."
CONFIRM_NOTE = (
    "Look through every slice first. Whoever confirms stands for the outline as it is now; a "
    "later stroke makes it a draft again."
)
#: What the picture says while outlines are drawn; handed to the browser as it is.
PENS = {
    "pens": "tools to draw with: D draws, R rubs out, L fills a loop, X takes a loop away, F "
    "draws a fence that spreading and finishing never enter, M moves the picture; comma and full "
    "stop change the tip; Space draws in the middle of the picture",
    "tools": {
        "draw": "draw",
        "rub": "rub out",
        "loop": "fill a loop",
        "loop out": "take a loop away",
        "fence": "fence",
        "move": "move",
    },
    "tip": "tip",
    "point_at": "point at:",
    "not_shown": "not shown here:",
}


def draft(words: str, volume: str, drawn_by: Sequence[str]) -> str:
    """That an outline is a draft."""
    who = text.listed([name or NOBODY for name in drawn_by]) or NOBODY
    return (
        f"{text.sentence(words).removesuffix('.')}: {volume}, DRAFT, drawn by {who} and confirmed "
        "by nobody."
    )


def confirmed(words: str, volume: str, name: str, time: str) -> str:
    """Who stands for an outline."""
    return f"{text.sentence(words).removesuffix('.')}: {volume}, confirmed by {name}, {time}."


def imported(words: str, volume: str) -> str:
    """That an outline came from a file."""
    return f"{text.sentence(words).removesuffix('.')}: {volume}, as imported."


def absent(words: str) -> str:
    """That a structure is not drawn yet."""
    return f"{text.sentence(words).removesuffix('.')}: not drawn yet."


def drafts(names: Sequence[str]) -> str:
    """Which other outlines nobody has confirmed."""
    return f"Also drafts: {text.listed(list(names))}."


def unconfirmed(names: Sequence[str]) -> str:
    """On every page and sheet: outlines that nobody stands for."""
    verb = "is a DRAFT that" if len(names) == 1 else "are DRAFTS that"
    return (
        f"The outline{'s' if len(names) > 1 else ''} of {text.listed(list(names))} {verb} nobody "
        "has confirmed: every number that stands on "
        f"{'it' if len(names) == 1 else 'them'} is UNCONFIRMED."
    )


UNCONFIRMED = "outline UNCONFIRMED"
SLICES_WILL_TURN = (
    "Canal and vertebrae are not measured yet: slices run along the scan. They turn with the "
    "canal once it is, and what is drawn now lies across several of them: draft canal and "
    "vertebrae first."
)
MOVED_ON = (
    "Outlines were drawn on since the plan was computed: spread, cuts and margins are OUT OF DATE "
    "until they are measured again."
)


def drafting(name: str) -> str:
    """What is being drafted."""
    return f"making a first draft of {name}"


def row(state: str, volume: str) -> str:
    """An outline in the list."""
    return f"{volume}, {state}"
