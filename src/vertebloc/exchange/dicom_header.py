"""What one DICOM image says about itself, the same record however the file was read.

Both readers (``dicom_fast`` and ``dicom_general``) hand over raw bytes by tag; everything
that gives them a meaning is here, so that no check can differ between the two.
"""

from __future__ import annotations

import struct
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from pydicom.charset import convert_encodings, decode_bytes

from vertebloc.case.identity import Identity, is_iso_date
from vertebloc.errors import InputError

PIXEL_DATA = 0x7FE00010

#: Tags that are read; nothing else of a file has any effect.
TAGS = {
    "charset": 0x00080005,
    "image_type": 0x00080008,
    "sop_class": 0x00080016,
    "study_date": 0x00080020,
    "series_date": 0x00080021,
    "modality": 0x00080060,
    "description": 0x0008103E,
    "name": 0x00100010,
    "number": 0x00100020,
    "birth_date": 0x00100030,
    "contrast": 0x00180010,
    "kvp": 0x00180060,
    "patient_position": 0x00185100,
    "study_uid": 0x0020000D,
    "series_uid": 0x0020000E,
    "study_id": 0x00200010,
    "series_number": 0x00200011,
    "position": 0x00200032,
    "orientation": 0x00200037,
    "frame_uid": 0x00200052,
    "samples": 0x00280002,
    "frames": 0x00280008,
    "rows": 0x00280010,
    "columns": 0x00280011,
    "spacing": 0x00280030,
    "bits_allocated": 0x00280100,
    "bits_stored": 0x00280101,
    "high_bit": 0x00280102,
    "signed": 0x00280103,
    "intercept": 0x00281052,
    "slope": 0x00281053,
    "rescale_type": 0x00281054,
    "lossy": 0x00282110,
}

#: Bytes; a person's name in three scripts takes less, and every other text that is read.
_LONGEST_TEXT = 512

_TITLES = {
    "position": "Image Position (Patient)",
    "orientation": "Image Orientation (Patient)",
    "spacing": "Pixel Spacing",
    "slope": "Rescale Slope",
    "intercept": "Rescale Intercept",
    "kvp": "KVP",
    "frames": "Number of Frames",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ImageHeader:
    """One image's record. Empty strings and tuples where the file says nothing."""

    path: Path
    label: str  #: path within the folder, for messages
    transfer_syntax: str
    sop_class: str
    modality: str
    image_type: tuple[str, ...]
    identity: Identity
    study_uid: str
    study_id: str
    series_uid: str
    frame_uid: str
    description: str
    contrast: str
    kvp: float | None
    patient_position: str
    position: tuple[float, ...]  #: centre of the first pixel, mm, patient LPS
    orientation: tuple[float, ...]  #: direction along a row, then down a column
    spacing: tuple[float, ...]  #: between rows, then between columns, mm
    rows: int
    columns: int
    samples: int
    frames: int
    bits_allocated: int
    bits_stored: int
    high_bit: int
    signed: bool
    slope: float | None
    intercept: float | None
    rescale_type: str
    lossy: bool
    remarks: tuple[str, ...]  #: what is written wrongly but decides nothing, and was left empty
    plain_offset: int | None  #: where plain 16-bit little-endian pixels begin, if they are that
    date: str = ""  #: of the series, else of the study, YYYY-MM-DD
    series_number: str = ""
    frame: int | None = None  #: which frame of a multi-frame file, from 0

    @property
    def plane_bytes(self) -> int:
        """Size of one uncompressed image."""
        return self.rows * self.columns * self.samples * (self.bits_allocated // 8)


@dataclass(frozen=True, slots=True, kw_only=True)
class RawImage:
    """One file's raw element values by tag, before they have any meaning."""

    path: Path
    label: str
    transfer_syntax: str
    values: Mapping[int, bytes]
    little_endian: bool = True
    pixel_offset: int | None = None  #: where uncompressed little-endian pixels begin
    pixel_length: int = 0


def read_header(raw: RawImage) -> ImageHeader:
    """Give one file's raw values their meaning.

    Parameters
    ----------
    raw : RawImage
        What a reader found.

    Returns
    -------
    ImageHeader
        The record the checks work on.

    Raises
    ------
    InputError
        If a value is not what its tag demands, such as text where numbers belong.
    """
    words = _Words(raw)
    rows, columns = words.whole("rows", 0), words.whole("columns", 0)
    samples, bits = words.whole("samples", 1), words.whole("bits_allocated", 16)
    frames = words.numbers("frames", (0, 1))
    n_frames = int(frames[0]) if frames else 1
    plain = bits == 16 and samples == 1 and n_frames == 1
    fits = raw.pixel_length in (2 * rows * columns, 2 * rows * columns + 1)
    slope, intercept = words.numbers("slope", (0, 1)), words.numbers("intercept", (0, 1))
    stored = words.whole("bits_stored", bits)
    identity, kvp = words.identity(), words.kvp()
    return ImageHeader(
        path=raw.path,
        label=raw.label,
        transfer_syntax=raw.transfer_syntax,
        sop_class=words.text("sop_class"),
        modality=words.text("modality"),
        image_type=tuple(part.strip().upper() for part in words.text("image_type").split("\\")),
        identity=identity,
        study_uid=words.text("study_uid"),
        study_id=words.text("study_id"),
        series_uid=words.text("series_uid"),
        frame_uid=words.text("frame_uid"),
        description=words.text("description"),
        contrast=words.text("contrast"),
        kvp=kvp,
        patient_position=words.text("patient_position"),
        position=words.numbers("position", (0, 3)),
        orientation=words.numbers("orientation", (0, 6)),
        spacing=words.numbers("spacing", (0, 2)),
        rows=rows,
        columns=columns,
        samples=samples,
        frames=n_frames,
        bits_allocated=bits,
        bits_stored=stored,
        high_bit=words.whole("high_bit", stored - 1),
        signed=words.whole("signed", 0) == 1,
        slope=slope[0] if slope else None,
        intercept=intercept[0] if intercept else None,
        rescale_type=words.text("rescale_type").upper(),
        lossy=words.text("lossy") == "01",
        remarks=tuple(words.remarks),
        plain_offset=raw.pixel_offset if plain and fits else None,
        date=_day(words.text("series_date")) or _day(words.text("study_date")),
        series_number=words.text("series_number"),
    )


def _day(written: str) -> str:
    """A date as ISO 8601; empty if it is none: it decides nothing."""
    digits = written.replace(".", "").replace("-", "")
    day = f"{digits[:4]}-{digits[4:6]}-{digits[6:]}"
    return day if is_iso_date(day) else ""


class _Words:
    """Turns one file's raw values into text and numbers."""

    __slots__ = ("_charset", "_raw", "remarks")

    def __init__(self, raw: RawImage) -> None:
        self._raw = raw
        self.remarks: list[str] = []
        self._charset = raw.values.get(TAGS["charset"], b"")

    def _bytes(self, key: str) -> bytes:
        return self._raw.values.get(TAGS[key], b"").strip(b" \0")

    def text(self, key: str) -> str:
        """One text value, decoded with the file's own character set."""
        value = self._bytes(key)
        if len(value) > _LONGEST_TEXT:
            raise InputError(
                f"{self._raw.label}: its {key.replace('_', ' ')} is {len(value)} bytes long, "
                f"{_LONGEST_TEXT} at most are taken: the file may be damaged; copy it again"
            )
        if value.isascii() and b"\x1b" not in value:
            return _printable(value.decode("ascii"))
        return _printable(_decode_text(value, self._charset))

    def whole(self, key: str, absent: int) -> int:
        """One unsigned 16-bit number."""
        value = self._raw.values.get(TAGS[key], b"")
        if len(value) < 2:
            return absent
        return int(struct.unpack_from("<H" if self._raw.little_endian else ">H", value)[0])

    def numbers(self, key: str, counts: tuple[int, ...]) -> tuple[float, ...]:
        """Numbers written as text; as many as ``counts`` allows."""
        value = self._bytes(key)
        if not value:
            return ()
        try:
            found = tuple(map(float, value.split(b"\\")))
        except ValueError:
            found = (float("nan"),)
        finite = all(abs(number) < 1e9 for number in found)
        if len(found) not in counts or not finite:
            written = value[:60].decode("ascii", "replace")
            raise InputError(
                f"{self._raw.label}: {_TITLES[key]} reads {written!r}, "
                f"it must hold {max(counts)} finite number{'s' if max(counts) > 1 else ''}"
            )
        return found

    def kvp(self) -> float | None:
        """Tube voltage, kV; what is no number is left empty, since it decides nothing."""
        try:
            found = self.numbers("kvp", (0, 1))
        except InputError:
            self.remarks.append("KVP is written as no number: left empty")
            return None
        return found[0] if found else None

    def identity(self) -> Identity:
        """Who the image is of; what is written wrongly is left empty, and said."""
        written = self.text("birth_date")
        birth_date = _day(written)
        if written and not birth_date:
            self.remarks.append(f"the birth date reads {written!r}, which is no day: left empty")
        name = name_as_written(self.text("name"))
        if "\ufffd" in name:
            self.remarks.append(
                "the name holds letters that its character set cannot write, shown as \ufffd"
            )
        return Identity(name, birth_date, self.text("number"))


def _printable(text: str) -> str:
    """Text without control characters: each becomes the sign for what cannot be shown."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else "\ufffd" for c in text)


@lru_cache(maxsize=256)
def _decode_text(value: bytes, charset: bytes) -> str:
    names = [part.strip() for part in charset.decode("ascii", "replace").split("\\")]
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # pydicom warns and guesses where it cannot decode
        try:
            if set(names) <= {"", "ISO_IR 6"}:  # plain ASCII: pydicom would take it for Latin-1
                return value.decode("ascii", "replace").strip(" \0")
            encodings = convert_encodings(names)
            text = str(decode_bytes(value, encodings, {"\\", "^", "="}))
        except (LookupError, UnicodeError, UserWarning):
            text = value.decode("ascii", "replace")  # unreadable letters stay visible as such
    return text.strip(" \0")


@lru_cache(maxsize=256)
def name_as_written(person_name: str) -> str:
    """Turn a DICOM person name into the way people write it.

    Parameters
    ----------
    person_name : str
        Such as ``DOE^JANE^M``; with further scripts after ``=``.

    Returns
    -------
    str
        Such as ``DOE, JANE M``; other scripts follow in brackets.
    """
    groups = []
    for group in person_name.split("="):
        family, *others = (part.strip() for part in group.split("^"))
        given = " ".join(part for part in others if part)
        groups.append(", ".join(part for part in (family, given) if part))
    first, *others = [group for group in groups if group] or [""]
    return f"{first} ({'; '.join(others)})" if others else first
