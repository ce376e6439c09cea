"""The twelve sectors as a ring about the sac, turned as in the theatre cross-section."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle, Polygon
from numpy.typing import NDArray

from vertebloc.reports import palette, picture_text, text
from vertebloc.reports.canvas import TEXT_PT, png_bytes, sheet_canvas
from vertebloc.space.views import View, edge_words
from vertebloc.staging.model import SectorSpread, Staging
from vertebloc.staging.sectors import SECTOR_COUNT, SECTOR_DEG, SECTORS

#: Inner and outer edge of the ring as shares of half the drawing's width.
_INNER, _OUTER = 0.34, 0.77

#: Height of the title above the ring, printed mm.
_TITLE_MM = 5.0


def ring_picture(staging: Staging, printed_mm: tuple[float, float] = (40.0, 49.0)) -> bytes:
    """Draw which sectors tumour involves, and how full each is.

    Parameters
    ----------
    staging : Staging
        Sectors from the posterior midline over the patient's left round to the right.
    printed_mm : (float, float), mm
        Width and height on paper, title included.

    Returns
    -------
    bytes
        PNG. Back of the patient up, seen from the feet, patient's left at the picture's left;
        a sector's number is its percentage filled in the worst plane.
    """
    figure, axes = sheet_canvas(printed_mm)
    width, height = printed_mm
    half = min(width, height - _TITLE_MM) / 2
    middle = np.array((width / 2, _TITLE_MM + (height - _TITLE_MM) / 2))
    _write(
        axes,
        np.array((width / 2, _TITLE_MM / 2 + 0.4)),
        text.SHEET_LABELS["staging"],
        weight="bold",
    )
    for spread in staging.sectors:
        _draw_sector(axes, spread, middle, half)
    axes.add_patch(
        Circle((middle[0], middle[1]), half * _INNER * 0.62, fc=palette.SAC, ec=palette.BONE_EDGE)
    )
    _write(axes, middle, picture_text.AREA_NAMES["sac"])
    words = edge_words(View.THEATRE_CROSS_SECTION)
    reach = half - TEXT_PT * 0.3528 * 0.62
    for place, at, turn in (
        ("up", (0.0, -reach), 0.0),
        ("down", (0.0, reach), 0.0),
        ("left", (-reach, 0.0), 90.0),
        ("right", (reach, 0.0), -90.0),
    ):
        _write(axes, middle + at, words[place], rotation=turn, weight="bold", color=palette.SOFT)
    return png_bytes(figure)


def sector_angles_deg(spread: SectorSpread) -> tuple[float, float]:
    """First and last angle of a sector in the picture.

    Parameters
    ----------
    spread : SectorSpread
        Which sector.

    Returns
    -------
    (float, float), deg
        Anticlockwise from the picture's right; 90 is up, the patient's back, and 180 the
        picture's left, the patient's left.
    """
    place = SECTORS.index(spread.sector)
    return 90.0 + SECTOR_DEG * place, 90.0 + SECTOR_DEG * (place + 1)


def _draw_sector(
    axes: Axes, spread: SectorSpread, middle: NDArray[np.float64], half: float
) -> None:
    first, last = np.deg2rad(sector_angles_deg(spread))
    angles = np.linspace(first, last, 360 // SECTOR_COUNT // 3)
    spokes = np.column_stack((np.cos(angles), -np.sin(angles)))  # y runs down on the sheet
    corners = np.vstack((half * _OUTER * spokes, half * _INNER * spokes[::-1])) + middle
    patch = Polygon(
        corners,
        fc=palette.TUMOUR if spread.involved else palette.SHEET,
        ec=palette.BONE_EDGE,
        lw=0.8,
    )
    axes.add_patch(patch)
    if spread.involved:
        _hatch(axes, patch, middle, half)
    if text.percent(spread.area_fraction) != text.percent(0.0):
        way = (first + last) / 2
        at = middle + half * (_INNER + _OUTER) / 2 * np.array((np.cos(way), -np.sin(way)))
        color = palette.BRIGHT if spread.involved else palette.INK
        ground = {
            "fc": palette.TUMOUR if spread.involved else palette.SHEET,
            "ec": "none",
            "pad": 0.6,
        }
        _write(axes, at, text.bare_percent(spread.area_fraction), color=color, bbox=ground)


def _hatch(axes: Axes, patch: Polygon, middle: NDArray[np.float64], half: float) -> None:
    for shift in np.arange(-2 * half, 2 * half, 1.3):
        (line,) = axes.plot(
            middle[0] + np.array((-half, half)),
            middle[1] + shift + np.array((0.7 * half, -0.7 * half)),
            color=palette.TUMOUR_HATCH,
            lw=0.5,
        )
        line.set_clip_path(patch)


def _write(axes: Axes, at: NDArray[np.float64], words: str, **how: Any) -> None:
    how.setdefault("color", palette.INK)
    axes.text(
        float(at[0]),
        float(at[1]),
        words,
        family="DejaVu Sans",
        fontsize=TEXT_PT,
        ha="center",
        va="center",
        **how,
    )
