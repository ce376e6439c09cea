"""Pictures of the CT and the second scan in the same planes, and the CT's edges to lay over."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from matplotlib.image import imsave
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from vertebloc.reports.slicing import Field, reslice
from vertebloc.space.frames import Frame
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.transforms import Transform
from vertebloc.space.views import View, edge_words, screen_from_body

HALF_MM = (62.0, 70.0)  #: half width and half height of what is shown
PIXEL_MM = 0.4
_CT_WINDOW_HU = (-250.0, 850.0)
_SHARES = (1.0, 99.5)  #: percent of the second scan's values that black and white leave out
_EDGE_HU_PER_MM = 90.0  #: assumed: a step of bone against soft tissue is steeper
_EDGE_RGB = (1.0, 0.78, 0.24)

PLANES = {"side": View.THEATRE_SIDE_HEAD_UP, "across": View.THEATRE_CROSS_SECTION}


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """A way of looking, centred on a place."""

    key: str
    edges: dict[str, str]  #: what lies at each edge of the picture, in words
    rows: list[list[float]]  #: screen right, screen up, towards the viewer, in patient LPS
    centre: list[float]  #: of the place, in these axes, mm


def planes_at(place: ArrayLike) -> dict[str, Plane]:
    """Both planes through a place.

    Parameters
    ----------
    place : (3,) float64, mm, patient LPS
        In whichever scan.

    Returns
    -------
    dict of str to Plane
        ``side`` and ``across``.
    """
    found = {}
    for key, view in PLANES.items():
        to_screen = screen_from_body(view)
        found[key] = Plane(
            key=key,
            edges=edge_words(view),
            rows=[[float(v) for v in row] for row in to_screen.matrix[:3, :3]],
            centre=[round(float(v), 3) for v in to_screen.points(place)[0]],
        )
    return found


def brightness_of(volume: Volume) -> tuple[float, float]:
    """Ends of the grey scale of a scan whose values have no unit.

    Parameters
    ----------
    volume : Volume
        The scan.

    Returns
    -------
    tuple of float
        Black and white.
    """
    low, high = np.percentile(np.asarray(volume.values)[::2, ::2, :], _SHARES)
    return float(low), float(max(high, low + 1.0))


def draw_ct(ct: Volume, plane: Plane, depth_mm: float) -> bytes:
    """One slice of the CT.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    plane : Plane
        How it is looked at.
    depth_mm : float, mm
        Towards the viewer from the plane's centre.

    Returns
    -------
    bytes
        PNG; side letters are the page's.
    """
    return _grey(_slice(ct, None, plane, depth_mm), *_CT_WINDOW_HU)


def draw_second(
    second: Volume,
    second_from_ct: Transform | None,
    plane: Plane,
    depth_mm: float,
    window: tuple[float, float],
) -> bytes:
    """One slice of the second scan.

    Parameters
    ----------
    second : Volume
        Any unit.
    second_from_ct : Transform or None
        Where a point of the CT lies in it: the CT's slice is drawn. None: a slice of its own.
    plane : Plane
        How it is looked at: in the CT if it is laid on it, else in its own LPS.
    depth_mm : float, mm
        Towards the viewer from the plane's centre.
    window : (float, float)
        Black and white.

    Returns
    -------
    bytes
        PNG.
    """
    return _grey(_slice(second, second_from_ct, plane, depth_mm), *window)


def draw_edges(ct: Volume, plane: Plane, depth_mm: float) -> bytes:
    """Where the CT's brightness steps, on a clear ground.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    plane : Plane
        How it is looked at.
    depth_mm : float, mm
        Towards the viewer from the plane's centre.

    Returns
    -------
    bytes
        PNG with transparency.
    """
    seen = np.clip(_slice(ct, None, plane, depth_mm), -200.0, 800.0)
    smooth = ndimage.gaussian_filter(seen, 0.7 / PIXEL_MM)
    down, along = np.gradient(smooth, PIXEL_MM)
    steep = np.hypot(down, along)
    i, j = np.indices(steep.shape)
    safe = np.maximum(steep, 1e-9)
    ahead, behind = (
        ndimage.map_coordinates(
            steep, (i + way * down / safe, j + way * along / safe), order=1, output=np.float64
        )
        for way in (1.0, -1.0)
    )
    # a crest is steeper than what lies across the edge on both sides
    crest = (steep >= ahead) & (steep >= behind) & (steep > _EDGE_HU_PER_MM)
    image = np.zeros((*seen.shape, 4))
    image[..., :3] = _EDGE_RGB
    image[..., 3] = crest
    return _png(image)


def _slice(
    volume: Volume, second_from_ct: Transform | None, plane: Plane, depth_mm: float
) -> NDArray[np.float64]:
    if second_from_ct is not None:
        matrix = (second_from_ct.inverse @ volume.grid.lps_from_ijk).matrix
        volume = Volume(Grid.from_matrix(volume.grid.shape, matrix), volume.values)
    to_screen = Transform(_with_rows(plane.rows), target=Frame.SCREEN, source=Frame.PATIENT_LPS)
    x_mm, y_mm, z_mm = plane.centre
    field = Field(
        centre_x_mm=x_mm,
        centre_y_mm=y_mm,
        half_width_mm=HALF_MM[0],
        half_height_mm=HALF_MM[1],
        pixel_mm=PIXEL_MM,
    )
    return reslice(volume, to_screen, field, z_mm + depth_mm)


def _with_rows(rows: list[list[float]]) -> NDArray[np.float64]:
    matrix = np.eye(4)
    matrix[:3, :3] = rows
    return matrix


def _grey(values: NDArray[np.float64], low: float, high: float) -> bytes:
    grey = np.clip((values - low) / (high - low), 0.0, 1.0)
    return _png(np.repeat(grey[..., None], 3, axis=2))


def _png(image: NDArray[np.float64]) -> bytes:
    file = io.BytesIO()
    imsave(file, (255.0 * image).round().astype(np.uint8), format="png")
    return file.getvalue()
