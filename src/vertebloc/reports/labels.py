"""Words on a picture of the body: what every picture must carry, and where others find room.

Every picture carries the name of its view, what lies at each edge in words, and a scale bar, on
bands of plain ground along its upper and lower edge. Words that may move look for a place where
they cover no others.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from vertebloc.reports import palette, picture_text, text
from vertebloc.reports.canvas import TEXT_PT, Canvas
from vertebloc.space.views import View, edge_words

#: Height of the plain bands along the upper and lower edge, printed mm: one line of words.
BAND_MM = 4.9

#: Words keep this far from the picture's edge, printed mm.
EDGE_MM = 1.6

#: Room kept around words, in pixels of the picture: as wide as their dark rim.
_ROOM_PIXELS = 3.0

#: Lengths that read well on a scale bar, mm.
_BAR_LENGTHS_MM = (5.0, 10.0, 20.0, 50.0, 100.0)


def label(canvas: Canvas, at: tuple[float, float], words: str, **how: Any) -> Text:
    """Write words that stay readable over whatever lies beneath."""
    how.setdefault("color", palette.BRIGHT)
    how.setdefault("ha", "center")
    how.setdefault("va", "center")
    how.setdefault("fontsize", TEXT_PT)
    return canvas.axes.text(
        *at,
        words,
        family="DejaVu Sans",
        zorder=20,
        path_effects=[withStroke(linewidth=2.4, foreground=palette.NIGHT)],
        **how,
    )


def place_label(
    canvas: Canvas,
    places: Iterable[tuple[float, float]],
    words: str,
    keep_clear: Sequence[Bbox] = (),
    **how: Any,
) -> Text:
    """Write words at the first place where they cover no other words, or cover least.

    Parameters
    ----------
    canvas : Canvas
        Picture; the words already on it are kept clear.
    places : iterable of (float, float), mm
        Screen x and y, the best place first.
    words : str
        What to write.
    keep_clear : sequence of Bbox
        Areas of the picture to keep clear as well, screen mm.
    **how
        As for ``label``.

    Returns
    -------
    Text
        The words where they stand.
    """
    left, right, bottom, top = canvas.field.extent_mm
    edge, band = canvas.paper(EDGE_MM), canvas.paper(BAND_MM)
    free = Bbox.from_extents(left + edge, bottom + band, right - edge, top - band)
    taken = [*map(words_box, canvas.axes.texts), *keep_clear]
    written = label(canvas, (0.0, 0.0), words, **how)
    best, least = (0.0, 0.0), np.inf
    for place in places:
        written.set_position(place)
        box = words_box(written)
        covered = _area(box) - _shared(box, free) + sum(_shared(box, other) for other in taken)
        if covered < least - 1e-6:
            best, least = place, covered
        if least < 1e-6:
            break
    written.set_position(best)
    return written


def around(
    canvas: Canvas, at: tuple[float, float], steps: int = 5
) -> Iterable[tuple[float, float]]:
    """Places about a point, nearest first, a line's height apart.

    Parameters
    ----------
    canvas : Canvas
        Picture.
    at : (float, float), mm
        Screen x and y.
    steps : int
        How many lines' heights to go each way.

    Returns
    -------
    iterable of (float, float), mm
        The point itself, then ever farther ones.
    """
    pitch = canvas.paper(2.0)
    ways = range(-2 * steps, 2 * steps + 1)
    offsets = sorted(
        ((i, j) for i in ways for j in ways), key=lambda w: (w[0] ** 2 + w[1] ** 2, w)
    )
    return ((at[0] + i * pitch, at[1] + j * pitch) for i, j in offsets)


def words_box(written: Text) -> Bbox:
    """The box that words fill with a little room around, screen mm."""
    assert written.axes is not None
    box = written.get_window_extent().padded(_ROOM_PIXELS)
    return box.transformed(written.axes.transData.inverted())


def _area(box: Bbox) -> float:
    return float(box.width * box.height)


def _shared(first: Bbox, second: Bbox) -> float:
    """Area that two boxes share."""
    both = Bbox.intersection(first, second)
    return 0.0 if both is None else _area(both)


def mark_orientation(canvas: Canvas, view: View, standing_words: str = "") -> None:
    """Write the view's name, what lies at each edge, and a scale bar.

    Parameters
    ----------
    canvas : Canvas
        Picture.
    view : View
        How the patient is looked at.
    standing_words : str
        Added to the lower edge's words, such as ``you stand here``.
    """
    left, right, bottom, top = canvas.field.extent_mm
    edge, band = canvas.paper(EDGE_MM), canvas.paper(BAND_MM)
    for foot in (bottom, top - band):
        canvas.axes.add_patch(
            Rectangle((left, foot), right - left, band, fc=palette.NIGHT, ec="none", zorder=15)
        )
    words = edge_words(view)
    upper, lower = top - band / 2, bottom + band / 2
    from_where, kind = picture_text.view_words(view)
    quiet = {"color": palette.PALE, "ha": "left"}
    label(canvas, (left + edge, upper), from_where, **quiet)
    label(canvas, (left + edge, lower), kind, **quiet)
    middle_x, middle_y = (left + right) / 2, (bottom + top) / 2
    bold = {"color": palette.PALE, "fontweight": "bold"}
    below = text.joined_by_dot(words["down"], standing_words)
    label(canvas, (middle_x, upper), words["up"], **bold)
    label(canvas, (middle_x, lower), below, **bold)
    # The patient's sides are long words: set along the edge. HEAD and FEET stay upright.
    turn = 90.0 if max(len(words["left"]), len(words["right"])) > 8 else 0.0
    label(canvas, (left + edge, middle_y), words["left"], ha="left", rotation=turn, **bold)
    label(canvas, (right - edge, middle_y), words["right"], ha="right", rotation=-turn, **bold)
    _scale_bar(canvas)


def _scale_bar(canvas: Canvas) -> None:
    """A bar of round length in the lower right corner, with its length before it."""
    _, right, bottom, _ = canvas.field.extent_mm
    longest = 0.16 * 2 * canvas.field.half_width_mm
    length = max((bar for bar in _BAR_LENGTHS_MM if bar <= longest), default=_BAR_LENGTHS_MM[0])
    end, y = right - canvas.paper(EDGE_MM), bottom + canvas.paper(BAND_MM / 2)
    start = end - length
    for x, ys in ((None, None), (start, 1.0), (end, 1.0)):
        xs = [start, end] if x is None else [x, x]
        half = 0.0 if ys is None else canvas.paper(ys)
        canvas.axes.plot(
            xs, [y - half, y + half], color=palette.PALE, lw=1.6, zorder=20, solid_capstyle="butt"
        )
    words = text.whole_mm(length)
    label(canvas, (start - canvas.paper(1.0), y), words, color=palette.PALE, ha="right")
