"""An outline made tidy: crumbs dropped, its edge softened by no more than was said."""

from __future__ import annotations

import numpy as np
from scipy import ndimage

from vertebloc.errors import InputError
from vertebloc.outlining.model import OutlineMask
from vertebloc.outlining.spreading import box_around
from vertebloc.space.grids import Grid

#: Crumbs smaller than this are dropped unless told otherwise, ml. Assumed: nobody measured it.
CRUMB_ML = 0.1
#: How far softening may move an edge unless told otherwise, mm. Assumed: nobody measured it.
SOFTEN_MM = 1.5
_TOUCHING = np.ones((3, 3, 3), dtype=np.bool_)  # corners too: what touches is no crumb


def drop_crumbs(mask: OutlineMask, grid: Grid, smaller_than_ml: float = CRUMB_ML) -> OutlineMask:
    """Drop pieces that lie apart and are small; the largest piece always stays.

    Parameters
    ----------
    mask : OutlineMask
        The outline.
    grid : Grid
        Of the images.
    smaller_than_ml : float, ml
        Smaller pieces go.

    Returns
    -------
    OutlineMask
        The rest.

    Raises
    ------
    InputError
        If there is no crumb.
    """
    parts, count = ndimage.label(mask.inside, structure=_TOUCHING)
    sizes = np.bincount(parts.reshape(-1), minlength=count + 1)
    sizes[0] = 0
    large = sizes * grid.voxel_volume_mm3 / 1000.0 >= smaller_than_ml
    large[0] = False
    if count:
        large[int(np.argmax(sizes))] = True
    if int(np.count_nonzero(large)) == count:
        raise InputError(f"there is no piece smaller than {smaller_than_ml:g} ml that lies apart")
    return OutlineMask.of(mask.start, large[parts])


def soften_edge(mask: OutlineMask, grid: Grid, at_most_mm: float = SOFTEN_MM) -> OutlineMask:
    """Smooth an outline's edge, and never move it farther than was said.

    Parameters
    ----------
    mask : OutlineMask
        The outline.
    grid : Grid
        Of the images.
    at_most_mm : float, mm
        A voxel changes only if one of the other kind was at most so far off, middle to middle.

    Returns
    -------
    OutlineMask
        Softened.

    Raises
    ------
    InputError
        If nothing is drawn, the distance is not above 0 and at most 10 mm, or no voxel changes.

    Notes
    -----
    The signed distance to the edge is smoothed (Gaussian, sigma = ``at_most_mm``) and cut at 0.
    Smoothing draws a round edge of radius r inwards by about sigma^2 / r; a flat one stays.
    """
    if not 0.0 < at_most_mm <= 10.0:
        raise InputError(f"an edge softened by {at_most_mm:g} mm: above 0, at most 10 is taken")
    if mask.is_empty:
        raise InputError("nothing is drawn yet: there is no edge to soften")
    start, stop = box_around(mask, grid.shape, 4.0 * at_most_mm / grid.spacing_mm)
    inside = mask.on_box(start, stop)
    within = ndimage.distance_transform_edt(inside, sampling=grid.spacing_mm)
    beyond = ndimage.distance_transform_edt(~inside, sampling=grid.spacing_mm)
    near = np.maximum(within, beyond) <= at_most_mm
    half = 0.5 * float(np.min(grid.spacing_mm))
    signed = np.where(inside, within - half, half - beyond)
    smooth = ndimage.gaussian_filter(signed, at_most_mm / grid.spacing_mm, mode="nearest")
    softened = np.where(near, smooth > 0.0, inside)
    found = OutlineMask.of(start, softened)
    if found.is_same(mask):
        raise InputError(
            f"no voxel changes within {at_most_mm:g} mm: the edge is even already, or voxels are "
            "larger than that"
        )
    return found
