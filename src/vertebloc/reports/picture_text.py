"""Words on the pictures of the body and the bars; part of the catalogue, see ``text``."""

from __future__ import annotations

from vertebloc.reports.text import mm, whole_mm
from vertebloc.resection.model import RibFate
from vertebloc.space.frames import Side
from vertebloc.space.views import View

#: Names of areas on pictures.
AREA_NAMES = {"tumour": "tumour", "sac": "sac", "aorta": "aorta"}

YOU_STAND_HERE = "you stand here"

_THEATRE = "theatre view"

_VIEW_WORDS = {
    View.THEATRE_STANDING_LEFT: ("from behind", _THEATRE),
    View.THEATRE_STANDING_RIGHT: ("from behind", _THEATRE),
    View.THEATRE_HEAD_UP: ("from behind", "theatre, head up"),
    View.THEATRE_CROSS_SECTION: ("from the feet", _THEATRE),
    View.RADIOLOGICAL_FRONT: ("from the front", "radiological"),
    View.RADIOLOGICAL_CROSS_SECTION: ("from the feet", "radiological"),
}


def view_words(view: View) -> tuple[str, str]:
    """From where one looks, and what kind of view it is, for a picture's two left corners."""
    return _VIEW_WORDS[view]


def nearest_on_picture(margin_mm: float, face: str) -> tuple[str, str]:
    """The label at the ring on a picture: the number, and which cut."""
    if margin_mm < 0:
        return f"cut in tumour, {mm(-margin_mm)} deep", face
    return f"nearest: {mm(margin_mm)}", face


#: Fates of ribs that are not kept, as short labels.
RIB_LABELS = {RibFate.REMOVED: "removed", RibFate.HEAD_ON_PIECE: "head on\npiece"}


def off_slice(offset_mm: float) -> str:
    """How far the ringed place lies from the picture's slice, towards the viewer if positive."""
    if abs(offset_mm) < 0.5:
        return "in this slice"
    return f"{whole_mm(abs(offset_mm))} {'nearer than' if offset_mm > 0 else 'beyond'} this slice"


def in_tumour(margin_mm: float) -> str:
    """In place of an allowance, on a face that lies in tumour."""
    return f"in tumour, {mm(-margin_mm)} deep"


def bars_room() -> str:
    """What the bars' ink stands for."""
    return "room to tumour"


def bars_may_err() -> str:
    """What the small numbers beside the bars say."""
    return "may err one or the other, NOT BOTH"


def bars_empty() -> str:
    """Where the plan has no bone cut to draw a bar for."""
    return "no bone cut"


def cut_in(level: str) -> str:
    """A body cut's label on a picture."""
    return f"cut in {level}"


def arch_opened(side: Side) -> str:
    """Where the ring is opened."""
    return f"ring opened on\npatient's {side.value.upper()}"
