"""Outlines out as a DICOM segmentation: one binary segment an outline, overlaps kept."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydicom.dataset import Dataset
from pydicom.uid import ExplicitVRLittleEndian, SegmentationStorage

from vertebloc.anatomy.contours import LabelMap
from vertebloc.errors import InputError
from vertebloc.exchange.aside import write_file_aside
from vertebloc.exchange.dicom_objects import (
    OUTLINES,
    AboutObject,
    ObjectSettings,
    Region,
    region_of,
    side_of,
    start_object,
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
    regions = [region_of(contour, mask) for contour, mask in masks.items()]
    write_segments(path, label_map.volume.grid, regions, OUTLINES, settings)


def write_segments(
    path: Path,
    grid: Grid,
    regions: Sequence[Region],
    about: AboutObject,
    settings: ObjectSettings,
) -> None:
    """Write regions as one DICOM segmentation object, as ``write_segmentation`` does.

    Parameters
    ----------
    path : Path
        The file; one that is there is replaced.
    grid : Grid
        Of the images.
    regions : sequence of Region
        At least one; each becomes a segment, also one without a voxel.
    about : AboutObject
        What it says it holds.
    settings : ObjectSettings
        Who, when, of which study and frame of reference.
    """
    settings = settings.completed()
    row, column, apart_mm = slice_directions(grid)
    dataset = start_object(SegmentationStorage, ExplicitVRLittleEndian, "SEG", settings)
    _describe(dataset, grid, settings, about)
    dataset.SegmentSequence = [_segment(n, one, about) for n, one in enumerate(regions, start=1)]
    dataset.SharedFunctionalGroupsSequence = [_shared(grid, row, column, apart_mm)]
    frames, bits = _frames([one.mask for one in regions], grid)
    dataset.NumberOfFrames = len(frames)
    dataset.PerFrameFunctionalGroupsSequence = frames
    packed = np.packbits(bits.ravel(), bitorder="little").tobytes()
    dataset.add_new("PixelData", "OB", packed + b"\0" * (len(packed) % 2))
    with write_file_aside(path) as file:
        dataset.save_as(file, enforce_file_format=True)


def _describe(dataset: Dataset, grid: Grid, settings: ObjectSettings, about: AboutObject) -> None:
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
        "SeriesDescription": about.series,
        "ContentLabel": about.label,
        "ContentDescription": about.description,
        "ContentCreatorName": settings.author,
    }.items():
        setattr(dataset, keyword, value)


def _dimension(organisation: str, pointer: int, group: int, label: str) -> Dataset:
    item = Dataset()
    item.DimensionOrganizationUID = organisation
    item.DimensionIndexPointer, item.FunctionalGroupPointer = pointer, group
    item.DimensionDescriptionLabel = label
    return item


def _segment(number: int, region: Region, about: AboutObject) -> Dataset:
    item = Dataset()
    item.SegmentNumber = number
    item.SegmentLabel = region.words[:64]
    item.SegmentDescription = region.description[:1024]
    item.SegmentAlgorithmType = "SEMIAUTOMATIC" if about.algorithm else "MANUAL"
    if about.algorithm:
        item.SegmentAlgorithmName = about.algorithm
    item.SegmentedPropertyCategoryCodeSequence = [region.category]
    kind = Dataset()
    kind.update(region.kind)  # a copy: the side's element belongs to segments alone
    if region.side is not None:
        kind.SegmentedPropertyTypeModifierCodeSequence = [side_of(region.side)]
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
