"""Close faces of a plan as a DICOM structure set that says it is planned, not outlined."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pydicom

from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.exchange.dicom_objects import ObjectSettings
from vertebloc.exchange.dicom_rtstruct_write import write_structure_set
from vertebloc.exchange.masks import BoxedMask, join_masks
from vertebloc.space.grids import Grid


def write_close_faces(
    path: Path,
    grid: Grid,
    regions: Sequence[tuple[str, str, BoxedMask]],
    settings: ObjectSettings,
) -> None:
    """Write regions about close faces.

    Parameters
    ----------
    path : Path
        The file; one that is there is replaced.
    grid : Grid
        Of the images.
    regions : sequence of (str, str, BoxedMask)
        Name of the face, a sentence on it, and its voxels.
    settings : ObjectSettings
        Who, when, of which study and frame of reference.

    Raises
    ------
    InputError
        If there is no region.
    """
    masks = [(Contour(Structure.OTHER, part=f"planned {name}"), mask) for name, _, mask in regions]
    write_structure_set(path, join_masks(grid, masks), settings)
    dataset = pydicom.dcmread(path)
    dataset.StructureSetLabel = "CLOSE FACES"
    dataset.StructureSetDescription = "PLANNED faces near tumour, before the operation: verify"
    for item, (name, sentence, _) in zip(dataset.StructureSetROISequence, regions, strict=True):
        item.ROIName = f"PLANNED close face: {name}"[:64]
        item.ROIDescription = sentence[:1024]
        item.ROIGenerationAlgorithm = "AUTOMATIC"
    for item in dataset.RTROIObservationsSequence:
        item.RTROIInterpretedType = "CONTROL"
    dataset.save_as(path, enforce_file_format=True)
