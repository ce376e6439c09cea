"""First drafts of skin and lungs: air outside, air inside."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from vertebloc.errors import InputError
from vertebloc.outlining.first_drafts.box import cut_box, on_grid
from vertebloc.outlining.first_drafts.settings import SETTINGS
from vertebloc.space.grids import Grid, Volume

_COARSE_MM = 2.0


def whole_box(ct: Volume, spacing_mm: float) -> Volume:
    """The whole CT on even voxels along the patient's axes.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    spacing_mm : float, mm
        Size of the voxels.

    Returns
    -------
    Volume
        float32.
    """
    ends = ct.grid.corners()
    return cut_box(ct, ends.min(axis=0), ends.max(axis=0), spacing_mm)


def index_of(grid: Grid, place: ArrayLike) -> tuple[int, int, int]:
    """Voxel at a place.

    Parameters
    ----------
    grid : Grid
        Where voxels lie.
    place : (3,) float64, mm, patient LPS
        The place.

    Returns
    -------
    tuple of int
        Its index.

    Raises
    ------
    InputError
        If the place is outside.
    """
    found = np.rint(grid.lps_from_ijk.inverse.points(place)[0]).astype(int)
    if np.any(found < 0) or np.any(found >= grid.shape):
        raise InputError("the place lies outside the images: click inside them")
    return int(found[0]), int(found[1]), int(found[2])


def part_with(mask: NDArray[np.bool_], at: tuple[int, int, int], what: str) -> NDArray[np.bool_]:
    """The connected part of a mask at or within four voxels of an index.

    Parameters
    ----------
    mask : (ni, nj, nk) bool, -
        Where to look.
    at : tuple of int
        Index.
    what : str
        What is looked for, for the error's words.

    Returns
    -------
    (ni, nj, nk) bool, -
        The part.

    Raises
    ------
    InputError
        If there is none.
    """
    labels, _ = ndimage.label(mask)
    near = tuple(slice(max(a - 4, 0), a + 5) for a in at)
    here = labels[near]
    if labels[at] > 0:
        return np.asarray(labels == labels[at])
    if not here.any():
        raise InputError(f"there is no {what} at the place: click inside it")
    return np.asarray(labels == np.bincount(here[here > 0]).argmax())


def body_outline(box: Volume) -> NDArray[np.bool_]:
    """The person without table and clothes: the largest part, lungs filled.

    Parameters
    ----------
    box : Volume
        Hounsfield units of the whole CT.

    Returns
    -------
    (ni, nj, nk) bool, -
        The person; holes are filled slice by slice (across the long axis).

    Raises
    ------
    InputError
        If there is nobody in the images.
    """
    dense = np.asarray(box.values) > SETTINGS.skin_hu
    opened = ndimage.binary_opening(dense, iterations=2)
    labels, count = ndimage.label(opened)
    if not count:
        raise InputError("no person was found in the images")
    largest = labels == 1 + int(np.argmax(np.bincount(labels.ravel())[1:]))
    kept = ndimage.binary_dilation(largest, iterations=3) & dense
    for k in range(kept.shape[2]):
        kept[:, :, k] = ndimage.binary_fill_holes(kept[:, :, k])
    return np.asarray(kept)


def draft_skin(ct: Volume, place: ArrayLike) -> Volume:
    """The skin as a layer, from one place in or near it.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    place : (3,) float64, mm, patient LPS
        On the skin or inside the person.

    Returns
    -------
    Volume
        Boolean, on the CT's grid: 2 mm (assumed) under the surface against air. Where the
        images cut the person off there is none.

    Raises
    ------
    InputError
        If the place is in the air.
    """
    box = whole_box(ct, _COARSE_MM / 2.0)
    body = body_outline(box)
    if not ndimage.binary_dilation(body, iterations=3)[index_of(box.grid, place)]:
        raise InputError("the place lies in the air: click on the skin or inside the person")
    rim = np.pad(body, ((1, 1), (1, 1), (1, 1)), mode="edge")  # no skin where images end
    sampling = box.grid.spacing_mm.tolist()
    depth = ndimage.distance_transform_edt(rim, sampling=sampling)[1:-1, 1:-1, 1:-1]
    layer = body & (depth <= SETTINGS.skin_mm)
    return on_grid(Volume(box.grid, layer.astype(np.float32)), ct.grid)


def draft_lung(ct: Volume, place: ArrayLike) -> Volume:
    """The lung clicked on.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    place : (3,) float64, mm, patient LPS
        Inside the lung, not in the windpipe.

    Returns
    -------
    Volume
        Boolean, on the CT's grid; with the vessels in it, without those at its root.

    Raises
    ------
    InputError
        If there is no lung at the place.

    Notes
    -----
    Air inside the person, without narrow ways (the windpipe's branches); if the other lung
    hangs on it, they are parted where the bridge is thinnest.
    """
    box = whole_box(ct, 1.5)
    body = body_outline(box)
    values = ndimage.gaussian_filter(np.asarray(box.values, dtype=np.float32), 0.5)
    air = body & (values < SETTINGS.lung_hu)
    thickness = ndimage.distance_transform_edt(air, sampling=box.grid.spacing_mm.tolist())
    thick = np.asarray(thickness > SETTINGS.lung_thick_mm)
    labels, _ = ndimage.label(thick)
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    lungs = [int(n) for n in np.argsort(-sizes)[:2] if sizes[n] > 0.1 * sizes.max()]
    if not lungs:
        raise InputError("there is no lung in the images")
    markers = np.zeros(air.shape, dtype=np.int32)
    for number, label in enumerate(lungs, start=1):
        markers[labels == label] = number
    if len(lungs) == 1:
        markers = _two_lungs(thickness, markers)
    from skimage.segmentation import watershed

    grown = watershed(-thickness, markers, mask=air & (thickness >= 0.0))
    at = index_of(box.grid, place)
    near = tuple(slice(max(a - 2, 0), a + 3) for a in at)
    here = grown[near]
    if not here.any():
        raise InputError("there is no lung at the place: click inside a lung")
    mine = grown == np.bincount(here[here > 0]).argmax()
    mine = ndimage.binary_opening(mine, iterations=1) & mine
    closed = ndimage.binary_closing(np.pad(mine, 5), iterations=3)[5:-5, 5:-5, 5:-5]
    filled = (closed | mine) & ~((grown > 0) & ~mine)
    for k in range(filled.shape[2]):
        filled[:, :, k] = ndimage.binary_fill_holes(filled[:, :, k])
    share = ndimage.gaussian_filter(filled.astype(np.float32), 0.5)
    return on_grid(Volume(box.grid, share), ct.grid)


def _two_lungs(thickness: NDArray[np.float64], joined: NDArray[np.int32]) -> NDArray[np.int32]:
    """Markers of two lungs that hang together: thicker parts, as thick as it takes."""
    for least in np.arange(6.0, 30.0, 2.0):
        labels, count = ndimage.label((joined > 0) & (thickness > least))
        if count < 2:
            continue
        sizes = np.bincount(labels.ravel())
        sizes[0] = 0
        first, second = np.argsort(-sizes)[:2]
        if sizes[second] > 0.3 * sizes[first]:
            markers = np.zeros(joined.shape, dtype=np.int32)
            markers[labels == first], markers[labels == second] = 1, 2
            return markers
    return joined
