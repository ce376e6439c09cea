"""Closed triangle surfaces from PLY and STL files, and PLY files from surfaces."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.exchange.aside import write_file_aside
from vertebloc.exchange.names_file import read_names_file
from vertebloc.space import tolerances
from vertebloc.space.surfaces import TriangleSurface

#: An outline smaller than the first or larger than the second, mm, is written in another unit
#: than mm. Assumed: wide enough for a whole spine, a tumour, the skin.
_EXTENT_MM = (1.0, 1200.0)
_EXTENT_TUMOUR_MM = (1.0, 500.0)
_EXTENT_SKIN_MM = (50.0, 2200.0)

_READ = (".ply", ".stl")


def read_surfaces(names_path: Path) -> tuple[Mapping[Contour, TriangleSurface], tuple[str, ...]]:
    """Read all surfaces that a names file lists.

    Parameters
    ----------
    names_path : Path
        Names file with a list ``surfaces``; the files lie beside it.

    Returns
    -------
    surfaces : mapping of Contour to TriangleSurface
        Closed surfaces, outward.
    notes : tuple of str
        What was turned, and words that are not known.

    Raises
    ------
    InputError
        If a file cannot be used, or two stand for the same outline.
    """
    names = read_names_file(names_path)
    if not names.surfaces:
        raise InputError(f"{names_path} lists no surfaces: it needs a list 'surfaces'")
    found: dict[Contour, TriangleSurface] = {}
    notes = list(names.notes)
    for file, contour in names.surfaces:
        if contour in found:
            raise InputError(f"{names_path}: two files stand for {contour.words}: join them first")
        found[contour], more = read_surface(names_path.parent / file, contour)
        notes += more
    return found, tuple(notes)


def read_surface(path: Path, contour: Contour) -> tuple[TriangleSurface, tuple[str, ...]]:
    """Read one closed surface.

    Parameters
    ----------
    path : Path
        PLY or STL, binary or text; mm, patient LPS.
    contour : Contour
        What it is of, which decides the size that is plausible.

    Returns
    -------
    surface : TriangleSurface
        Closed, outward, equal corners joined.
    notes : tuple of str
        Whether it was inside out.

    Raises
    ------
    InputError
        If it is no such file, not closed, or its size suggests another unit than mm.

    Notes
    -----
    The frame cannot be checked: a surface in another frame than the CT's is wrong unnoticed
    unless it misses the CT altogether.
    """
    vertices, triangles = _load(path)
    vertices, triangles = _joined(vertices, triangles)
    if not len(triangles):
        raise InputError(f"{path} holds no triangle")
    surface = TriangleSurface(vertices, triangles)
    _refuse_implausible_size(surface, path, contour)
    if not surface.is_closed:
        raise InputError(
            f"{path} is not closed: {_open_edges(surface)} edges do not belong to exactly two "
            "triangles that agree on what is outside; repair it"
        )
    volume_mm3 = surface.volume_mm3
    if abs(volume_mm3) < tolerances.EMPTY:
        raise InputError(f"{path} encloses nothing ({volume_mm3:g} mm3)")
    if volume_mm3 < 0:
        turned = TriangleSurface(surface.vertices, surface.triangles[:, ::-1])
        return turned, (f"{path.name}: the surface was inside out and was turned",)
    return surface, ()


def write_ply(path: Path, surface: TriangleSurface) -> None:
    """Write a surface as binary PLY with 64-bit positions; same surface, same bytes.

    Parameters
    ----------
    path : Path
        Where to; a file that is there is replaced.
    surface : TriangleSurface
        The surface, mm, patient LPS.

    Raises
    ------
    InputError
        If the name does not end in ``.ply``.
    """
    if path.suffix.lower() != ".ply":
        raise InputError(f"{path}: a PLY file's name ends in .ply")
    lines = (
        "ply",
        "format binary_little_endian 1.0",
        "comment mm, patient LPS: x to the left, y to the back, z to the head",
        f"element vertex {len(surface.vertices)}",
        *(f"property double {axis}" for axis in "xyz"),
        f"element face {len(surface.triangles)}",
        "property list uchar int vertex_indices",
        "end_header",
    )
    faces = np.empty(len(surface.triangles), dtype=[("n", "u1"), ("v", "<i4", 3)])
    faces["n"], faces["v"] = 3, surface.triangles
    with write_file_aside(path) as file:
        file.write(("\n".join(lines) + "\n").encode("ascii"))
        file.write(surface.vertices.astype("<f8").tobytes())
        file.write(faces.tobytes())


def _load(path: Path) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    import trimesh  # takes a while to import; only surfaces need it

    kind = path.suffix.lower()
    if kind not in _READ:
        raise InputError(f"{path}: surfaces are read from {' and '.join(_READ)} files")
    try:
        with path.open("rb") as file:
            mesh = trimesh.load_mesh(file, file_type=kind[1:], process=False)
        vertices = np.asarray(mesh.vertices, dtype=np.float64)
        triangles = np.asarray(mesh.faces, dtype=np.int32).reshape(-1, 3)
    except FileNotFoundError as error:
        raise InputError(f"{path} is not there") from error
    except Exception as error:  # the reader raises anything on damaged files
        raise InputError(
            f"{path} cannot be read as {kind[1:].upper()} ({' '.join(str(error).split())})"
        ) from error
    if not np.all(np.isfinite(vertices)):
        raise InputError(f"{path} holds positions that are not finite numbers")
    return vertices, triangles


def _joined(
    vertices: NDArray[np.float64], triangles: NDArray[np.int32]
) -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    """Join corners at exactly the same place (STL repeats them); drop needle triangles."""
    if not len(triangles):
        return vertices, triangles
    unique, place = np.unique(vertices + 0.0, axis=0, return_inverse=True)
    joined = place.reshape(-1)[triangles]
    a, b, c = joined.T
    joined = joined[(a != b) & (b != c) & (c != a)]
    used, renumbered = np.unique(joined, return_inverse=True)
    return unique[used], renumbered.reshape(-1, 3).astype(np.int32)


def _refuse_implausible_size(surface: TriangleSurface, path: Path, contour: Contour) -> None:
    extent_mm = float(np.ptp(surface.vertices, axis=0).max())
    low, high = _EXTENT_MM
    if contour.structure is Structure.SKIN:
        low, high = _EXTENT_SKIN_MM
    elif contour.structure is Structure.TUMOUR:
        low, high = _EXTENT_TUMOUR_MM
    if low <= extent_mm <= high:
        return
    guess = "metres" if extent_mm < low else "another unit"
    raise InputError(
        f"{path}: {contour.words} measures {extent_mm:.4g} mm, {low:g} to {high:g} mm are "
        f"plausible: the file seems to be written in {guess}; write it in mm"
    )


def _open_edges(surface: TriangleSurface) -> int:
    edges = surface.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).astype(np.int64)
    forward = edges[:, 0] * len(surface.vertices) + edges[:, 1]
    backward = edges[:, 1] * len(surface.vertices) + edges[:, 0]
    keys, counts = np.unique(forward, return_counts=True)
    return int(np.count_nonzero(~np.isin(keys, backward)) + np.count_nonzero(counts > 1))
