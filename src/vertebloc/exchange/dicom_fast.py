"""Quick reading of plain DICOM files: little endian, uncompressed, one 16-bit image a file.

A file that is anything else, or odd in any way, is left to ``dicom_general``: this reader
never repairs and never interprets. What it hands over goes through the very same checks.
"""

from __future__ import annotations

import os
import struct
from collections.abc import Callable
from pathlib import Path

from vertebloc.exchange.dicom_header import PIXEL_DATA, TAGS, RawImage

_EXPLICIT, _IMPLICIT = "1.2.840.10008.1.2.1", "1.2.840.10008.1.2"
_WANTED = frozenset(TAGS.values())
_TRANSFER_SYNTAX = 0x00020010
_UNDEFINED = 0xFFFFFFFF
_ITEM, _ITEM_END, _SEQUENCE_END = 0xFFFEE000, 0xFFFEE00D, 0xFFFEE0DD
_LONG = frozenset((b"OB", b"OD", b"OF", b"OL", b"OV", b"OW", b"SQ", b"SV", b"UC", b"UN", b"UR"))
_LONG |= {b"UT", b"UV"}
_SHORT = frozenset(b"AE AS AT CS DA DS DT FD FL IS LO LT PN SH SL SS ST TM UI UL US".split())
_EXPLICIT_ELEMENT = struct.Struct("<HH2sH").unpack_from
_IMPLICIT_ELEMENT = struct.Struct("<HHI").unpack_from
_FIRST_READ = (16 * 1024, 512 * 1024)  # bytes; a header longer than that is left to the other


_Element = Callable[[bytes, int], tuple[int, int, int, bytes]]


class _NotPlainError(Exception):
    """The file is not what this reader is for."""


def read_plain_file(path: Path, label: str) -> RawImage | None:
    """Read one file's header if it is plain.

    Parameters
    ----------
    path : Path
        The file.
    label : str
        Its name in messages.

    Returns
    -------
    RawImage or None
        Raw values by tag; None if the file is for the general reader to read.
    """
    descriptor = os.open(path, os.O_RDONLY)
    try:
        for size in _FIRST_READ:
            buffer = os.pread(descriptor, size, 0)
            try:
                return _walk(buffer, path, label)
            except struct.error:
                if len(buffer) < size:
                    return None
            except _NotPlainError:
                return None
    finally:
        os.close(descriptor)
    return None


def _walk(buffer: bytes, path: Path, label: str) -> RawImage:
    syntax, offset = _meta(buffer)
    values: dict[int, bytes] = {}
    previous = 0
    element = _explicit if syntax == _EXPLICIT else _implicit
    while True:
        tag, start, length, vr = element(buffer, offset)
        if tag <= previous:
            raise _NotPlainError
        previous = tag
        if tag == PIXEL_DATA:
            if length == _UNDEFINED or vr not in (b"OW", b"OB", b""):
                raise _NotPlainError
            return RawImage(
                path=path,
                label=label,
                transfer_syntax=syntax,
                values=values,
                pixel_offset=start,
                pixel_length=length,
            )
        if length == _UNDEFINED:
            offset = _after_sequence(buffer, start, element)
            continue
        offset = start + length
        if tag in _WANTED:
            # a value cut by the end of the piece is noticed at the next element: there is none
            values[tag] = buffer[start:offset]


def _meta(buffer: bytes) -> tuple[str, int]:
    """Transfer syntax and where the data set begins."""
    if buffer[128:132] != b"DICM":
        raise _NotPlainError
    offset, syntax = 132, ""
    while buffer[offset : offset + 2] == b"\x02\x00":
        tag, start, length, _ = _explicit(buffer, offset)
        offset = start + length
        if tag == _TRANSFER_SYNTAX:
            syntax = buffer[start:offset].strip(b" \0").decode("ascii", "replace")
    if syntax not in (_EXPLICIT, _IMPLICIT):
        raise _NotPlainError
    return syntax, offset


def _explicit(buffer: bytes, offset: int) -> tuple[int, int, int, bytes]:
    """Tag, start of the value, its length and representation."""
    group, number, vr, length = _EXPLICIT_ELEMENT(buffer, offset)
    if vr in _SHORT:
        return group << 16 | number, offset + 8, length, vr
    tag = group << 16 | number
    if vr in _LONG:
        (length,) = struct.unpack_from("<I", buffer, offset + 8)
        if vr == b"UN" and length == _UNDEFINED:
            raise _NotPlainError
        return tag, offset + 12, length, vr
    if group == 0xFFFE:
        return tag, offset + 8, int.from_bytes(buffer[offset + 4 : offset + 8], "little"), b""
    raise _NotPlainError


def _implicit(buffer: bytes, offset: int) -> tuple[int, int, int, bytes]:
    group, number, length = _IMPLICIT_ELEMENT(buffer, offset)
    return group << 16 | number, offset + 8, length, b""


def _after_sequence(buffer: bytes, offset: int, element: _Element) -> int:
    """Where a sequence without a stated length ends."""
    ends = [_SEQUENCE_END]  # what closes each level that is open
    while ends:
        tag, start, length, _ = element(buffer, offset)
        offset = start
        if tag == ends[-1]:
            ends.pop()
        elif length == _UNDEFINED:
            ends.append(_ITEM_END if tag == _ITEM else _SEQUENCE_END)
        else:
            offset = start + length
    return offset
