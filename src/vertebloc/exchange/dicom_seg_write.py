"""Outlines out as a DICOM segmentation: one binary segment an outline, overlaps kept."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset
from pydicom.uid import ExplicitVRLittleEndian, SegmentationStorage

from vertebloc.anatomy.contours import LabelMap
from vertebloc.anatomy.structures import Contour
from vertebloc.errors import InputError
from vertebloc.exchange.aside import write_file_aside
from vertebloc.exchange.dicom_objects import (
    ObjectSettings,
    category_of,
    side_of,
    start_object,
    type_of,
)
from vertebloc.exchange.dicom_write import decimal_text, identifier, slice_directions
from vertebloc.exchange.masks import BoxedMask, split_masks
from vertebloc.space.grids import Grid


def write_segmentation(path: Path, label_map: LabelMap, settings: ObjectSettings) -> None:
    """Write outlines as one DICOM segmentation object.

    Parameters
    ----------
    path : Path
        The file; one that is there is replaced.
    label_map : LabelMap
        Outlines; each becomes a segment, also one without a voxel.
    settings : ObjectSettings
        Who, when, of which study and frame of reference.

    Raises
    ------
    InputError
        If there is no outline, or rows and columns are not perpendicular.

    Notes
    -----
    Segmentation Storage, BINARY, explicit VR little endian. Slices that an outline does not
    reach are left out. The same outlines and settings give the same bytes.
    """
    masks = split_masks(label_map)
    if not masks:
        raise InputError("there is no outline to write")
    settings = settings.completed()
    grid = label_map.volume.grid
    row, column, apart_mm = slice_directions(grid)
    dataset = start_object(SegmentationStorage, ExplicitVRLittleEndian, "SEG", settings)
    _describe(dataset, grid, settings)
    dataset.SegmentSequence = [_segment(n, c) for n, c in enumerate(masks, start=1)]
    dataset.SharedFunctionalGroupsSequence = [_shared(grid, row, column, apart_mm)]
    frames, bits = _frames(list(masks.values()), grid)
    dataset.NumberOfFrames = len(frames)
    dataset.PerFrameFunctionalGroupsSequence = frames
    packed = np.packbits(bits.ravel(), bitorder="little").tobytes()
    dataset.add_new("PixelData", "OB", packed + b"\0" * (len(packed) % 2))
    with write_file_aside(path) as file:
        dataset.save_as(file, enforce_file_format=True)


def _describe(dataset: Dataset, grid: Grid, settings: ObjectSettings) -> None:
    organisation = identifier(settings.seed_text, "dimensions")
    group = Dataset()
    group.DimensionOrganizationUID = organisation
    dataset.DimensionOrganizationSequence = [group]
    dataset.DimensionIndexSequence = [
        _dimension(organisation, 0x0062000B, 0x0062000A, "segment"),
        _dimension(organisation, 0x00200032, 0x00209113, "place"),
    ]
    for keyword, value in {
        "ImageType": ["DERIVED", "PRIMARY"],
        "SamplesPerPixel": 1,
        "PhotometricInterpretation": "MONOCHROME2",
        "Rows": grid.shape[1],
        "Columns": grid.shape[0],
        "BitsAllocated": 1,
        "BitsStored": 1,
        "HighBit": 0,
        "PixelRepresentation": 0,
        "LossyImageCompression": "00",
        "SegmentationType": "BINARY",
        "SegmentsOverlap": "UNDEFINED",
        "ContentLabel": "OUTLINES",
        "ContentDescription": "outlines, planning aid: verify against the images",
        "ContentCreatorName": settings.author,
    }.items():
        setattr(dataset, keyword, value)


def _dimension(organisation: str, pointer: int, group: int, label: str) -> Dataset:
    item = Dataset()
    item.DimensionOrganizationUID = organisation
    item.DimensionIndexPointer, item.FunctionalGroupPointer = pointer, group
    item.DimensionDescriptionLabel = label
    return item


def _segment(number: int, contour: Contour) -> Dataset:
    item = Dataset()
    item.SegmentNumber = number
    item.SegmentLabel = contour.words[:64]
    item.SegmentDescription = contour.words[:1024]
    item.SegmentAlgorithmType = "MANUAL"
    item.SegmentedPropertyCategoryCodeSequence = [category_of(contour)]
    kind = type_of(contour)
    if contour.side is not None:
        kind.SegmentedPropertyTypeModifierCodeSequence = [side_of(contour.side)]
    item.SegmentedPropertyTypeCodeSequence = [kind]
    return item


def _shared(
    grid: Grid, row: NDArray[np.float64], column: NDArray[np.float64], apart_mm: float
) -> Dataset:
    plane = Dataset()
    plane.ImageOrientationPatient = [decimal_text(value) for value in (*row, *column)]
    measures = Dataset()
    measures.PixelSpacing = [decimal_text(grid.spacing_mm[1]), decimal_text(grid.spacing_mm[0])]
    measures.SliceThickness = measures.SpacingBetweenSlices = decimal_text(apart_mm)
    shared = Dataset()
    shared.PlaneOrientationSequence, shared.PixelMeasuresSequence = [plane], [measures]
    return shared


def _frames(masks: list[BoxedMask | None], grid: Grid) -> tuple[list[Dataset], NDArray[np.bool_]]:
    """Descriptions and pixels of all slices that an outline reaches."""
    frames, planes = [], []
    for number, mask in enumerate(masks, start=1):
        if mask is None:
            continue
        i, j, k = mask.start
        ni, nj, nk = mask.inside.shape
        for slab in range(nk):
            plane = np.zeros((grid.shape[1], grid.shape[0]), dtype=bool)
            plane[j : j + nj, i : i + ni] = mask.inside[:, :, slab].T
            if plane.any():
                frames.append(_frame(number, k + slab, grid))
                planes.append(plane)
    if not frames:  # an object must hold at least one frame: an empty one
        frames, planes = [_frame(1, 0, grid)], [np.zeros(grid.shape[1::-1], dtype=bool)]
    return frames, np.array(planes)


def _frame(segment: int, k: int, grid: Grid) -> Dataset:
    place = Dataset()
    centre = grid.lps_from_ijk.points([0.0, 0.0, float(k)])[0]
    place.ImagePositionPatient = [decimal_text(value) for value in centre]
    which = Dataset()
    which.ReferencedSegmentNumber = segment
    content = Dataset()
    content.DimensionIndexValues = [segment, k + 1]
    frame = Dataset()
    frame.FrameContentSequence = [content]
    frame.PlanePositionSequence = [place]
    frame.SegmentIdentificationSequence = [which]
    frame.DerivationImageSequence = []
    return frame
