"""First draft of a rib from one place in it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from vertebloc.errors import InputError
from vertebloc.outlining.first_drafts.arches import Shared, bony, share_out
from vertebloc.outlining.first_drafts.box import cut_box, on_grid
from vertebloc.outlining.first_drafts.canal import find_spine
from vertebloc.outlining.first_drafts.settings import SETTINGS
from vertebloc.outlining.first_drafts.soft import index_of, part_with
from vertebloc.outlining.first_drafts.spine import Spine, lay_out
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume

_VOXEL_MM = 0.8
_BELOW_MM, _ABOVE_MM = 30.0, 85.0  #: of the click: ribs rise towards the spine
_FRONT_MM, _SIDE_MM = 190.0, 185.0


def draft_rib(ct: Volume, place: ArrayLike, side: Side | None = None) -> Volume:
    """A rib from its head to where bone ends.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    place : (3,) float64, mm, patient LPS
        Inside the rib, anywhere along it.
    side : Side or None
        The side it is said to be of, to be checked.

    Returns
    -------
    Volume
        Boolean, on the CT's grid. Which vertebra owns it is counted elsewhere.

    Raises
    ------
    InputError
        If there is no rib at the place, no spine at its height, it is of the other side, or it
        runs on into something else.

    Notes
    -----
    The spine is found by its canal and takes its share of the joints as for vertebrae; the rib
    is the bone that hangs on the place without the spine's.
    """
    at = np.ravel(np.asarray(place, dtype=np.float64))
    bodies = find_spine(ct, at[2] - _BELOW_MM, at[2] + _ABOVE_MM)
    spine = lay_out(ct, bodies)
    shared = share_out(spine.box, spine.canal, spine.bodies, with_ribs=[True] * len(spine.bodies))
    middle = float(spine.canal.line.points[:, 0].mean())
    sign = 1.0 if at[0] > middle else -1.0
    found = Side.LEFT if at[0] > middle else Side.RIGHT
    if side is not None and side is not found:
        raise InputError(
            f"the place lies on the patient's {found.value}, but the rib is said to be the "
            f"{side.value} one: check the sides"
        )
    low = np.array([min(middle, middle + sign * _SIDE_MM), at[1] - 60.0, at[2] - 130.0])
    high = np.array([max(middle, middle + sign * _SIDE_MM), 0.0, at[2] + 100.0])
    low[1] = spine.canal.line.points[:, 1].min() - _FRONT_MM
    high[1] = spine.canal.line.points[:, 1].max() + 80.0
    box = cut_box(ct, low, high, _VOXEL_MM)
    bone = bony(box) & ~_spines(spine, shared, box)
    mine = part_with(bone, index_of(box.grid, at), "rib")
    if mine.sum() * _VOXEL_MM**3 < 300.0:
        raise InputError("there is no rib at the place: click inside one")
    size_ml = float(mine.sum()) * _VOXEL_MM**3 * 1e-3
    if size_ml > SETTINGS.most_rib_ml:
        raise InputError(
            f"what hangs on the place is too large for a rib ({size_ml:.0f} ml, at most "
            f"{SETTINGS.most_rib_ml:.0f} ml): it runs on into something as bright beside it; "
            "draw this rib by hand"
        )
    closed = ndimage.binary_closing(mine, iterations=2) | mine
    for k in range(closed.shape[2]):
        closed[:, :, k] = ndimage.binary_fill_holes(closed[:, :, k])
    share = ndimage.gaussian_filter(closed.astype(np.float32), 0.5)
    return on_grid(Volume(box.grid, share), ct.grid)


def _spines(spine: Spine, shared: Shared, box: Volume) -> NDArray[np.bool_]:
    """Voxels of a box that no rib has: vertebrae's, the canal's and what lies round it."""
    taken = ((shared.owner > 0) & (shared.owner != shared.rib)) | shared.canal
    near = np.zeros(taken.shape, dtype=bool)
    for body in spine.bodies:  # whatever is left in the column of bodies and discs
        piece = tuple(
            slice(max(r.start - 6, 0), min(r.stop + 6, n))
            for r, n in zip(body.box, taken.shape, strict=True)
        )
        grid = spine.box.grid.crop([r.start for r in piece], [r.stop for r in piece])
        where = body.own(grid.centres())
        column = np.hypot(where[:, 0] / body.half_width_mm, where[:, 1] / body.half_depth_mm)
        inside = (column < 0.95) & (np.abs(where[:, 2]) < 0.5 * body.height_mm + 3.0)
        near[piece] |= inside.reshape(grid.shape)
    mine = (taken | near).astype(np.float32)
    step = spine.box.grid.lps_from_ijk.inverse.matrix @ box.grid.lps_from_ijk.matrix
    found = ndimage.affine_transform(
        mine, np.diag(step[:3, :3]), step[:3, 3], box.grid.shape, order=1, cval=0.0
    )
    return np.asarray(found > 0.4)
