"""A made-up ellipsoid tumour painted into anybody's label map."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.anatomy.contours import LabelMap
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.made_up.sampling import sample_solid
from vertebloc.space.grids import Volume
from vertebloc.space.solids import Ellipsoid

TUMOUR = Contour(Structure.TUMOUR)
_THIN_BAND_MM = 0.01  #: enough to keep the sign


def add_ellipsoid_tumour(
    label_map: LabelMap, centre: ArrayLike, axes: ArrayLike, half_axes_mm: ArrayLike
) -> tuple[LabelMap, Ellipsoid]:
    """Paint an ellipsoid into a label map as tumour; what it takes keeps its old names too.

    Parameters
    ----------
    label_map : LabelMap
        Outlines to add the tumour to; it is left as it is, a new one is returned.
    centre : (3,) float64, mm, patient LPS
        Middle of the ellipsoid.
    axes : (3, 3) float64, -
        Rows: unit vectors of the half axes in patient LPS, such as a vertebra's own axes
        (``lps_from_vertebra.matrix[:3, :3].T``): left, back, head.
    half_axes_mm : (3,) float64, mm
        Half axes along them.

    Returns
    -------
    tuple of LabelMap and Ellipsoid
        The new outlines, and the closed form of what was painted. Each label under the
        tumour gets a new number that stands for its old names and the tumour: bone of T8
        stays bone of T8.

    Raises
    ------
    InputError
        If no voxel centre lies in the ellipsoid, if it reaches out of the grid, or if the
        outlines hold a tumour already.

    Notes
    -----
    A voxel belongs to the tumour if its centre lies in the ellipsoid. This is a made-up
    tumour for trying things out: nothing in the images shows it.
    """
    solid = Ellipsoid(np.asarray(centre), np.asarray(half_axes_mm), np.asarray(axes))
    if any(TUMOUR.structure is c.structure for named in label_map.names.values() for c in named):
        raise InputError("these outlines hold a tumour already: add a made-up one to others")
    grid = label_map.volume.grid
    low, high = solid.bounds_mm()
    ends = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)])
    if not grid.contains(low + ends * (high - low)).all():
        raise InputError(
            f"the ellipsoid from {low.round(1).tolist()} to {high.round(1).tolist()} mm reaches "
            "out of the label map: move or shrink it"
        )
    inside = np.zeros(grid.shape, dtype=bool)
    for block in sample_solid(solid, grid, _THIN_BAND_MM):
        inside[block.box] = True if block.distance_mm is None else block.distance_mm < 0.0
    if not inside.any():
        raise InputError("no voxel centre lies in the ellipsoid: make it larger")
    return _with_tumour(label_map, inside), solid


def _with_tumour(label_map: LabelMap, inside: NDArray[np.bool_]) -> LabelMap:
    """New numbers, above all old ones, for what lies under the tumour."""
    old = label_map.volume.values
    covered, which = np.unique(old[inside], return_inverse=True)
    first = max(int(old.max()), *label_map.names, 0) + 1
    labels = old.astype(np.min_scalar_type(first + len(covered) - 1))
    labels[inside] = (first + which).astype(labels.dtype)
    names = dict(label_map.names)
    for number, value in enumerate(covered.tolist(), start=first):
        names[number] = (*label_map.names.get(value, ()), TUMOUR)
    return LabelMap(Volume(label_map.volume.grid, labels), names)
