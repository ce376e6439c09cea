"""First draft of all bone: bright, and hanging on cortex rather than filled with contrast."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage

from vertebloc.errors import InputError
from vertebloc.outlining.first_drafts.arches import bony
from vertebloc.outlining.first_drafts.box import on_grid
from vertebloc.outlining.first_drafts.settings import SETTINGS
from vertebloc.outlining.first_drafts.soft import index_of, whole_box
from vertebloc.space.grids import Volume

_VOXEL_MM = 1.0


def draft_bone(ct: Volume, place: ArrayLike) -> Volume:
    """All bone in the images, from one place in a bone.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    place : (3,) float64, mm, patient LPS
        Inside a bone.

    Returns
    -------
    Volume
        Boolean, on the CT's grid: every bone, not only the one clicked on; vessels filled with
        contrast are left out.

    Raises
    ------
    InputError
        If there is no bone at the place.

    Notes
    -----
    Bright voxels are split into cores, each more than 2.5 mm from anything that is not of
    middling brightness (not even from cortex). A core is the inside of a bone if the rim of
    bright voxels around it is no darker than itself; a vessel's or an organ's rim is. Cortex
    and cores then share out what is left, nearest first.
    """
    from skimage.segmentation import watershed

    box = whole_box(ct, _VOXEL_MM)
    values = np.asarray(box.values, dtype=np.float32)
    bright = bony(box)
    contrast, spread = _contrast_level(values, bright)
    cortex = bright & (values > max(SETTINGS.cortex_hu, contrast + 3.0 * spread))
    cortex = _without_crumbs(cortex)
    cores = _cores(bright & ~cortex)
    markers = _ringed(values, bright, cores)[cores]
    markers[cortex] = 1
    shared = watershed(ndimage.gaussian_gradient_magnitude(values, 0.7), markers, mask=bright)
    bone = _without_crumbs(shared == 1)
    bone = _filled(bone, shared == 2)
    at = index_of(box.grid, place)
    near = tuple(slice(max(a - 2, 0), a + 3) for a in at)
    if not bone[near].any():
        raise InputError("there is no bone at the place: click inside a bone")
    share = ndimage.gaussian_filter(bone.astype(np.float32), 0.5)
    return on_grid(Volume(box.grid, share), ct.grid)


def _contrast_level(values: NDArray[np.float32], bright: NDArray[np.bool_]) -> tuple[float, float]:
    """Mean and spread of the brightest large even region: blood with contrast, if there is."""
    inner = ndimage.binary_erosion(bright, iterations=6)
    labels, count = ndimage.label(inner)
    if not count:
        return 0.0, 0.0
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    core = values[labels == int(np.argmax(sizes))]
    middle = float(np.median(core))
    return middle, float(1.4826 * np.median(np.abs(core - middle)))


def _without_crumbs(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Parts of at least a bone's size."""
    labels, _ = ndimage.label(mask, structure=np.ones((3, 3, 3)))
    sizes = np.bincount(labels.ravel()) * _VOXEL_MM**3
    keep = sizes > SETTINGS.least_bone_mm3
    keep[0] = False
    return np.asarray(keep[labels])


def _cores(middling: NDArray[np.bool_]) -> NDArray[np.int32]:
    depth = ndimage.distance_transform_edt(middling)
    labels, _ = ndimage.label(depth > 2.5)
    return np.asarray(labels, dtype=np.int32)


def _ringed(
    values: NDArray[np.float32], bright: NDArray[np.bool_], cores: NDArray[np.int32]
) -> NDArray[np.int32]:
    """For each core 1 if the rim around is as bright (bone), 2 if darker, 0 if too small."""
    depth = ndimage.distance_transform_edt(bright)
    found = ndimage.distance_transform_edt(cores == 0, return_indices=True)
    distance, nearest = found[0], found[1]
    rim = bright & (depth <= 2.2) & (distance <= 10.0)
    owner = cores[tuple(nearest[:, rim])]
    verdict = np.zeros(int(cores.max()) + 1, dtype=np.int32)
    sizes = np.bincount(cores.ravel())
    inside = ndimage.median(values, cores, np.arange(len(verdict)))
    around = ndimage.median(values[rim], owner, np.arange(len(verdict)))
    large = sizes * _VOXEL_MM**3 >= SETTINGS.least_core_mm3
    darker = np.asarray(around) < np.asarray(inside) - SETTINGS.rim_darker_hu
    verdict[large & ~darker], verdict[large & darker] = 1, 2
    verdict[0] = 0
    return verdict


def _filled(bone: NDArray[np.bool_], vessel: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Spongy bone darker than the threshold, ringed by cortex, is bone too; canals are not."""
    closed = ndimage.binary_closing(bone, iterations=2) | bone
    filled = ndimage.binary_fill_holes(closed)
    for k in range(bone.shape[2]):
        holes = ndimage.binary_fill_holes(closed[:, :, k]) & ~closed[:, :, k]
        labels, _ = ndimage.label(holes)
        sizes = np.bincount(labels.ravel()) * _VOXEL_MM**2
        small = sizes < SETTINGS.most_hole_mm2
        small[0] = False
        filled[:, :, k] |= small[labels]
    return np.asarray(filled & ~vessel)
