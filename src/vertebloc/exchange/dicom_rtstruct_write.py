"""Outlines out as a DICOM structure set: closed lines along the edges of the voxels."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset
from pydicom.uid import ImplicitVRLittleEndian, RTStructureSetStorage

from vertebloc.anatomy.contours import LabelMap
from vertebloc.errors import InputError
from vertebloc.exchange.aside import write_file_aside
from vertebloc.exchange.dicom_objects import (
    OUTLINES,
    AboutObject,
    ObjectSettings,
    Region,
    region_of,
    start_object,
)
from vertebloc.exchange.masks import BoxedMask, split_masks
from vertebloc.exchange.polygon_filling import outline_mask
from vertebloc.space.grids import Grid

#: Corners are written to 0.0001 mm and read back at most half of that away along each axis.
_DECIMALS = 4


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
    regions = [region_of(contour, mask) for contour, mask in masks.items()]
    write_structures(path, label_map.volume.grid, regions, OUTLINES, settings)


def write_structures(
    path: Path,
    grid: Grid,
    regions: Sequence[Region],
    about: AboutObject,
    settings: ObjectSettings,
) -> None:
    """Write regions as one DICOM structure set, as ``write_structure_set`` does.

    Parameters
    ----------
    path : Path
        The file; one that is there is replaced.
    grid : Grid
        Of the images.
    regions : sequence of Region
        At least one; each becomes a structure, also one without a voxel.
    about : AboutObject
        What it says it holds.
    settings : ObjectSettings
        Who, when, of which study and frame of reference.
    """
    settings = settings.completed()
    dataset = start_object(RTStructureSetStorage, ImplicitVRLittleEndian, "RTSTRUCT", settings)
    del dataset.ContentDate, dataset.ContentTime
    dataset.SeriesDescription = about.series
    dataset.StructureSetLabel = about.label
    dataset.StructureSetDescription = about.description
    dataset.StructureSetDate = settings.made_at.strftime("%Y%m%d")
    dataset.StructureSetTime = settings.made_at.strftime("%H%M%S")
    dataset.OperatorsName = settings.author
    frame = Dataset()
    frame.FrameOfReferenceUID = settings.frame_of_reference_uid
    dataset.ReferencedFrameOfReferenceSequence = [frame]
    numbered = list(enumerate(regions, start=1))
    dataset.StructureSetROISequence = [_structure(n, one, about, settings) for n, one in numbered]
    dataset.ROIContourSequence = [_outlines(n, one.mask, grid) for n, one in numbered]
    dataset.RTROIObservationsSequence = [_observation(n, one) for n, one in numbered]
    dataset.ApprovalStatus = "UNAPPROVED"
    with write_file_aside(path) as file:
        dataset.save_as(file, enforce_file_format=True)


def _structure(
    number: int, region: Region, about: AboutObject, settings: ObjectSettings
) -> Dataset:
    item = Dataset()
    item.ROINumber = number
    item.ReferencedFrameOfReferenceUID = settings.frame_of_reference_uid
    item.ROIName = region.words[:64]
    item.ROIDescription = region.description[:1024]
    item.ROIGenerationAlgorithm = "SEMIAUTOMATIC" if about.algorithm else "MANUAL"
    return item


def _observation(number: int, region: Region) -> Dataset:
    item = Dataset()
    item.ObservationNumber = item.ReferencedROINumber = number
    item.RTROIInterpretedType = region.therapy_kind
    item.ROIInterpreter = ""
    item.RTROIIdentificationCodeSequence = [region.kind]
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
