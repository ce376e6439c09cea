"""Words over the piece that is turned by hand, and beside its key."""

from __future__ import annotations

from vertebloc.reports import text
from vertebloc.resection.model import OpensTumour

LOOK = "the piece"
KEY_TITLE = "room to tumour on cut bone"
KEY_TOUCHED = "tumour touched"
KEY_OPENED = "opened by the plan"
KEY_DISSECTED = "dissected"
FAR_SIDE = "on the far side: turn the piece"
PENDING = "being computed: this is the plan before"
NO_PIECE = "there is no piece yet"
OPENED = {
    OpensTumour.CUT: "cut through tumour",
    OpensTumour.NIBBLED: "piecemeal bone in tumour",
    OpensTumour.TOUCHED: "piecemeal bone on tumour",
}


def wanted(margin_mm: float) -> str:
    """What is dotted, on the key."""
    return f"nearer than the wanted {margin_mm:.1f} mm"


def face(name: str, margin_mm: float) -> str:
    """A face and its margin, as on the carton."""
    return f"{name}: {text.mm(margin_mm)}"


def opened(how: OpensTumour, name: str, area_mm2: float) -> tuple[str, str]:
    """One place where the plan itself opens tumour, in two short rows."""
    return f"{name}, {area_mm2:.0f} mm²", OPENED[how]


def tick(margin_mm: float) -> str:
    """A number on the key."""
    return f"{margin_mm:.0f}"


def weakest_words(margin_mm: float, place: str) -> str:
    """The ring about the weakest place."""
    return f"nearest: {text.mm(margin_mm)}, {place}"


def face_words(margin_mm: float) -> str:
    """The number on a face."""
    return f"{text.mm(margin_mm)} to tumour"


#: What the picture says of the piece; handed to the browser with the rest.
VIEWER_PIECE = {
    "title": KEY_TITLE,
    "touched": KEY_TOUCHED,
    "opened": KEY_OPENED,
    "dissected": KEY_DISSECTED,
    "far_side": FAR_SIDE,
    "pending": PENDING,
    "none": NO_PIECE,
}
