"""Reading of any DICOM file through pydicom: every transfer syntax, with or without preamble."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pydicom
from numpy.typing import NDArray
from pydicom.config import IGNORE
from pydicom.pixels import get_decoder
from pydicom.uid import UID

from vertebloc.errors import InputError, MissingBackendError
from vertebloc.exchange.decoding_apart import decode_apart
from vertebloc.exchange.dicom_decoding import decode_here
from vertebloc.exchange.dicom_header import TAGS, ImageHeader, RawImage
from vertebloc.exchange.one_line import in_one_line

#: decoders by trust; gdcm ends the whole program on damaged data and so runs apart
_PREFERRED = ("pydicom", "pylibjpeg", "pyjpegls", "gdcm", "pillow")

_WITHOUT_CODEC = frozenset(
    ("1.2.840.10008.1.2", "1.2.840.10008.1.2.1", "1.2.840.10008.1.2.1.99", "1.2.840.10008.1.2.2")
)


def read_any_file(path: Path, label: str) -> RawImage | None:
    """Read one file's header, whatever its transfer syntax.

    Parameters
    ----------
    path : Path
        The file.
    label : str
        Its name in messages.

    Returns
    -------
    RawImage or None
        Raw values by tag; None if the file is not DICOM.

    Raises
    ------
    InputError
        If it begins like a DICOM file but cannot be read to the end of its header.
    """
    with path.open("rb") as file:
        head = file.read(132)
    marked = head[128:] == b"DICM"
    # some old exports leave the 128-byte preamble out: they begin with group 0002 or 0008
    bare = head[:1] in (b"\x02", b"\x08") and head[1:2] == b"\0" and len(head) == 132
    if not (marked or bare or head[:3] == b"\0\x08\0"):
        return None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # oddities of tags that are not used
            dataset = pydicom.dcmread(
                path, force=not marked, specific_tags=[*TAGS.values()], stop_before_pixels=True
            )
            values = {tag: _raw_value(dataset, tag) for tag in TAGS.values() if tag in dataset}
    except Exception as e:  # damaged files raise anything
        if not marked:
            return None
        raise InputError(
            f"{label}: begins like a DICOM file but cannot be read ({in_one_line(e)}): it may be "
            "cut short; copy it again"
        ) from e
    if not marked and TAGS["sop_class"] not in values:
        return None
    little, implicit = dataset.original_encoding[1], dataset.original_encoding[0]
    guessed = "1.2.840.10008.1.2" + ("" if implicit else ".1" if little else ".2")
    return RawImage(
        path=path,
        label=label,
        transfer_syntax=str(dataset.file_meta.get("TransferSyntaxUID", guessed)),
        values=values,
        little_endian=bool(little),
    )


def _raw_value(dataset: Any, tag: int) -> bytes:
    value = dataset.get_item(tag).value
    if tag == TAGS["charset"] and value:  # the one element that pydicom decodes at once
        value = (value if isinstance(value, str) else "\\".join(value)).encode("ascii", "replace")
    return value if isinstance(value, bytes) else b""


def read_stored_values(header: ImageHeader) -> tuple[NDArray[Any], tuple[str, ...]]:
    """Read one image's stored pixel values, decompressed, not yet rescaled.

    Parameters
    ----------
    header : ImageHeader
        The image's record.

    Returns
    -------
    values : (rows, columns) integers
        Stored values.
    notes : tuple of str
        What the decoder remarked.

    Raises
    ------
    InputError
        If the pixels are cut short or damaged.
    MissingBackendError
        If the library that decompresses them is not installed.
    """
    plugin = need_decoder(header.transfer_syntax, header.label)
    remarks: list[Any] = []
    try:
        if plugin == "gdcm":
            values = decode_apart(header.path, header.transfer_syntax, header.frame, header.label)
        else:
            with warnings.catch_warnings(record=True) as remarks:
                warnings.simplefilter("always")
                values = decode_here(
                    header.path, header.transfer_syntax, header.frame, plugin=plugin
                )
    except InputError:
        raise
    except Exception as error:  # decoders raise anything on damaged data
        raise InputError(
            f"{header.label}: its pixels cannot be read ({in_one_line(error)}): the file may be "
            "cut short; copy it again"
        ) from error
    if values.shape != (header.rows, header.columns):
        raise InputError(
            f"{header.label}: holds pixels of shape {values.shape}, its header says "
            f"{(header.rows, header.columns)}"
        )
    native = values.astype(values.dtype.newbyteorder("="), copy=False)  # big endian ones are not
    return np.asarray(native), tuple(in_one_line(remark.message) for remark in remarks)


def need_decoder(transfer_syntax: str, label: str) -> str:
    """Find the decoder for a transfer syntax.

    Parameters
    ----------
    transfer_syntax : str
        Its identifier.
    label : str
        The file's name in messages.

    Returns
    -------
    str
        pydicom's name of the decoder; empty if none is needed.

    Raises
    ------
    InputError
        If the transfer syntax is not one for images, or not known.
    MissingBackendError
        If the library that decompresses it is not installed.
    """
    syntax = UID(transfer_syntax, IGNORE)
    if syntax in _WITHOUT_CODEC:
        return ""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a damaged identifier
            decoder = get_decoder(syntax)
    except NotImplementedError as error:
        raise InputError(
            f"{label}: its transfer syntax {syntax} ({syntax.name}) is not one this "
            "package can read: export the series uncompressed"
        ) from error
    if not decoder.is_available:
        raise MissingBackendError(
            f"CT images compressed as {syntax.name} need a decoder that is not installed: "
            "pip install 'vertebloc[compressed]', or export the series uncompressed"
        )

    return str(min(decoder.available_plugins, key=_PREFERRED.index))
