"""DICOM structure sets in: closed outlines in planes, whatever way the planes lie."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.contours import LabelMap
from vertebloc.errors import InputError
from vertebloc.exchange.dicom_seg import told_apart
from vertebloc.exchange.masks import BoxedMask, boxed, join_masks
from vertebloc.exchange.meanings import ForeignName, contours_of
from vertebloc.exchange.polygon_filling import fill_pixels, fill_polygons
from vertebloc.space.grids import Grid

_FLAT_MM = 0.05  #: points of one outline may lie this far off its plane; they are written rounded
_PARALLEL = 1e-3  #: sine of the angle between the planes of one structure
_SAME_PLANES = 1e-4  #: sine of the angle to the CT's slices below which they are filled by rows
_FAR_MM = 1e5


def read_structure_set(dataset: Any, label: str, grid: Grid) -> tuple[LabelMap, tuple[str, ...]]:
    """Read a DICOM structure set onto the grid of its CT.

    Parameters
    ----------
    dataset : pydicom.Dataset
        The whole object.
    label : str
        The file's name in messages.
    grid : Grid
        The CT's grid.

    Returns
    -------
    label_map : LabelMap
        Every structure as an outline, overlaps kept.
    notes : tuple of str
        Structures without an outline, outlines that enclose nothing, points and open lines.

    Raises
    ------
    InputError
        If the object is damaged, or an outline is not flat.

    Notes
    -----
    A voxel is inside if its centre lies inside an odd number of outlines of the plane next to
    it, and no farther from that plane than half the least gap between the structure's planes
    (at least half a slice of the CT). Holes may be outlines of their own or joined to the outer
    one by a line that runs there and back.
    """
    names, taken = contours_of(
        {
            int(item.ROINumber): ForeignName(
                label=str(item.get("ROIName", "")),
                description=str(item.get("ROIDescription", "")),
            )
            for item in dataset.get("StructureSetROISequence") or []
        }
    )
    if not names:
        raise InputError(f"{label} lists no structure: it holds no outline")
    notes = list(taken)
    masks: dict[int, BoxedMask | None] = {}
    for item in dataset.get("ROIContourSequence") or []:
        number = int(item.ReferencedROINumber)
        if number not in names:
            raise InputError(f"{label}: outlines of structure {number}, which is not listed")
        rings = _rings(item, f"{label}, {names[number].words}", notes)
        if rings:
            masks[number] = _mask(rings, grid, f"{label}, {names[number].words}")
    fixed, more = told_apart(names)
    listed = [(contour, masks.get(number)) for number, contour in fixed.items()]
    empty = [contour.words for contour, mask in listed if mask is None]
    if empty:
        notes.append(f"structures without a voxel: {', '.join(empty)}")
    return join_masks(grid, listed), (*notes, *more)


def _rings(item: Any, where: str, notes: list[str]) -> list[NDArray[np.float64]]:
    rings, left_out = [], 0
    for contour in item.get("ContourSequence") or []:
        kind = str(contour.get("ContourGeometricType", ""))
        try:
            p = np.array(contour.get("ContourData") or [], dtype=np.float64).reshape(-1, 3)
        except (TypeError, ValueError) as error:
            raise InputError(f"{where}: an outline's points are no numbers in threes") from error
        if p.size and not np.all(np.abs(p) < _FAR_MM):
            raise InputError(f"{where}: an outline has points that are no places in a patient")
        if kind in ("CLOSED_PLANAR", "CLOSEDPLANAR_XOR") and len(p) >= 3:
            rings.append(p)
        else:
            left_out += 1
    if left_out:
        what = "points, open lines or outlines of fewer than three points"
        notes.append(f"{where.split(', ', 1)[1]}: {left_out} {what} left out")
    return rings


def _mask(rings: list[NDArray[np.float64]], grid: Grid, where: str) -> BoxedMask | None:
    """Voxels whose centres lie within the outlines."""
    normal = _normal(rings, where)
    offsets = np.array([float(np.mean(ring @ normal)) for ring in rings])
    for ring, offset in zip(rings, offsets, strict=True):
        off = float(np.abs(ring @ normal - offset).max())
        if off > _FLAT_MM:
            raise InputError(
                f"{where}: an outline lies up to {off:.2f} mm off one plane shared by all "
                f"({_FLAT_MM:g} mm allowed): draw it in parallel planes"
            )
    planes = _planes(offsets)
    gaps = np.diff(planes)
    slices = grid.lps_from_ijk.matrix[:3, :3]
    thickness = float(np.abs(normal @ slices).max())  # how far one voxel step goes across planes
    half = 0.5 * max(thickness, float(gaps.min()) if len(gaps) else 0.0)
    step = np.cross(slices[:, 0], slices[:, 1])
    if np.linalg.norm(np.cross(step, normal)) < _SAME_PLANES * np.linalg.norm(step):
        return _mask_by_slices(rings, offsets, planes, normal, half, grid)
    return _mask_across_slices(rings, offsets, planes, normal, half, grid)


def _mask_across_slices(
    rings: list[NDArray[np.float64]],
    offsets: NDArray[np.float64],
    planes: NDArray[np.float64],
    normal: NDArray[np.float64],
    half: float,
    grid: Grid,
) -> BoxedMask | None:
    """The same for outlines in planes that cross the CT's slices."""
    across = np.linalg.svd(normal[None, :])[2][1:]  # two directions in the plane
    rows = np.vstack((normal, across)) @ grid.lps_from_ijk.matrix[:3]  # places from voxel indices
    box = _near(rings, grid, half)
    height = _along(rows[0], box).ravel()
    nearest = np.zeros(len(height), dtype=np.int64) if len(planes) < 2 else (
        _nearest(planes, height)
    )  # fmt: skip
    near = np.flatnonzero(np.abs(height - planes[nearest]) <= half * (1.0 + 1e-6))
    near = near[np.argsort(nearest[near], kind="stable")]  # plane after plane
    ends = np.searchsorted(nearest[near], np.arange(len(planes) + 1))
    found = np.zeros(len(height), dtype=bool)
    shape = tuple(r.stop - r.start for r in box)
    for number, plane in enumerate(planes):
        here = near[ends[number] : ends[number + 1]]
        index = np.unravel_index(here, shape)
        flat = np.stack(
            [
                sum(row[n] * (index[n] + box[n].start) for n in range(3)) + row[3]
                for row in rows[1:]
            ],
            axis=1,
        )
        own = [
            ring @ across.T
            for ring, offset in zip(rings, offsets, strict=True)
            if abs(offset - plane) <= _FLAT_MM
        ]
        found[here] = fill_polygons(own, flat)
    inside = np.zeros(grid.shape, dtype=bool)
    inside[box] = found.reshape(shape)
    return boxed(inside)


def _along(row: NDArray[np.float64], box: tuple[slice, slice, slice]) -> NDArray[np.float64]:
    """A linear function of the voxel indices, all over a box."""
    i, j, k = (row[n] * np.arange(box[n].start, box[n].stop) for n in range(3))
    return np.asarray(row[3] + i[:, None, None] + j[None, :, None] + k[None, None, :])


def _mask_by_slices(
    rings: list[NDArray[np.float64]],
    offsets: NDArray[np.float64],
    planes: NDArray[np.float64],
    normal: NDArray[np.float64],
    half: float,
    grid: Grid,
) -> BoxedMask | None:
    """The same for outlines that lie in planes parallel to the CT's slices."""
    inside = np.zeros(grid.shape, dtype=bool)
    inverse = grid.lps_from_ijk.inverse
    flat = [inverse.points(ring)[:, :2] for ring in rings]
    middles = np.column_stack((np.zeros((grid.shape[2], 2)), np.arange(grid.shape[2])))
    for k, height in enumerate(grid.lps_from_ijk.points(middles) @ normal):
        plane = planes[int(np.abs(planes - height).argmin())]
        if abs(height - plane) > half * (1.0 + 1e-6):
            continue
        # a tilted stack moves along its slices on the way from the plane to the slice
        own = [
            ring + (inverse.vectors((height - plane) * normal)[0, :2])
            for ring, offset in zip(flat, offsets, strict=True)
            if abs(offset - plane) <= _FLAT_MM
        ]
        inside[:, :, k] = fill_pixels(own, grid.shape[:2])
    return boxed(inside)


def _normal(rings: list[NDArray[np.float64]], where: str) -> NDArray[np.float64]:
    """The planes' shared normal, from the outline that encloses most."""
    areas = []
    for ring in rings:
        own = ring - ring.mean(axis=0)
        areas.append(0.5 * np.cross(own, np.roll(own, -1, axis=0)).sum(axis=0))
    sizes = np.linalg.norm(areas, axis=1)
    largest = int(np.argmax(sizes))
    if sizes[largest] < 1e-6:
        raise InputError(f"{where}: its outlines enclose no area")
    normal = areas[largest] / sizes[largest]
    for area, size in zip(areas, sizes, strict=True):
        if size > 1.0 and np.linalg.norm(np.cross(area / size, normal)) > 10 * _PARALLEL:
            raise InputError(f"{where}: its outlines lie in planes that are not parallel")
    return np.asarray(normal)


def _planes(offsets: NDArray[np.float64]) -> NDArray[np.float64]:
    ordered = np.sort(offsets)
    starts = np.concatenate(([True], np.diff(ordered) > 2.0 * _FLAT_MM))
    return np.asarray(ordered[starts])


def _nearest(planes: NDArray[np.float64], height: NDArray[np.float64]) -> NDArray[np.int64]:
    above = np.clip(np.searchsorted(planes, height), 1, len(planes) - 1)
    below = above - 1
    lower = height - planes[below] <= planes[above] - height
    return np.where(lower, below, above)


def _near(rings: list[NDArray[np.float64]], grid: Grid, half: float) -> tuple[slice, slice, slice]:
    """The box of voxels that the outlines reach."""
    p = np.concatenate(rings)
    ends = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]) * half
    index = grid.lps_from_ijk.inverse.points((p[:, None, :] + ends).reshape(-1, 3))
    shape = np.array(grid.shape)
    low = np.clip(np.floor(index.min(axis=0)), 0, shape).astype(int)
    high = np.clip(np.ceil(index.max(axis=0)) + 1, low, shape).astype(int)
    return slice(low[0], high[0]), slice(low[1], high[1]), slice(low[2], high[2])
