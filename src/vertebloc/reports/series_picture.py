"""A small picture of a series, to tell it from the others."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from vertebloc.reports import palette
from vertebloc.reports.canvas import png_bytes

_EDGE_INCH = 1.4
_CT_WINDOW_HU = (-450.0, 1050.0)  #: bone and soft parts at once
_SHARES = (1.0, 99.5)  #: percent of values that black and white leave out where no unit is known


def draw_series_picture(values: NDArray[np.float64], tall: float, *, is_ct: bool) -> bytes:
    """Draw one image small, as it is stored: not turned, not mirrored.

    Parameters
    ----------
    values : (rows, columns) float64, HU or the scanner's own
        The image.
    tall : float, -
        How much taller than wide a pixel is.
    is_ct : bool
        Whether the values are Hounsfield units.

    Returns
    -------
    bytes
        PNG. It serves to choose a series only: it carries no sides and no scale.
    """
    low, high = _CT_WINDOW_HU if is_ct else np.percentile(values, _SHARES)
    shape = np.array([values.shape[1], values.shape[0] * tall])
    size = _EDGE_INCH * shape / shape.max()
    figure = Figure(figsize=(max(size[0], 0.2), max(size[1], 0.2)), facecolor=palette.NIGHT)
    axes = figure.add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.imshow(values, cmap="gray", vmin=low, vmax=max(high, low + 1.0), aspect="auto")
    return png_bytes(figure)
