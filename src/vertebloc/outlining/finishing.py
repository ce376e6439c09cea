"""An outline finished from a few strokes: it ends where the images have an edge.

Two fronts run through the images, one from the strokes inside, one from those outside and from
the rim of the region; both are slow where the images change. A voxel belongs to whichever is
there first. The fronts are SimpleITK's fast marching (Apache-2.0).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vertebloc.errors import InputError
from vertebloc.outlining.model import OutlineMask
from vertebloc.outlining.spreading import box_around, values_on_box
from vertebloc.space.grids import Volume

_MAD_TO_SD = 1.4826  # of a normal spread: 1 / its 75 % quantile
_SLOWEST = 1e-3  #: of full speed, so that every voxel is reached


@dataclass(frozen=True, slots=True, kw_only=True)
class FinishSettings:
    """How an outline is finished. Tried out on the lead made-up patient; assumed beyond it."""

    reach_mm: float = 12.0  #: the outline ends at most so far from the strokes
    smooth_mm: float = 1.0  #: detail finer than this is taken for noise
    spreads: float = 5.0  #: values farther than so many spreads from the inside count as one
    edge_spreads: float = 0.2  #: a step of so many spreads a voxel halves the front's speed


def finish_outline(
    inside: OutlineMask,
    outside: OutlineMask,
    images: Volume,
    settings: FinishSettings | None = None,
) -> OutlineMask:
    """Finish an outline from strokes inside it, and if there are any, outside it.

    Parameters
    ----------
    inside : OutlineMask
        Strokes inside: all of it stays in the outline.
    outside : OutlineMask
        Strokes outside, never in it; may be empty.
    images : Volume
        Whose edges decide.
    settings : FinishSettings or None
        Reach, smoothing, and what counts as an edge.

    Returns
    -------
    OutlineMask
        Strokes inside, and what their front reached first; without hollows of its own.

    Raises
    ------
    InputError
        If there is no stroke inside, or every one of them is also outside.

    Notes
    -----
    Values are counted in spreads (robust standard deviations) of the voxels under the strokes
    inside, about their median. Speed is 1 / (1 + (g / e)^2), g the change from voxel to voxel
    after smoothing. The rim of the box around all strokes, ``reach_mm`` beyond them, is outside.
    Where the images show no edge, the outline lies midway between the two kinds of strokes.
    """
    settings = settings or FinishSettings()
    given = inside.without(outside)
    if given.is_empty:
        raise InputError("there is no stroke inside to finish from: draw one first")
    grid = images.grid
    start, stop = box_around(given, grid.shape, settings.reach_mm / grid.spacing_mm)
    seeds = given.on_box(start, stop)
    values = values_on_box(images, start, stop)
    speed = _speed(values, seeds, grid.spacing_mm, settings)
    others = outside.on_box(start, stop)
    for axis in range(3):
        rim = np.moveaxis(others, axis, 0)
        rim[0], rim[-1] = True, True
    others &= ~seeds
    mine = _arrival(speed, seeds, grid.spacing_mm) < _arrival(speed, others, grid.spacing_mm)
    found = ndimage.binary_fill_holes(mine | seeds) & ~outside.on_box(start, stop)
    parts, _ = ndimage.label(found)
    return OutlineMask.of(start, np.isin(parts, np.unique(parts[seeds])))


def _speed(
    values: NDArray[np.float64],
    seeds: NDArray[np.bool_],
    spacing_mm: NDArray[np.float64],
    settings: FinishSettings,
) -> NDArray[np.float64]:
    under = values[seeds]
    middle = float(np.median(under))
    spread = _MAD_TO_SD * float(np.median(np.abs(under - middle)))
    counted = np.clip((values - middle) / max(spread, 1.0), -settings.spreads, settings.spreads)
    sigma = settings.smooth_mm / spacing_mm
    steps = ndimage.gaussian_gradient_magnitude(counted, sigma)
    return np.asarray(1.0 / (1.0 + (steps / settings.edge_spreads) ** 2) + _SLOWEST)


def _arrival(
    speed: NDArray[np.float64], seeds: NDArray[np.bool_], spacing_mm: NDArray[np.float64]
) -> NDArray[np.float64]:
    import SimpleITK

    itk: Any = SimpleITK
    image = itk.GetImageFromArray(np.ascontiguousarray(speed, dtype=np.float32))
    image.SetSpacing([float(mm) for mm in spacing_mm[::-1]])
    front = itk.FastMarchingImageFilter()
    front.SetTrialPoints([tuple(int(n) for n in at[::-1]) for at in np.argwhere(seeds)])
    front.SetStoppingValue(1e9)
    return np.asarray(itk.GetArrayFromImage(front.Execute(image)), dtype=np.float64)
