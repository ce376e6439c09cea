"""Where each panel of the unfolded piece stands in its drawing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.reports.carton import Carton

Point = NDArray[np.float64]

LINE = 1.22  #: height of a line of text as a share of the letters'


@dataclass(frozen=True, slots=True)
class CartonSize:
    """Where the drawing goes: its width and the height of its letters, in one unit."""

    width: float
    letters: float
    unit: str  #: as in style sheets


SCREEN = CartonSize(366.0, 13.0, "px")
PAPER = CartonSize(297.64, 9.0, "pt")  #: 105 mm wide, as the sheet prints it


@dataclass(frozen=True, slots=True, eq=False)
class Layout:
    """Where everything stands, in the drawing's units."""

    size: CartonSize
    scale: float  #: units per mm
    corners: dict[str, Point]  #: upper left corner of each panel
    highs: dict[str, Point]  #: which place of the panel that is: its left end and its top
    bottom: float  #: lower end of the panels and their words
    middles: dict[str, float]  #: x of the middle of the panels beside the back
    list_from: Point  #: where the list of small faces begins
    legend_at: Point  #: upper left corner of the legend

    def place(self, panel: str, flat: Point) -> Point:
        """Panel places (n, 2) in the drawing."""
        away = (flat - self.highs[panel]) * np.array([1.0, -1.0]) * self.scale
        return np.asarray(self.corners[panel] + away)


def lay_out(carton: Carton, size: CartonSize) -> Layout:
    """Scale and place the panels: back in the middle, the others folded out from it.

    Parameters
    ----------
    carton : Carton
        From ``unfold``.
    size : CartonSize
        Where the drawing goes.

    Returns
    -------
    Layout
        As wide as asked for; its height follows.
    """
    line, gap = size.letters * LINE, size.letters * 0.35
    panels, fold = carton.panels, carton.fold_mm
    column = [panels[name] for name in ("back", "cranial", "caudal", "front")]
    west = min(panel.low[0] for panel in column)
    wide = max(panel.high[0] for panel in column) - west
    row = [panels[name] for name in ("left", "back", "right")]
    top = max(panel.high[1] for panel in row)
    tall = top - min(panel.low[1] for panel in row)
    sides = {name: float(panels[name].high[0] - panels[name].low[0]) for name in ("left", "right")}
    scale = float((size.width - 2.0 * line - 2.0 * gap) / (sum(sides.values()) + wide))
    x = line + np.cumsum([0.0, sides["left"] * scale + gap, wide * scale + gap])
    deep = (panels["cranial"].high[1] + fold, fold - panels["caudal"].low[1], tall)
    heights = [part * scale + gap for part in (deep[0], tall, deep[1], tall)]
    y = line + np.cumsum([0.0, *heights])
    return Layout(
        size=size,
        scale=scale,
        corners={
            "cranial": np.array([x[1], y[0]]),
            "left": np.array([x[0], y[1]]),
            "back": np.array([x[1], y[1]]),
            "right": np.array([x[2], y[1]]),
            "caudal": np.array([x[1], y[2]]),
            "front": np.array([x[1], y[3]]),
        },
        highs={
            "cranial": np.array([west, panels["cranial"].high[1]]),
            "left": np.array([panels["left"].low[0], top]),
            "back": np.array([west, top]),
            "right": np.array([panels["right"].low[0], top]),
            "caudal": np.array([west, fold]),
            "front": np.array([west, panels["front"].high[1]]),
        },
        middles={
            "left": float(x[0] + sides["left"] * scale / 2.0),
            "right": float(x[2] + sides["right"] * scale / 2.0),
        },
        bottom=float(y[4] + line),
        list_from=np.array([0.3 * line, y[4] + 1.6 * line]),
        legend_at=np.array([0.2 * line, y[3] + 0.6 * line]),  # beside the front
    )
