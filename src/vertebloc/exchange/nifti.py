"""NIfTI volumes and label maps: right-anterior-superior outside, patient LPS inside."""

from __future__ import annotations

import gzip
import zlib
from pathlib import Path
from typing import IO, Any, cast

import nibabel
import numpy as np
from nibabel.filebasedimages import ImageFileError
from nibabel.spatialimages import HeaderDataError
from numpy.typing import NDArray

from vertebloc.anatomy.contours import LabelMap
from vertebloc.errors import InputError
from vertebloc.exchange.aside import write_file_aside
from vertebloc.exchange.names_file import NamesFile, read_names_file
from vertebloc.space.grids import Grid, Volume

_LPS_FROM_RAS = np.diag((-1.0, -1.0, 1.0, 1.0))

#: The header's two maps may differ by this share of a voxel's shortest edge: they are written
#: in 32-bit numbers, one of them as a quaternion.
_MAPS_AGREE = 0.05

#: Voxel edges outside this range are not a scan of a patient in mm.
_EDGES_MM = (0.02, 50.0)

_WRITTEN = ("uint8", "int16", "uint16", "int32", "float32")


def read_nifti_volume(path: Path) -> Volume:
    """Read a three-dimensional NIfTI image.

    Parameters
    ----------
    path : Path
        A ``.nii`` or ``.nii.gz`` file, NIfTI-1 or -2.

    Returns
    -------
    Volume
        Values with the file's scaling applied: the stored type if there is none, int16 if it
        keeps whole numbers, else float32. Left-handed grids stay left-handed.

    Raises
    ------
    InputError
        If the file is damaged, not three-dimensional, says not where it lies or says it twice
        and differently, or holds no plain finite numbers.

    Notes
    -----
    Says nothing about which patient it is of: NIfTI does not record that.
    """
    try:
        image = cast(Any, nibabel).load(path)
        matrix = _lps_from_ijk(image.header, path)
        values = _values(image, path)
    except FileNotFoundError as error:
        raise InputError(f"{path} is not there") from error
    except (ImageFileError, HeaderDataError, OSError, EOFError, ValueError, zlib.error) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(
            f"{path} cannot be read as NIfTI ({' '.join(str(error).split())}): it may be cut "
            "short; copy it again"
        ) from error
    ni, nj, nk = values.shape
    grid = Grid.from_matrix((ni, nj, nk), matrix)
    low, high = grid.spacing_mm.min(), grid.spacing_mm.max()
    if low < _EDGES_MM[0] or high > _EDGES_MM[1]:
        raise InputError(
            f"{path}: voxel edges of {low:g} to {high:g} mm, {_EDGES_MM[0]:g} to "
            f"{_EDGES_MM[1]:g} mm are taken: is the file written in another unit?"
        )
    return Volume(grid, values)


def read_nifti_sizes(path: Path) -> tuple[tuple[int, int, int], tuple[float, float, float]]:
    """Read only how large an image is, from its header.

    Parameters
    ----------
    path : Path
        A ``.nii`` or ``.nii.gz`` file.

    Returns
    -------
    tuple of (3 int, 3 float)
        Voxels along each axis, and voxel edges, mm.

    Raises
    ------
    InputError
        If the file is damaged or not three-dimensional.
    """
    try:
        header = cast(Any, nibabel).load(path).header
        ni, nj, nk = (int(n) for n in header.get_data_shape())
        edges = np.linalg.norm(_lps_from_ijk(header, path)[:3, :3], axis=0)
    except (ImageFileError, HeaderDataError, OSError, EOFError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise InputError(
            f"{path} cannot be read as NIfTI ({' '.join(str(error).split())}): it may be cut "
            "short; copy it again"
        ) from error
    return (ni, nj, nk), (float(edges[0]), float(edges[1]), float(edges[2]))


def read_nifti_labels(path: Path, names_path: Path) -> tuple[LabelMap, tuple[str, ...]]:
    """Read a label map and the names of its labels.

    Parameters
    ----------
    path : Path
        NIfTI file with whole numbers from 0.
    names_path : Path
        Names file (JSON), see ``names_file``.

    Returns
    -------
    label_map : LabelMap
        Labels as uint8, uint16 or int32.
    notes : tuple of str
        Labels without a name, names without a voxel, words that are not known.

    Raises
    ------
    InputError
        If either file cannot be used.
    """
    return label_map_of(read_nifti_volume(path), path, read_names_file(names_path), names_path)


def label_map_of(
    volume: Volume, path: Path, names: NamesFile, names_path: Path
) -> tuple[LabelMap, tuple[str, ...]]:
    """Give a volume's whole numbers their names.

    Parameters
    ----------
    volume : Volume
        Whole numbers from 0.
    path, names_path : Path
        Where both come from, for messages.
    names : NamesFile
        What the numbers stand for.

    Returns
    -------
    label_map : LabelMap
        Labels as uint8, uint16 or int32.
    notes : tuple of str
        Labels without a name, names without a voxel, words that are not known.

    Raises
    ------
    InputError
        If the values are no labels, or nothing is named.
    """
    labels = _whole_labels(np.asarray(volume.values), path)
    if not names.labels:
        raise InputError(f"{names_path} names no labels: a label map needs a list 'labels'")
    present = _present(labels)
    notes = list(names.notes)
    nameless = sorted(present - set(names.labels) - {0})
    absent = sorted(set(names.labels) - present)
    if nameless:
        notes.append(f"labels without a name, not used: {_list(nameless)}")
    if absent:
        notes.append(f"named labels that no voxel carries: {_list(absent)}")
    return LabelMap(Volume(volume.grid, labels), names.labels), tuple(notes)


def write_nifti(path: Path, volume: Volume) -> None:
    """Write a volume as NIfTI-1; the same volume gives the same bytes.

    Parameters
    ----------
    path : Path
        ``.nii``, or ``.nii.gz`` (lightly compressed); a file that is there is replaced.
    volume : Volume
        Truth values, uint8, int16, uint16, int32 or float32.

    Raises
    ------
    InputError
        If the name or the type of the values is another.

    Notes
    -----
    The map is written in 32-bit numbers, so positions come back within 1e-4 mm. It is
    written a second time as a quaternion unless the grid is sheared.
    """
    values = np.asarray(volume.values)
    if values.dtype == np.bool_:
        values = values.astype(np.uint8)
    if values.dtype.name not in _WRITTEN:
        raise InputError(
            f"{path}: values of type {values.dtype} cannot be written: bool, "
            f"{', '.join(_WRITTEN)} can"
        )
    if not path.name.endswith((".nii", ".nii.gz")):
        raise InputError(f"{path}: a NIfTI file's name ends in .nii or .nii.gz")
    header = _header(volume.grid, values.dtype)
    with write_file_aside(path) as file:
        if path.name.endswith(".gz"):
            # no name and no time inside, so that the bytes depend on the volume alone
            with gzip.GzipFile("", "wb", compresslevel=1, fileobj=file, mtime=0) as packed:
                _write(cast("IO[bytes]", packed), header, values)
        else:
            _write(file, header, values)


def _write(file: IO[bytes], header: bytes, values: NDArray[Any]) -> None:
    file.write(header)
    little = values.dtype.newbyteorder("<")
    for k in range(values.shape[2]):  # slice by slice: no second copy of the volume
        file.write(np.asarray(values[:, :, k], dtype=little).tobytes(order="F"))


def _header(grid: Grid, dtype: np.dtype[Any]) -> bytes:
    ras_from_ijk = _LPS_FROM_RAS @ grid.lps_from_ijk.matrix
    header = cast(Any, nibabel).Nifti1Header(endianness="<")
    header.set_data_dtype(dtype)
    header.set_data_shape(grid.shape)
    header.set_zooms(grid.spacing_mm)
    header.set_xyzt_units("mm")
    header.set_slope_inter(1, 0)
    header.set_sform(ras_from_ijk, code="scanner")
    if not grid.is_sheared:
        header.set_qform(ras_from_ijk, code="scanner")
    header["magic"], header["vox_offset"] = b"n+1", 352
    return bytes(header.binaryblock) + bytes(4)


def _lps_from_ijk(header: Any, path: Path) -> NDArray[np.float64]:
    """The map, if the header states one, and states no second one that differs."""
    if not hasattr(header, "get_sform"):
        raise InputError(f"{path} is no NIfTI file but {type(header).__name__}: give NIfTI")
    unit = header.get_xyzt_units()[0]
    if unit not in ("mm", "unknown"):
        raise InputError(f"{path}: its lengths are in {unit}: write it in mm")
    sform, qform = header.get_sform(coded=True)[0], header.get_qform(coded=True)[0]
    if sform is None and qform is None:
        raise InputError(
            f"{path} does not say where it lies (sform and qform codes are 0): left and right "
            "cannot be known; export it again with its orientation"
        )
    if sform is not None and qform is not None:
        ends = np.array([(i, j, k, 1) for i in (0, 1) for j in (0, 1) for k in (0, 1)], float)
        ends[:, :3] *= np.array(header.get_data_shape()[:3]) - 1
        apart = float(np.linalg.norm((ends @ (sform - qform).T)[:, :3], axis=1).max())
        allowed = _MAPS_AGREE * float(np.linalg.norm(sform[:3, :3], axis=0).min())
        if apart > allowed:
            raise InputError(
                f"{path} says twice where it lies (sform and qform) and the two differ by up to "
                f"{apart:.2f} mm ({allowed:.2f} mm allowed): export it again with one of them"
            )
    return np.asarray(_LPS_FROM_RAS @ (sform if sform is not None else qform), dtype=np.float64)


def _values(image: Any, path: Path) -> NDArray[Any]:
    shape = image.shape
    if len(shape) < 3 or any(n != 1 for n in shape[3:]):
        raise InputError(
            f"{path} has {len(shape)} dimensions {tuple(shape)}: one volume of three is needed"
        )
    proxy = image.dataobj
    slope, inter = float(proxy.slope), float(proxy.inter)
    stored = np.asarray(proxy.get_unscaled()).reshape(shape[:3], order="F")
    if stored.dtype.kind not in "iuf":
        raise InputError(f"{path}: its values are of type {stored.dtype}, plain numbers needed")
    stored = stored.astype(stored.dtype.newbyteorder("="), copy=False)
    if (slope, inter) != (1.0, 0.0):
        stored = _scaled(stored, slope, inter)
    if stored.dtype.kind == "f":
        if not np.all(np.isfinite(stored)):
            raise InputError(f"{path} holds values that are not finite numbers")
        return stored.astype(np.float32, copy=False)
    return stored


def _scaled(stored: NDArray[Any], slope: float, inter: float) -> NDArray[Any]:
    ends = [float(end) * slope + inter for end in (stored.min(), stored.max())]
    whole = stored.dtype.kind in "iu" and slope.is_integer() and inter.is_integer()
    if whole and min(ends) >= -32768 and max(ends) <= 32767:
        return np.asarray(stored.astype(np.int64) * int(slope) + int(inter)).astype(np.int16)
    return np.asarray(stored * np.float64(slope) + inter, dtype=np.float32)


def _whole_labels(values: NDArray[Any], path: Path) -> NDArray[Any]:
    low, high = float(values.min()), float(values.max())
    if values.dtype.kind == "f" and not np.array_equal(values, np.rint(values)):
        raise InputError(f"{path} holds values that are not whole numbers: it is no label map")
    if low < 0 or high > 2**31 - 1:
        raise InputError(
            f"{path}: labels from {low:g} to {high:g}; 0 to 2147483647 are allowed: it is no "
            "label map"
        )
    smallest = np.uint8 if high < 256 else np.uint16 if high < 65536 else np.int32
    return values.astype(smallest, copy=False)


def _present(labels: NDArray[Any]) -> set[int]:
    if labels.dtype.itemsize <= 2:
        return {int(v) for v in np.flatnonzero(np.bincount(labels.ravel(order="K")))}
    return {int(v) for v in np.unique(labels)}


def _list(values: list[int], most: int = 12) -> str:
    more = f" and {len(values) - most} more" if len(values) > most else ""
    return ", ".join(map(str, values[:most])) + more
