"""From stored pixels to Hounsfield values in one array, in the order of the files' bytes."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.exchange.dicom_general import need_decoder, read_stored_values
from vertebloc.exchange.dicom_header import ImageHeader

_LOWEST, _HIGHEST = -32768, 32767


@dataclass
class Remarks:
    """What was noticed while the pixels were read; each kind told once, with a count."""

    counts: dict[str, int] = field(default_factory=dict)
    lowest_hu: float = 0.0

    def add(self, remark: str) -> None:
        """Count a remark."""
        self.counts[remark] = self.counts.get(remark, 0) + 1

    def told(self) -> tuple[str, ...]:
        """The remarks in words."""
        words = [
            f"{remark} ({count} image{'s' if count > 1 else ''})"
            for remark, count in self.counts.items()
        ]
        if self.lowest_hu < -1024:
            words.append(
                f"values down to {self.lowest_hu:g} HU: padding outside the scanned circle, kept "
                "as it is"
            )
        return tuple(words)


def read_hounsfield(
    images: Sequence[ImageHeader], remarks: Remarks
) -> NDArray[np.int16] | NDArray[np.float32]:
    """Read a series' Hounsfield values.

    Parameters
    ----------
    images : sequence of ImageHeader
        The images in their final order.
    remarks : Remarks
        Receives what was noticed.

    Returns
    -------
    (k, j, i) int16 or float32, HU
        Slices as they lie on disk; float32 only if some value is not a whole number in int16.

    Raises
    ------
    InputError
        If a file is cut short or damaged.
    MissingBackendError
        If a decoder is not installed.
    """
    first = images[0]
    for image in {image.transfer_syntax: image for image in images}.values():
        need_decoder(image.transfer_syntax, image.label)
    values: NDArray[Any] = np.empty((len(images), first.rows, first.columns), dtype=np.int16)
    for k, image in enumerate(images):
        if image.plain_offset is not None:
            stored = _read_plain(image, values[k])
        else:
            stored, notes = read_stored_values(image)
            for note in notes:
                remarks.add(note)
        plane = to_hounsfield(stored, image, remarks)
        if plane.dtype != values.dtype and values.dtype == np.int16:
            values = values.astype(np.float32)
        if not np.may_share_memory(plane, values[k]):
            values[k] = plane
    return values


def to_hounsfield(
    stored: NDArray[Any], image: ImageHeader, remarks: Remarks
) -> NDArray[np.int16] | NDArray[np.float32]:
    """Apply one image's own rescale.

    Parameters
    ----------
    stored : (rows, columns) integers
        Stored values; may be overwritten.
    image : ImageHeader
        Its record.
    remarks : Remarks
        Receives what was noticed.

    Returns
    -------
    (rows, columns) int16 or float32, HU
        ``stored * slope + intercept``.
    """
    low, high = int(stored.min()), int(stored.max())
    bits = image.bits_stored
    floor, ceiling = (
        (-(1 << bits - 1), (1 << bits - 1) - 1) if image.signed else (0, (1 << bits) - 1)
    )
    if low < floor or high > ceiling:
        remarks.add(f"stored values beyond the {bits} bits stated: only those bits were read")
        shift = stored.dtype.itemsize * 8 - bits
        stored = (stored << shift) >> shift
        low, high = int(stored.min()), int(stored.max())
    slope, intercept = float(image.slope or 0), float(image.intercept or 0)
    ends = sorted((low * slope + intercept, high * slope + intercept))
    remarks.lowest_hu = min(remarks.lowest_hu, ends[0])
    whole = slope.is_integer() and intercept.is_integer()
    if not whole or ends[0] < _LOWEST or ends[1] > _HIGHEST:
        return np.asarray(stored * np.float64(slope) + intercept, dtype=np.float32)
    # in 16 bits the sum runs over and back to where it belongs, since the ends fit
    if slope == 1 and stored.dtype.itemsize == 2 and abs(intercept) <= _HIGHEST:
        plane: NDArray[np.int16] = stored.view(np.int16)
        if intercept:
            np.add(plane, np.int16(intercept), out=plane)
        return plane
    return np.asarray(stored.astype(np.int64) * int(slope) + int(intercept)).astype(np.int16)


def read_raw_values(image: ImageHeader) -> NDArray[Any]:
    """Stored values of one image, for comparison.

    Parameters
    ----------
    image : ImageHeader
        The image's record.

    Returns
    -------
    (rows, columns) integers
        Stored values, not rescaled.
    """
    if image.plain_offset is not None:
        return _read_plain(image, np.empty((image.rows, image.columns), dtype=np.int16))
    return read_stored_values(image)[0]


def _read_plain(image: ImageHeader, into: NDArray[Any]) -> NDArray[Any]:
    """Read plain 16-bit pixels straight into their place."""
    if into.dtype != np.int16:
        into = np.empty(into.shape, dtype=np.int16)
    target = into.data.cast("B")
    descriptor = os.open(image.path, os.O_RDONLY)
    try:
        got = os.preadv(descriptor, [target], image.plain_offset or 0)
    finally:
        os.close(descriptor)
    if got != target.nbytes:
        raise InputError(
            f"{image.label}: is cut short: {got} of {target.nbytes} bytes of pixels are there; "
            "copy it again"
        )
    return into if image.signed else into.view(np.uint16)
