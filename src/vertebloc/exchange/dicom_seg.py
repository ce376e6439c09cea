"""DICOM segmentations in: overlapping, fractional, empty, of odd sizes."""

from __future__ import annotations

import warnings
from collections import defaultdict
from pathlib import Path
from typing import Any

import numpy as np
import pydicom
from numpy.typing import NDArray
from pydicom.pixels import pixel_array
from pydicom.uid import (
    DeflatedExplicitVRLittleEndian,
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
)

from vertebloc.anatomy.contours import LabelMap
from vertebloc.anatomy.structures import Contour
from vertebloc.errors import InputError
from vertebloc.exchange.dicom_general import need_decoder
from vertebloc.exchange.masks import BoxedMask, boxed, join_masks
from vertebloc.exchange.meanings import ForeignName, contours_of
from vertebloc.exchange.one_line import in_one_line
from vertebloc.space.frames import Side
from vertebloc.space.grids import Grid

#: Of a fractional outline's greatest value, the share from which a voxel counts as inside.
HALF = 0.5

_PLAIN = (ImplicitVRLittleEndian, ExplicitVRLittleEndian, DeflatedExplicitVRLittleEndian)
_SIDES = {"7771000": Side.LEFT, "24028007": Side.RIGHT}
_SHARE = 0.05  #: a voxel centre may lie this share of a voxel beside the CT's


def read_segmentation(dataset: Any, label: str, grid: Grid) -> tuple[LabelMap, tuple[str, ...]]:
    """Read a DICOM segmentation onto the grid of its CT.

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
        Every segment as an outline, overlaps kept.
    notes : tuple of str
        Segments without a voxel, fractional ones, what lies beside the CT.

    Raises
    ------
    InputError
        If the object is damaged, or its voxels are not the CT's.

    Notes
    -----
    Frames are laid on the CT by position and orientation alone; no value is interpolated.
    A fractional segment is taken from half of its greatest value on.
    """
    names, taken = _segments(dataset, label)
    planes, more_of = _planes(dataset, label)
    notes = [*taken, *more_of]
    shared = list(dataset.get("SharedFunctionalGroupsSequence") or [])[:1]
    masks: dict[int, NDArray[np.bool_]] = {}
    outside = 0
    for number, own in enumerate(dataset.get("PerFrameFunctionalGroupsSequence") or []):
        groups = [own, *shared]
        segment = int(_first(groups, "SegmentIdentificationSequence", "ReferencedSegmentNumber",
                             f"{label}, frame {number + 1}"))  # fmt: skip
        if segment not in names:
            raise InputError(f"{label}: frame {number + 1} is of segment {segment}, not described")
        if not planes[number].any():
            continue
        mask = masks.setdefault(segment, np.zeros(grid.shape, dtype=bool))
        outside += _lay(mask, planes[number], _frame_matrix(groups, label, number), grid, label)
    if outside:
        notes.append(f"{outside} outlined voxels lie outside the CT: left out")
    fixed, more = told_apart(names)
    listed: list[tuple[Contour, BoxedMask | None]] = [
        (contour, boxed(masks.pop(n)) if n in masks else None) for n, contour in fixed.items()
    ]
    empty = [contour.words for contour, mask in listed if mask is None]
    if empty:
        notes.append(f"outlines without a voxel: {', '.join(empty)}")
    return join_masks(grid, listed), (*notes, *more)


def _segments(dataset: Any, label: str) -> tuple[dict[int, Contour], tuple[str, ...]]:
    """What each segment is of, and what was understood from foreign words."""
    found: dict[int, ForeignName] = {}
    for item in dataset.get("SegmentSequence") or []:
        code = next(iter(item.get("SegmentedPropertyTypeCodeSequence") or []), None)
        sides = [
            _SIDES[str(m.get("CodeValue", ""))]
            for m in (code.get("SegmentedPropertyTypeModifierCodeSequence") or [] if code else [])
            if str(m.get("CodeValue", "")) in _SIDES
        ]
        found[int(item.SegmentNumber)] = ForeignName(
            label=str(item.get("SegmentLabel", "")),
            description=str(item.get("SegmentDescription", "")),
            code=str(code.get("CodeValue", "")) if code else "",
            side=sides[0] if len(sides) == 1 else None,
        )
    if not found:
        raise InputError(f"{label} describes no segment: it holds no outline")
    return contours_of(found)


def told_apart(names: dict[int, Contour]) -> tuple[dict[int, Contour], tuple[str, ...]]:
    """Give outlines of one meaning a part each, so that none is lost.

    Parameters
    ----------
    names : dict of int to Contour
        Meaning by number.

    Returns
    -------
    fixed : dict of int to Contour
        The same, no meaning twice.
    notes : tuple of str
        What was kept apart.
    """
    by_meaning: dict[Contour, list[int]] = defaultdict(list)
    for number, contour in names.items():
        by_meaning[contour].append(number)
    fixed, notes = dict(names), []
    for contour, numbers in by_meaning.items():
        for nth, number in enumerate(numbers[1:], start=2):
            part = f"{contour.part} {nth}" if contour.part else str(nth)
            fixed[number] = Contour(contour.structure, contour.level, contour.side, part)
        if len(numbers) > 1:
            notes.append(f"{len(numbers)} outlines stand for {contour.words}: kept apart as parts")
    return fixed, tuple(notes)


def _planes(dataset: Any, label: str) -> tuple[NDArray[np.bool_], list[str]]:
    """All frames as truth values, (frames, rows, columns)."""
    rows, columns = int(dataset.Rows), int(dataset.Columns)
    frames = len(dataset.get("PerFrameFunctionalGroupsSequence") or [])
    if int(dataset.get("NumberOfFrames") or 0) != frames:
        raise InputError(
            f"{label}: says it holds {dataset.get('NumberOfFrames')} frames but describes {frames}"
        )
    bits, plain = int(dataset.BitsAllocated), dataset.file_meta.TransferSyntaxUID in _PLAIN
    if bits == 1 and plain:  # bits run on across the borders of frames and rows
        wanted = frames * rows * columns
        packed = np.frombuffer(bytes(dataset.PixelData), dtype=np.uint8)
        if len(packed) * 8 < wanted:
            raise InputError(
                f"{label}: is cut short: {len(packed)} of {-(-wanted // 8)} bytes of outlines "
                "are there; copy it again"
            )
        bits_of = np.unpackbits(packed, count=wanted, bitorder="little")
        return bits_of.view(bool).reshape(frames, rows, columns), []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        plugin = need_decoder(str(dataset.file_meta.TransferSyntaxUID), label)
        if plugin == "gdcm":
            raise InputError(f"{label} is compressed in a way no segmentation is: write it plain")
        values = pixel_array(dataset, decoding_plugin=plugin).reshape(frames, rows, columns)
    if str(dataset.get("SegmentationType", "BINARY")) == "FRACTIONAL":
        greatest = int(dataset.get("MaximumFractionalValue") or 255)
        note = (
            f"fractional outlines: voxels from {HALF:g} of the greatest value on count as inside"
        )
        return values >= HALF * greatest, [note]
    if str(dataset.get("SegmentationType", "BINARY")) == "LABELMAP":
        raise InputError(f"{label} is a segmentation of type LABELMAP: BINARY and FRACTIONAL are "
                         "read; write it as one of these")  # fmt: skip
    return values != 0, []


def _frame_matrix(groups: list[Any], label: str, number: int) -> NDArray[np.float64]:
    """Map from (row, column) index to patient LPS, (3, 3): down a column, along a row, place."""
    where = f"{label}, frame {number + 1}"
    along = _first(groups, "PlaneOrientationSequence", "ImageOrientationPatient", where)
    place = _first(groups, "PlanePositionSequence", "ImagePositionPatient", where)
    spacing = _first(groups, "PixelMeasuresSequence", "PixelSpacing", where)
    row = np.array(along[:3], dtype=float) * float(spacing[1])
    column = np.array(along[3:6], dtype=float) * float(spacing[0])
    matrix = np.column_stack((column, row, np.array(place, dtype=float)))
    if matrix.shape != (3, 3) or not np.all(np.abs(matrix) < 1e6):
        raise InputError(f"{where}: its position or orientation is no place in a patient")
    return matrix


def _first(groups: list[Any], sequence: str, keyword: str, where: str) -> Any:
    for group in groups:
        for item in group.get(sequence) or []:
            if item.get(keyword) is not None:
                return item.get(keyword)
    raise InputError(f"{where} has no {keyword}: where it lies is not known")


def _lay(
    mask: NDArray[np.bool_], plane: NDArray[np.bool_], matrix: NDArray[np.float64], grid: Grid,
    label: str,
) -> int:  # fmt: skip
    """Set the mask where the frame is inside; how many voxels lie outside the grid."""
    inverse = grid.lps_from_ijk.inverse.matrix
    steps = inverse[:3, :3] @ matrix[:, :2]
    origin = inverse[:3, :3] @ matrix[:, 2] + inverse[:3, 3]
    whole = np.rint(steps)
    ends = np.array(plane.shape) - 1.0
    off = np.abs(steps - whole) @ ends
    beside = np.abs(origin - np.rint(origin))
    is_axis = np.array_equal(np.sort(np.abs(whole).ravel()), [0, 0, 0, 0, 1, 1]) and np.all(
        np.abs(whole).sum(axis=0) == 1
    )
    if not is_axis or np.max(off + beside) > _SHARE:
        raise InputError(
            f"{label}: its voxels are not the CT's (a frame begins {beside.max():.2f} of a voxel "
            "beside them, or has another size or direction): outline on this CT, or resample the "
            "outline onto it"
        )
    index = np.argwhere(plane)
    places = np.rint(origin).astype(np.int64) + index @ whole.T.astype(np.int64)
    within = np.all((places >= 0) & (places < grid.shape), axis=1)
    mask[tuple(places[within].T)] = True
    return int(np.count_nonzero(~within))


def read_dataset(path: Path) -> Any:
    """Read one DICOM file whole.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    pydicom.Dataset
        The object with its file meta group.

    Raises
    ------
    InputError
        If it is no DICOM file, or damaged.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            dataset = pydicom.dcmread(path, force=True)
            for element in dataset:  # damaged values are noticed now, not later
                del element
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror or error}") from error
    except Exception as error:  # damaged files raise anything
        raise InputError(
            f"{path} cannot be read as DICOM ({in_one_line(error)}): it may be cut "
            "short; copy it again"
        ) from error
    if "SOPClassUID" not in dataset:
        raise InputError(f"{path} is no DICOM file, or its beginning is lost: copy it again")
    if "TransferSyntaxUID" not in dataset.file_meta:
        dataset.file_meta.TransferSyntaxUID = (
            ImplicitVRLittleEndian if dataset.original_encoding[0] else ExplicitVRLittleEndian
        )
    return dataset
