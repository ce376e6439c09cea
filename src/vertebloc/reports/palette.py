"""Every colour of every picture and sheet, in one place.

Paper and ink. Meaning never hangs on colour alone: tumour is hatched as well, what is nibbled
away is dotted, room to tumour stands beside its number. Told apart by people who see colours
differently because lightness differs too.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

PAPER = "#f3efe6"
SHEET = "#fbf9f4"
INK = "#1d2a32"
SOFT = "#5d6a70"
LINE = "#cfc8b8"
NIGHT = "#12191d"  #: ground of pictures of the body
PALE = "#b9c6ca"  #: side letters, scale bar and other quiet marks on the night ground
BRIGHT = "#f4f1e8"  #: what must be read on the night ground
BONE = "#e2d8c2"
BONE_EDGE = "#9c8f74"
TUMOUR = "#6d2f5e"
TUMOUR_HATCH = "#d9a9cb"
TUMOUR_WASH = "#e9d9e4"  #: behind words that must not be overlooked
OPENED = "#1d1030"  #: ground of planned contamination, cross-hatched in
OPENED_HATCH = "#ffd98a"  #: this: pale, as nothing else on the piece is
PIECE = "#f4ecd9"  #: bone of the piece that was dissected, not cut
SAC = "#c99a2e"
CORD = "#f1d58f"
VESSEL = "#476a78"
VESSEL_EDGE = "#8fb2c0"
CUT = "#0b6e69"
CUT_ON_NIGHT = "#57c2b9"
CUT_EDGE = "#bdf0ea"
TRACK = "#ece6d8"  #: empty part of a bar

#: Room to tumour, from thin to wide.
ROOM_RAMP = ("#2b1a4f", "#7b68ab", "#d9d3ea")


def rgb(colour: str) -> NDArray[np.float64]:
    """A colour's red, green and blue share, (3,) in 0..1, from its ``#rrggbb`` text."""
    return np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255.0


def room_colour(room_mm: float, widest_mm: float) -> str:
    """Colour of an amount of room to tumour: dark = thin.

    Parameters
    ----------
    room_mm : float, mm
        Room; below 0 reads as 0.
    widest_mm : float, mm
        From here on the ramp is at its lightest.

    Returns
    -------
    str
        ``#rrggbb``.
    """
    place = 2.0 * min(max(room_mm / widest_mm, 0.0), 1.0)
    lower = min(int(place), 1)
    share = place - lower
    mixed = (1 - share) * rgb(ROOM_RAMP[lower]) + share * rgb(ROOM_RAMP[lower + 1])
    red, green, blue = (round(255 * float(part)) for part in mixed)
    return f"#{red:02x}{green:02x}{blue:02x}"
