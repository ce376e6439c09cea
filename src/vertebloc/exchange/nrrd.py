"""NRRD volumes and label maps, raw or gzip, whatever their axes and space."""

from __future__ import annotations

import gzip
import zlib
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.space.grids import Grid, Volume

#: space -> sign of each world axis in patient LPS
_SPACES = {
    "left-posterior-superior": (1.0, 1.0, 1.0),
    "lps": (1.0, 1.0, 1.0),
    "right-anterior-superior": (-1.0, -1.0, 1.0),
    "ras": (-1.0, -1.0, 1.0),
    "left-anterior-superior": (1.0, -1.0, 1.0),
    "las": (1.0, -1.0, 1.0),
}

_TYPES = {
    "i1": ("signed char", "int8", "int8_t"),
    "u1": ("uchar", "unsigned char", "uint8", "uint8_t"),
    "i2": ("short", "short int", "signed short", "signed short int", "int16", "int16_t"),
    "u2": ("ushort", "unsigned short", "unsigned short int", "uint16", "uint16_t"),
    "i4": ("int", "signed int", "int32", "int32_t"),
    "u4": ("uint", "unsigned int", "uint32", "uint32_t"),
    "f4": ("float",),
    "f8": ("double",),
}
_NUMPY = {name: kind for kind, names in _TYPES.items() for name in names}
_MOST_HEADER = 1 << 20  #: bytes; a longer header is no NRRD's
_MOST_BYTES = 1 << 33  #: of values
_EDGES_MM = (0.02, 50.0)


def read_nrrd(path: Path) -> Volume:
    """Read a three-dimensional NRRD image.

    Parameters
    ----------
    path : Path
        A ``.nrrd`` file, or a ``.nhdr`` file with its data file beside it.

    Returns
    -------
    Volume
        Values as stored (float64 becomes float32), in patient LPS. Left-handed grids stay so.

    Raises
    ------
    InputError
        If the file is damaged, not three-dimensional, says not where it lies, or is written
        in a space, type or encoding other than those named in the message.

    Notes
    -----
    Spaces read: left-posterior-superior, right-anterior-superior, left-anterior-superior.
    Encodings read: raw and gzip. A key with ``:=`` is somebody's own and is not read.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror or error}") from error
    fields, rest = _header(content, path)
    shape = _sizes(fields, path)
    matrix = _matrix(fields, path)
    data = _data(fields, rest, path)
    kind = _kind(fields, path)
    wanted = int(np.prod(shape, dtype=np.int64)) * kind.itemsize
    if wanted > _MOST_BYTES:
        raise InputError(f"{path} says it holds {wanted} bytes of values: it is damaged")
    data = _unpacked(fields, data, wanted, path)
    if len(data) != wanted:
        raise InputError(
            f"{path} holds {len(data)} bytes of values, its sizes need {wanted}: it may be cut "
            "short; copy it again"
        )
    values: NDArray[np.generic] = np.frombuffer(data, dtype=kind).reshape(shape, order="F")
    native = values.astype(kind.newbyteorder("="), copy=False)
    if kind.kind == "f":
        if not np.all(np.isfinite(native)):
            raise InputError(f"{path} holds values that are not finite numbers")
        native = native.astype(np.float32, copy=False)
    return Volume(Grid.from_matrix(shape, matrix), native)


def _header(content: bytes, path: Path) -> tuple[dict[str, str], bytes]:
    """Fields by their lower-case name, and the bytes after the empty line."""
    if not content.startswith(b"NRRD000"):
        raise InputError(f"{path} is no NRRD file: it does not begin with NRRD000")
    ends = [content.find(mark, 0, _MOST_HEADER) for mark in (b"\n\n", b"\r\n\r\n")]
    found = [(end, length) for end, length in zip(ends, (2, 4), strict=True) if end >= 0]
    if not found and path.suffix.lower() != ".nhdr":
        raise InputError(f"{path}: its header has no end (an empty line): copy it again")
    end, length = min(found) if found else (len(content), 0)
    fields: dict[str, str] = {}
    for line in content[:end].decode("utf-8", "replace").splitlines()[1:]:
        if line.startswith("#") or ":=" in line or ": " not in line:
            continue
        name, _, value = line.partition(": ")
        fields[name.strip().lower()] = value.strip()
    return fields, content[end + length :]


def _sizes(fields: dict[str, str], path: Path) -> tuple[int, int, int]:
    try:
        sizes = [int(word) for word in fields.get("sizes", "").split()]
    except ValueError:
        sizes = []
    if fields.get("dimension") != "3" or len(sizes) != 3 or min(sizes) < 1:
        raise InputError(
            f"{path}: dimension {fields.get('dimension', 'missing')!r}, sizes "
            f"{fields.get('sizes', 'missing')!r}: one volume of three sizes is needed"
        )
    return sizes[0], sizes[1], sizes[2]


def _matrix(fields: dict[str, str], path: Path) -> NDArray[np.float64]:
    space = fields.get("space", "").lower()
    if space not in _SPACES:
        raise InputError(
            f"{path}: its space is {space or 'missing'!r}: left and right cannot be known; "
            "left-posterior-superior and right-anterior-superior can be read"
        )
    columns = _vectors(fields.get("space directions", ""), 3, "space directions", path)
    origin = _vectors(fields.get("space origin", ""), 1, "space origin", path)
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = columns.T, origin[0]
    lengths = np.linalg.norm(columns, axis=1)
    units = {word.strip('"') for word in fields.get("space units", "").split()} - {"mm"}
    volume = abs(float(np.linalg.det(matrix[:3, :3])))
    if units or lengths.min() < _EDGES_MM[0] or lengths.max() > _EDGES_MM[1]:
        raise InputError(
            f"{path}: voxel edges of {lengths.min():g} to {lengths.max():g} "
            f"{' '.join(units) or 'mm'}; {_EDGES_MM[0]:g} to {_EDGES_MM[1]:g} mm are taken: is "
            "the file written in another unit?"
        )
    if volume < 0.05 * float(np.prod(lengths)):
        raise InputError(f"{path}: its space directions lie in one plane: export it again")
    return np.asarray(np.diag([*_SPACES[space], 1.0]) @ matrix, dtype=np.float64)


def _vectors(text: str, count: int, what: str, path: Path) -> NDArray[np.float64]:
    try:
        parts = [part for part in text.replace(")", "(").split("(") if part.strip(" ,")]
        found = np.array([[float(n) for n in part.split(",")] for part in parts])
    except ValueError:
        found = np.empty(0)
    if found.shape != (count, 3) or not np.all(np.abs(found) < 1e6):
        raise InputError(
            f"{path}: {what} reads {text!r}, {count} vector{'s' * (count > 1)} of three finite "
            "numbers in round brackets needed"
        )
    return found


def _data(fields: dict[str, str], rest: bytes, path: Path) -> bytes:
    name = fields.get("data file") or fields.get("datafile")
    if name is None:
        return rest
    beside = Path(name)
    if beside.is_absolute() or len(beside.parts) != 1 or name.upper().startswith("LIST"):
        raise InputError(f"{path}: its data file {name!r} must be one file beside it")
    try:
        return (path.parent / beside).read_bytes()
    except OSError as error:
        raise InputError(
            f"{path}: its data file {name!r} cannot be read: {error.strerror or error}"
        ) from error


def _kind(fields: dict[str, str], path: Path) -> np.dtype[np.generic]:
    kind = _NUMPY.get(fields.get("type", "").lower())
    if kind is None:
        raise InputError(f"{path}: its values are of type {fields.get('type', 'missing')!r}")
    order = {"little": "<", "big": ">"}.get(fields.get("endian", "").lower())
    if order is None:
        if kind[1] != "1":
            raise InputError(f"{path} does not say which end of a number comes first (endian)")
        order = "<"
    return np.dtype(order + kind)


def _unpacked(fields: dict[str, str], data: bytes, wanted: int, path: Path) -> bytes:
    encoding = fields.get("encoding", "").lower()
    for skip in ("line skip", "byte skip", "lineskip", "byteskip"):
        if fields.get(skip, "0") != "0":
            raise InputError(f"{path}: {skip} {fields[skip]} cannot be read: write it without")
    if encoding == "raw":
        return data
    if encoding not in ("gzip", "gz"):
        raise InputError(f"{path}: its encoding is {encoding!r}: raw and gzip can be read")
    try:
        # one byte more than wanted: enough to notice, never more than the memory for it
        return zlib.decompressobj(wbits=31).decompress(data, wanted + 1)
    except (zlib.error, gzip.BadGzipFile, EOFError) as error:
        raise InputError(
            f"{path}: its values cannot be unpacked ({error}): copy it again"
        ) from error
