"""Outlines out as a DICOM structure set: closed lines along the edges of the voxels."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset
from pydicom.uid import ImplicitVRLittleEndian, RTStructureSetStorage

from vertebloc.anatomy.contours import LabelMap
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.exchange.aside import write_file_aside
from vertebloc.exchange.dicom_objects import ObjectSettings, start_object, type_of
from vertebloc.exchange.masks import BoxedMask, split_masks
from vertebloc.exchange.polygon_filling import outline_mask
from vertebloc.space.grids import Grid

#: Corners are written to 0.0001 mm and read back at most half of that away along each axis.
_DECIMALS = 4

_KINDS = {Structure.TUMOUR: "GTV", Structure.SKIN: "EXTERNAL", Structure.IMPLANT: "FIXATION"}


def write_structure_set(path: Path, label_map: LabelMap, settings: ObjectSettings) -> None:
    """Write outlines as one DICOM structure set.

    Parameters
    ----------
    path : Path
        The file; one that is there is replaced.
    label_map : LabelMap
        Outlines; each becomes a structure, also one without a voxel.
    settings : ObjectSettings
        Who, when, of which study and frame of reference.

    Raises
    ------
    InputError
        If there is no outline.

    Notes
    -----
    RT Structure Set Storage, implicit VR little endian (one outline's points may exceed the
    64 kB that explicit VR allows). The lines run along voxel edges, so the same voxels are
    inside when they are filled again; they are no smoother than the voxels.
    """
    masks = split_masks(label_map)
    if not masks:
        raise InputError("there is no outline to write")
    settings = settings.completed()
    dataset = start_object(RTStructureSetStorage, ImplicitVRLittleEndian, "RTSTRUCT", settings)
    del dataset.ContentDate, dataset.ContentTime
    dataset.StructureSetLabel = "OUTLINES"
    dataset.StructureSetDescription = "outlines, planning aid: verify against the images"
    dataset.StructureSetDate = settings.made_at.strftime("%Y%m%d")
    dataset.StructureSetTime = settings.made_at.strftime("%H%M%S")
    dataset.OperatorsName = settings.author
    frame = Dataset()
    frame.FrameOfReferenceUID = settings.frame_of_reference_uid
    dataset.ReferencedFrameOfReferenceSequence = [frame]
    numbered = list(enumerate(masks.items(), start=1))
    dataset.StructureSetROISequence = [
        _structure(n, contour, settings) for n, (contour, _) in numbered
    ]
    dataset.ROIContourSequence = [
        _outlines(n, mask, label_map.volume.grid) for n, (_, mask) in numbered
    ]
    dataset.RTROIObservationsSequence = [_observation(n, c) for n, (c, _) in numbered]
    dataset.ApprovalStatus = "UNAPPROVED"
    with write_file_aside(path) as file:
        dataset.save_as(file, enforce_file_format=True)


def _structure(number: int, contour: Contour, settings: ObjectSettings) -> Dataset:
    item = Dataset()
    item.ROINumber = number
    item.ReferencedFrameOfReferenceUID = settings.frame_of_reference_uid
    item.ROIName = contour.words[:64]
    item.ROIDescription = contour.words[:1024]
    item.ROIGenerationAlgorithm = "MANUAL"
    return item


def _observation(number: int, contour: Contour) -> Dataset:
    item = Dataset()
    item.ObservationNumber = item.ReferencedROINumber = number
    item.RTROIInterpretedType = _KINDS.get(contour.structure, "ORGAN")
    item.ROIInterpreter = ""
    item.RTROIIdentificationCodeSequence = [type_of(contour)]
    return item


def _outlines(number: int, mask: BoxedMask | None, grid: Grid) -> Dataset:
    item = Dataset()
    item.ReferencedROINumber = number
    if mask is None:
        return item
    item.ContourSequence = [_line(points) for points in _lines(mask, grid)]
    return item


def _lines(mask: BoxedMask, grid: Grid) -> Iterator[NDArray[np.float64]]:
    """Closed lines in patient LPS, slice by slice."""
    for slab in range(mask.inside.shape[2]):
        for ring in outline_mask(mask.inside[:, :, slab]):
            flat = np.column_stack((ring, np.full(len(ring), float(slab))))
            yield grid.lps_from_ijk.points(flat + mask.start)


def _line(points: NDArray[np.float64]) -> Dataset:
    item = Dataset()
    item.ContourGeometricType = "CLOSED_PLANAR"
    item.NumberOfContourPoints = len(points)
    rounded = np.round(points, _DECIMALS) + 0.0
    item.ContourData = [f"{value:.{_DECIMALS}f}" for value in rounded.ravel().tolist()]
    return item
