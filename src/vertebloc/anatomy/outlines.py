"""Masks and points of outlines, whether they came as labels or as closed surfaces.

Surfaces are filled on an own grid of 1 mm along the patient's axes: enough to find frames,
sides and owners of ribs, not for margins, which are measured on the surfaces themselves.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from vertebloc.anatomy.contours import ContourSet, mask_on_box
from vertebloc.anatomy.structures import Contour
from vertebloc.errors import InputError
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Points

FILL_MM = 1.0  #: voxel size on which surfaces are filled
_LATTICE_AT = 0.437  #: of a voxel: off the round numbers at which drawn surfaces like to lie
_MOST_VOXELS = 200_000_000  #: more would take over 1 GiB on the way


def outline_mask(contours: ContourSet, wanted: tuple[Contour, ...]) -> Volume | None:
    """Mask of the given outlines together, on their own box.

    Parameters
    ----------
    contours : ContourSet
        Where to look; an outline given both ways is taken from the label map.
    wanted : tuple of Contour
        Outlines to unite.

    Returns
    -------
    Volume or None
        Boolean volume; None if none of them has a voxel or a surface.

    Raises
    ------
    InputError
        If some of them are labels and others surfaces, or a surface is too large to fill.
    """
    found = mask_on_box(contours.label_map, wanted) if contours.label_map is not None else None
    labelled: set[Contour] = set()
    if contours.label_map is not None:
        present = contours.label_map.boxes()
        labelled = {
            c for c in wanted if any(v in present for v in contours.label_map.values_of(c))
        }
    surfaces = [contours.surfaces[c] for c in wanted if c in contours.surfaces]
    only_surface = [c for c in wanted if c in contours.surfaces and c not in labelled]
    if found is None:
        return fill_surfaces(surfaces) if surfaces else None
    if only_surface:
        raise InputError(
            f"{only_surface[0].words} is a surface while {min(labelled, key=str).words} is a "
            "label: give outlines of one kind all as labels or all as surfaces"
        )
    return found


def fill_surfaces(surfaces: list[TriangleSurface]) -> Volume:
    """Voxels whose centres lie inside closed surfaces, on a grid of ``FILL_MM``.

    Parameters
    ----------
    surfaces : list of TriangleSurface
        Closed surfaces, patient LPS; their insides are united.

    Returns
    -------
    Volume
        Boolean volume on a grid along the patient's axes with one empty voxel all round.

    Raises
    ------
    InputError
        If a surface is open, or the box would hold more than 200 million voxels.

    Notes
    -----
    Parity of crossings along z. The corners are shifted by 1e-4 voxels so that no column
    runs exactly through an edge. All surfaces are filled on one lattice, so that their
    masks are cut from one grid.
    """
    from vertebloc.anatomy._kernels import count_crossings  # brings numba: only where needed

    if any(not surface.is_closed for surface in surfaces):
        raise InputError("a surface is open: close it, or give the outline as labels")
    low = np.min([s.vertices.min(axis=0) for s in surfaces], axis=0) - 1.5 * FILL_MM
    low = (np.floor(low / FILL_MM - _LATTICE_AT) + _LATTICE_AT) * FILL_MM
    high = np.max([s.vertices.max(axis=0) for s in surfaces], axis=0) + 1.5 * FILL_MM
    size = np.ceil((high - low) / FILL_MM).astype(int) + 1
    if float(np.prod(size.astype(float))) > _MOST_VOXELS:
        raise InputError(
            f"surfaces spread over {(high - low).round().tolist()} mm are too much to fill: "
            "check that they are in mm and in patient LPS"
        )
    shape = (int(size[0]), int(size[1]), int(size[2]))
    matrix = np.diag([FILL_MM, FILL_MM, FILL_MM, 1.0])
    matrix[:3, 3] = low
    inside = np.zeros(shape, dtype=bool)
    for surface in surfaces:
        corners = (surface.corners - low) / FILL_MM + np.array([1.23e-4, 2.71e-4, 0.0])
        flips = count_crossings(np.ascontiguousarray(corners), shape)
        inside |= np.bitwise_xor.accumulate(flips, axis=2).astype(bool)
    return Volume(Grid.from_matrix(shape, matrix), inside)


def mask_points(mask: Volume) -> Points:
    """Centres of the true voxels.

    Parameters
    ----------
    mask : Volume
        Boolean volume.

    Returns
    -------
    (n, 3) float64, mm, patient LPS
        One a voxel, k fastest.
    """
    return mask.grid.lps_from_ijk.points(np.argwhere(mask.values).astype(np.float64))


def sample_mask(mask: Volume, points: ArrayLike) -> NDArray[np.float32]:
    """Mask between voxel centres by linear interpolation.

    Parameters
    ----------
    mask : Volume
        Boolean volume.
    points : (..., 3) float64, mm, patient LPS
        Where to look; any number of leading axes.

    Returns
    -------
    (...) float32, -
        0 to 1, 0 outside the box; the surface of the mask is where it passes 0.5.
    """
    where = np.asarray(points, dtype=np.float64)
    index = mask.grid.lps_from_ijk.inverse.points(where.reshape(-1, 3)).T
    values = ndimage.map_coordinates(
        mask.values.astype(np.uint8), index, order=1, output=np.float32, cval=0.0
    )
    return np.asarray(values.reshape(where.shape[:-1]))


def split_components(mask: Volume) -> list[Volume]:
    """Connected parts of a mask (26 neighbours).

    Parameters
    ----------
    mask : Volume
        Boolean volume.

    Returns
    -------
    list of Volume
        Largest first, each on its own box.
    """
    labels, _ = ndimage.label(np.asarray(mask.values, dtype=bool), structure=np.ones((3, 3, 3)))
    parts = []
    for number, box in enumerate(ndimage.find_objects(labels), start=1):
        grid = mask.grid.crop([r.start for r in box], [r.stop for r in box])
        parts.append(Volume(grid, np.ascontiguousarray(labels[box] == number)))
    return sorted(parts, key=lambda part: -int(np.count_nonzero(part.values)))


def mask_on_lattice(mask: Volume, grid: Grid) -> Volume:
    """A mask on the voxels of another grid, continued to wherever the mask reaches.

    Parameters
    ----------
    mask : Volume
        Boolean volume.
    grid : Grid
        Gives spacing, axes and where voxel centres lie.

    Returns
    -------
    Volume
        Marks the centres that lie in the mask; the same voxels if both share one lattice.
    """
    corners = grid.lps_from_ijk.inverse.points(mask.grid.corners())
    start = np.floor(corners.min(axis=0)).astype(int)
    stop = np.ceil(corners.max(axis=0)).astype(int) + 1
    box = grid.crop(start, stop)
    return Volume(box, np.asarray(sample_mask(mask, box.centres()) > 0.5).reshape(box.shape))


def unite_masks(masks: list[Volume]) -> Volume:
    """Union of masks that were cut from one grid.

    Parameters
    ----------
    masks : list of Volume
        At least one boolean volume.

    Returns
    -------
    Volume
        On their common box.

    Raises
    ------
    InputError
        If they were not cut from one grid.
    """
    base = masks[0].grid.lps_from_ijk
    starts, stops = [], []
    for mask in masks:
        start = base.inverse.points(mask.grid.lps_from_ijk.origin)[0]
        axes = mask.grid.lps_from_ijk.matrix[:3, :3]
        if np.abs(start - np.round(start)).max() > 1e-3 or not np.allclose(
            axes, base.matrix[:3, :3]
        ):
            raise InputError("masks to be united were not cut from one grid")
        starts.append(np.round(start).astype(int))
        stops.append(starts[-1] + mask.values.shape)
    low, high = np.min(starts, axis=0), np.max(stops, axis=0)
    values = np.zeros(high - low, dtype=bool)
    for mask, start, stop in zip(masks, starts, stops, strict=True):
        box = tuple(slice(int(a), int(b)) for a, b in zip(start - low, stop - low, strict=True))
        values[box] |= mask.values.astype(bool)
    return Volume(masks[0].grid.crop(low, high), values)
