"""Solids out for printing: binary STL, and 3MF by its public core specification."""

from __future__ import annotations

import zipfile
from collections.abc import Mapping
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.exchange.aside import write_file_aside
from vertebloc.space.surfaces import TriangleSurface

_HEADER_BYTES = 80
_CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
_MODEL_PART = "3D/3dmodel.model"
_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" '
    'ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" '
    'ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
)
_RELATIONS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    f'<Relationship Target="/{_MODEL_PART}" Id="rel0" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)
_SAME_TIME = (1980, 1, 1, 0, 0, 0)  #: of every entry: the same solids give the same bytes


def write_stl(path: Path, surface: TriangleSurface, about: str) -> None:
    """Write a closed surface as binary STL.

    Parameters
    ----------
    path : Path
        Where to; a file that is there is replaced.
    surface : TriangleSurface
        Closed, mm, patient LPS; written as it is. STL knows neither unit nor frame.
    about : str
        Said in the header, cut to its 80 bytes.

    Raises
    ------
    InputError
        If the surface is not closed, or its 32-bit corners would not be.
    """
    corners = _single_precision(surface, path)
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(across, axis=1, keepdims=True)
    records = np.zeros(
        len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("more", "<u2")]
    )
    records["normal"] = across / np.where(length > 0, length, 1.0)
    records["corners"] = corners
    # a header that begins with "solid" is taken for a text file by some readers
    header = f"binary STL, mm, patient LPS; {about}".encode("ascii", "replace")[:_HEADER_BYTES]
    with write_file_aside(path) as file:
        file.write(header.ljust(_HEADER_BYTES))
        file.write(np.array([len(records)], dtype="<u4").tobytes())
        file.write(records.tobytes())


def write_3mf(
    path: Path, solids: Mapping[str, TriangleSurface], colours: Mapping[str, str], about: str
) -> None:
    """Write closed surfaces as one 3MF file, each an object with its name and colour.

    Parameters
    ----------
    path : Path
        Where to; a file that is there is replaced.
    solids : mapping of str to TriangleSurface
        Closed, mm, patient LPS; written as they are.
    colours : mapping of str to str
        ``#rrggbb`` of each.
    about : str
        What it is, its frame and its cautions, for the file's description.

    Raises
    ------
    InputError
        If a surface is not closed.

    Notes
    -----
    3MF core specification, 1.2: unit millimeter, one mesh an object, base materials for the
    colours, no extension. Corners to nine digits: what is apart in 32 bits stays apart, so that
    a reader that joins equal corners tears nothing.
    """
    model = "".join(_model(path, solids, colours, about))
    with write_file_aside(path) as file, zipfile.ZipFile(file, "w") as package:
        for name, text in (
            ("[Content_Types].xml", _TYPES),
            ("_rels/.rels", _RELATIONS),
            (_MODEL_PART, model),
        ):
            entry = zipfile.ZipInfo(name, _SAME_TIME)
            entry.compress_type = zipfile.ZIP_DEFLATED
            package.writestr(entry, text.encode("utf-8"))


def _model(
    path: Path, solids: Mapping[str, TriangleSurface], colours: Mapping[str, str], about: str
) -> list[str]:
    parts = [
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<model unit="millimeter" xml:lang="en-GB" xmlns="{_CORE}">\n'
        '<metadata name="Title">planned resection</metadata>\n'
        '<metadata name="Application">vertebloc</metadata>\n'
        f'<metadata name="Description">{escape(about)}</metadata>\n'
        '<resources>\n<basematerials id="1">'
    ]
    parts += [
        f"<base name={quoteattr(name)} displaycolor={quoteattr(colours[name].upper())}/>"
        for name in solids
    ]
    parts.append("</basematerials>\n")
    for place, (name, surface) in enumerate(solids.items()):
        if not surface.is_closed:
            raise InputError(f"{path}: the {name} is not closed")
        parts.append(
            f'<object id="{place + 2}" type="model" name={quoteattr(name)} '
            f'pid="1" pindex="{place}"><mesh><vertices>\n'
        )
        parts += [
            f'<vertex x="{x:.9g}" y="{y:.9g}" z="{z:.9g}"/>\n'
            for x, y, z in (surface.vertices + 0.0).tolist()
        ]
        parts.append("</vertices><triangles>\n")
        parts += [
            f'<triangle v1="{a}" v2="{b}" v3="{c}"/>\n' for a, b, c in surface.triangles.tolist()
        ]
        parts.append("</triangles></mesh></object>\n")
    items = "".join(f'<item objectid="{place + 2}"/>' for place in range(len(solids)))
    parts.append(f"</resources>\n<build>{items}</build>\n</model>\n")
    return parts


def _single_precision(surface: TriangleSurface, path: Path) -> NDArray[np.float32]:
    """Corners of the triangles in 32 bits, those left out that shrink to nothing.

    Corners that are apart in 64 bits may fall together: refused if that tears the solid.
    """
    if not surface.is_closed:
        raise InputError(f"{path}: the surface is not closed")
    unique, place = np.unique(surface.vertices.astype("<f4"), axis=0, return_inverse=True)
    joined = place.reshape(-1)[surface.triangles]
    a, b, c = joined.T
    joined = joined[(a != b) & (b != c) & (c != a)]
    if not TriangleSurface(unique, joined).is_closed:
        raise InputError(
            f"{path}: in the 32 bits of STL the solid is no longer closed: write 3MF instead, or "
            "move the images' origin nearer to the patient"
        )
    return np.asarray(unique[joined])
