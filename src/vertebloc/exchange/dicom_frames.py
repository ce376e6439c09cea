"""Multi-frame CT and MR: one record for each frame, as if each were a file of its own."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pydicom

from vertebloc.errors import InputError
from vertebloc.exchange.dicom_header import ImageHeader
from vertebloc.exchange.dicom_series import ENHANCED, MR_IMAGE
from vertebloc.exchange.one_line import in_one_line

_LARGEST = 1e9  #: a number at or above it is no length, direction or value


def split_frames(header: ImageHeader) -> list[ImageHeader]:
    """Give each frame of an enhanced CT or MR its own place, spacing and rescale.

    Parameters
    ----------
    header : ImageHeader
        A file's record.

    Returns
    -------
    list of ImageHeader
        One for each frame; the header itself if it is no enhanced CT or MR. A plain MR image
        without a rescale gets slope 1 and intercept 0: its values have no unit.

    Raises
    ------
    InputError
        If the file does not describe as many frames as it holds, or a number is none.

    Notes
    -----
    A frame's own functional groups come before those that all frames share.
    """
    if header.sop_class == MR_IMAGE:
        return [_with_rescale(header)]
    if header.sop_class not in ENHANCED:
        return [header]
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            dataset = pydicom.dcmread(header.path, force=True, stop_before_pixels=True)
            shared = list(dataset.get("SharedFunctionalGroupsSequence") or [])[:1]
            frames = list(dataset.get("PerFrameFunctionalGroupsSequence") or [])
            if len(frames) != header.frames:
                raise InputError(
                    f"{header.label}: says it holds {header.frames} frames but describes "
                    f"{len(frames)}: export the series again"
                )
            return [_frame(header, number, [own, *shared]) for number, own in enumerate(frames)]
    except InputError:
        raise
    except Exception as error:  # damaged sequences raise anything
        raise InputError(
            f"{header.label}: the description of its frames cannot be read "
            f"({in_one_line(error)}): copy it again"
        ) from error


def _frame(header: ImageHeader, number: int, groups: list[Any]) -> ImageHeader:
    label = f"{header.label}, frame {number + 1}"

    def numbers(sequence: str, keyword: str, count: int) -> tuple[float, ...]:
        for item in _items(groups, sequence):
            value = item.get(keyword)
            if value is not None and value != "":
                found = (value,) if count == 1 else tuple(value)
                floats = tuple(float(part) for part in found)
                if len(floats) != count or not all(abs(f) < _LARGEST for f in floats):
                    raise InputError(f"{label}: {keyword} reads {value!r}, {count} numbers needed")
                return floats
        return ()

    slope = numbers("PixelValueTransformationSequence", "RescaleSlope", 1)
    intercept = numbers("PixelValueTransformationSequence", "RescaleIntercept", 1)
    types = [
        str(item.get("RescaleType", ""))
        for item in _items(groups, "PixelValueTransformationSequence")
    ]
    frame_type = [
        tuple(map(str, item.get("FrameType") or ()))
        for name in ("CTImageFrameTypeSequence", "MRImageFrameTypeSequence")
        for item in _items(groups, name)
    ]
    return _with_rescale(
        replace(
            header,
            label=label,
            image_type=frame_type[0] if frame_type and frame_type[0] else header.image_type,
            position=numbers("PlanePositionSequence", "ImagePositionPatient", 3),
            orientation=numbers("PlaneOrientationSequence", "ImageOrientationPatient", 6),
            spacing=numbers("PixelMeasuresSequence", "PixelSpacing", 2),
            slope=slope[0] if slope else header.slope,
            intercept=intercept[0] if intercept else header.intercept,
            rescale_type=types[0].upper() if types else header.rescale_type,
            plain_offset=None,
            frame=number,
        )
    )


def _with_rescale(header: ImageHeader) -> ImageHeader:
    if header.modality != "MR" or (header.slope is not None and header.intercept is not None):
        return header
    return replace(header, slope=1.0, intercept=0.0)


def _items(groups: list[Any], sequence: str) -> Iterator[Any]:
    for group in groups:
        yield from group.get(sequence) or []
