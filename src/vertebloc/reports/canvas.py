"""A picture of the body on the night ground: its field, areas, hatching and dots.

Each picture is drawn at its printed size, in millimetres of the body; its words are in
``labels``. Nothing here keeps a global state.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from contourpy import contour_generator
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from numpy.typing import NDArray

from vertebloc.reports import palette
from vertebloc.reports.slicing import Field, Loop

#: Letters on pictures, at their printed size.
TEXT_PT = 9.0

_DPI = 220
_RASTER_DPI = 115  #: of images and shaded bone, which have no finer detail to show
_HATCH_ANGLE_DEG = 35.0


@dataclass(frozen=True, slots=True, eq=False)
class Canvas:
    """A picture being drawn; axes are screen x and y in mm of the body."""

    figure: Figure
    axes: Axes
    field: Field
    printed_mm: tuple[float, float]  #: width and height on paper

    @property
    def body_mm_per_printed_mm(self) -> float:
        """How much of the body one printed millimetre shows."""
        return 2 * self.field.half_width_mm / self.printed_mm[0]

    def paper(self, printed_mm: float) -> float:
        """A length on paper, in mm of the body."""
        return printed_mm * self.body_mm_per_printed_mm


def body_canvas(
    printed_mm: tuple[float, float], half_width_mm: float, centre_mm: tuple[float, float]
) -> Canvas:
    """Start a picture of the body.

    Parameters
    ----------
    printed_mm : (float, float), mm
        Width and height on paper.
    half_width_mm : float, mm
        Half of the body's width to show; the height follows.
    centre_mm : (float, float), mm
        Screen x and y of the picture's middle.

    Returns
    -------
    Canvas
        Empty, on the night ground.
    """
    width, height = printed_mm
    body_mm = 2 * half_width_mm / width
    field = Field(
        centre_x_mm=centre_mm[0],
        centre_y_mm=centre_mm[1],
        half_width_mm=half_width_mm,
        half_height_mm=half_width_mm * height / width,
        pixel_mm=body_mm * 25.4 / _RASTER_DPI,
    )
    figure, axes = _figure(printed_mm, palette.NIGHT)
    left, right, bottom, top = field.extent_mm
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
    return Canvas(figure, axes, field, printed_mm)


def _figure(printed_mm: tuple[float, float], ground: str) -> tuple[Figure, Axes]:
    figure = Figure(
        figsize=(printed_mm[0] / 25.4, printed_mm[1] / 25.4), dpi=_DPI, facecolor=ground
    )
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.set_autoscale_on(False)
    return figure, axes


def sheet_canvas(printed_mm: tuple[float, float]) -> tuple[Figure, Axes]:
    """Start a drawing on the light sheet; axes are printed mm from the upper left, y down.

    Parameters
    ----------
    printed_mm : (float, float), mm
        Width and height on paper.

    Returns
    -------
    (Figure, Axes)
        Empty.
    """
    figure, axes = _figure(printed_mm, palette.SHEET)
    axes.set_xlim(0, printed_mm[0])
    axes.set_ylim(printed_mm[1], 0)
    return figure, axes


def png_bytes(figure: Figure) -> bytes:
    """The picture as a PNG file; the same drawing gives the same bytes."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=_DPI, facecolor=figure.get_facecolor())
    return buffer.getvalue()


def show_grey(canvas: Canvas, values: NDArray[np.float64], window: tuple[float, float]) -> None:
    """Lay image values beneath the drawing, from the night ground to pale.

    Parameters
    ----------
    canvas : Canvas
        Picture.
    values : (rows, columns) float64
        Image values, row 0 on top.
    window : (float, float)
        Values that are drawn as the ground and as pale.
    """
    low, high = window
    share = np.clip((values - low) / (high - low), 0.0, 1.0)[..., None]
    dark, light = palette.rgb(palette.NIGHT), palette.rgb(palette.BRIGHT) * 0.82
    show_colours(canvas, dark + share * (light - dark), zorder=0)


def show_colours(canvas: Canvas, colours: NDArray[np.float64], zorder: float) -> None:
    """Lay a raster of colours into the picture, row 0 on top."""
    canvas.axes.imshow(
        colours,
        extent=canvas.field.extent_mm,
        origin="upper",
        interpolation="bilinear",
        aspect="auto",
        zorder=zorder,
    )


def loops_path(loops: Iterable[Loop]) -> Path | None:
    """One path of all loops, holes kept as holes; None if there are none."""
    closed = [np.vstack((loop, loop[:1])) for loop in loops if len(loop) >= 3]
    if not closed:
        return None
    codes = [
        np.r_[Path.MOVETO, np.full(len(loop) - 2, Path.LINETO), Path.CLOSEPOLY] for loop in closed
    ]
    return Path(np.vstack(closed), np.concatenate(codes).astype(Path.code_type))


def draw_area(canvas: Canvas, loops: Iterable[Loop], **how: Any) -> None:
    """Fill and outline an area; ``how`` goes to the patch."""
    path = loops_path(loops)
    if path is not None:
        canvas.axes.add_patch(PathPatch(path, **how))


def draw_hatched(
    canvas: Canvas, loops: tuple[Loop, ...], alpha: float = 0.78, zorder: float = 5.0
) -> None:
    """Draw tumour: plum, outlined, and hatched so that it never hangs on colour alone."""
    path = loops_path(loops)
    if path is None:
        return
    draw_area(canvas, loops, fc=palette.TUMOUR, ec="none", alpha=alpha, zorder=zorder)
    angle = np.deg2rad(_HATCH_ANGLE_DEG)
    along = np.array((np.cos(angle), np.sin(angle)))
    across = np.array((-np.sin(angle), np.cos(angle)))
    corners = np.asarray(path.vertices)
    middle = corners.mean(axis=0)
    reach = float(np.linalg.norm(corners - middle, axis=1).max())
    starts = np.arange(-reach, reach, canvas.paper(1.1))[:, None] * across + middle
    lines = np.stack((starts - reach * along, starts + reach * along), axis=1)
    hatch = LineCollection(
        list(lines), colors=palette.TUMOUR_HATCH, linewidths=0.6, zorder=zorder + 0.1
    )
    canvas.axes.add_collection(hatch, autolim=False)
    hatch.set_clip_path(path, canvas.axes.transData)
    draw_area(canvas, loops, fill=False, ec=palette.TUMOUR_HATCH, lw=1.0, zorder=zorder + 0.2)


def draw_dotted(canvas: Canvas, loops: tuple[Loop, ...], zorder: float = 4.0) -> None:
    """Dot an area with a broken edge: bone that is nibbled away."""
    path = loops_path(loops)
    if path is None:
        return
    step = canvas.paper(1.15)
    left, right, bottom, top = canvas.field.extent_mm
    x, y = np.meshgrid(np.arange(left, right, step), np.arange(bottom, top, step))
    x[1::2] += step / 2
    spots = canvas.axes.scatter(x, y, s=2.4, c=palette.BRIGHT, linewidths=0, zorder=zorder)
    spots.set_clip_path(path, canvas.axes.transData)
    draw_area(
        canvas, loops, fill=False, ec=palette.BRIGHT, lw=0.7, ls=(0, (3, 2)), zorder=zorder + 0.1
    )


def mask_loops(field: Field, mask: NDArray[np.bool_]) -> tuple[Loop, ...]:
    """Outlines of a raster mask over the field, in screen x and y."""
    rows, columns = mask.shape
    padded = np.zeros((rows + 2, columns + 2))
    padded[1:-1, 1:-1] = mask
    left, right, bottom, top = field.extent_mm
    x = left + (np.arange(-1, columns + 1) + 0.5) * (right - left) / columns
    y = top - (np.arange(-1, rows + 1) + 0.5) * (top - bottom) / rows
    lines = contour_generator(x, y, padded).lines(0.5)
    return tuple(np.asarray(line[:-1]) for line in lines if len(line) > 3)
