"""Is the outlined tumour one that can be planned for: whole in the images, and in the vertebra?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vertebloc.anatomy import ContourSet, Structure
from vertebloc.anatomy.contours import LabelMap, mask_on_box
from vertebloc.errors import InputError
from vertebloc.resection import ResectionSolids
from vertebloc.space.grids import Volume

#: A part smaller than this that lies apart is a speck of outlining, mm3 (assumed).
SPECK_MM3 = 10.0


def check_outline(contours: ContourSet) -> tuple[str, ...]:
    """Refuse a tumour that the images cut off; say if it lies in several parts.

    Parameters
    ----------
    contours : ContourSet
        All outlines.

    Returns
    -------
    tuple of str
        Lines for the plan's assumptions; none for a tumour in one part, and none for surfaces,
        which do not end at the images' edge. An empty outline is refused where it is measured.

    Raises
    ------
    InputError
        If the outlined tumour reaches the edge of the images.
    """
    label_map = contours.label_map
    mask = mask_on_box(label_map, contours.of(Structure.TUMOUR)) if label_map else None
    if label_map is None or mask is None:
        return ()
    _refuse_at_edge(label_map, mask)
    parts, _ = ndimage.label(mask.values.astype(np.uint8), np.ones((3, 3, 3), dtype=np.uint8))
    volumes_mm3 = np.bincount(parts.ravel())[1:] * mask.grid.voxel_volume_mm3
    large = sorted((mm3 for mm3 in volumes_mm3.tolist() if mm3 >= SPECK_MM3), reverse=True)
    if len(large) < 2:
        return ()
    sizes = ", ".join(f"{mm3 / 1000.0:.2f} ml" for mm3 in large)
    return (
        f"the tumour is outlined in {len(large)} separate parts ({sizes}): each counts as tumour",
    )


def check_place(contours: ContourSet, solids: ResectionSolids) -> None:
    """Refuse a tumour that neither lies in the chosen vertebra nor touches it.

    Parameters
    ----------
    contours : ContourSet
        All outlines. A biopsy tract counts as tumour elsewhere; it may run through any bone, so
        that it says nothing of where the tumour lies.
    solids : ResectionSolids
        Bone around the chosen level.

    Raises
    ------
    InputError
        If the tumour ends more than a voxel from the bone.
    """
    points = _outlined_points(contours)
    if not len(points):
        return
    gap_mm = float(solids.bone_field.signed_distance_mm(points).min())
    if gap_mm > float(np.max(solids.bone_field.distances.grid.spacing_mm)):
        raise InputError(
            f"the outlined tumour does not lie in {solids.level}: it ends {gap_mm:.1f} mm from "
            "it; choose the vertebra that it lies in, or correct the outline"
        )


def _outlined_points(contours: ContourSet) -> NDArray[np.float64]:
    """Voxel middles or corners of the tumour's own outlines, (n, 3)."""
    wanted = contours.of(Structure.TUMOUR)
    found = [contours.surfaces[one].vertices for one in wanted if one in contours.surfaces]
    label_map = contours.label_map
    mask = mask_on_box(label_map, wanted) if label_map else None
    if mask is not None:
        found.append(mask.grid.lps_from_ijk.points(np.argwhere(mask.values)))
    return np.concatenate(found) if found else np.empty((0, 3))


def _refuse_at_edge(label_map: LabelMap, mask: Volume) -> None:
    # voxel axes need not run along the patient's: which edge it is, is not said
    grid = label_map.volume.grid
    ends = grid.lps_from_ijk.inverse.points(mask.grid.lps_from_ijk.points([[0.0, 0.0, 0.0]]))[0]
    start = np.rint(ends)
    if (start <= 0).any() or (start + mask.grid.shape >= grid.shape).any():
        raise InputError(
            "the outlined tumour reaches the edge of the images: what lies beyond cannot be "
            "planned; import images that show all of it, or correct the outline"
        )
