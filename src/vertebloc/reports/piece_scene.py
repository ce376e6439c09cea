"""The free piece with its margin map, in the form in which the browser draws it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from vertebloc.anatomy.model import Vertebra
from vertebloc.reports import palette
from vertebloc.reports import piece_words as words
from vertebloc.reports.screen_scene import WIDEST_MM
from vertebloc.resection.contamination import TOUCHES_MM
from vertebloc.resection.model import Contamination, FaceKind, FaceMargin, Kind, ResectionPlan
from vertebloc.resection.piece_map import PieceMap
from vertebloc.resection.soft_faces import SOFT_NAMES, triangles_of_soft_faces
from vertebloc.space.surfaces import TriangleSurface

#: Lines of equal room, mm apart. A display, no threshold.
LINES_MM = 5.0


def mapped_mesh_bytes(found: PieceMap) -> bytes:
    """The piece as bytes: counts, corners, triangles, then the margin of each corner, and if cut.

    Parameters
    ----------
    found : PieceMap
        From ``map_piece``.

    Returns
    -------
    bytes
        uint32 x 2, float32 x 3 n, uint32 x 3 m, float32 x n margins in mm, float32 x n 1 where
        cut and 0 where dissected; little-endian. A corner on the rim of a cut face is there
        twice, so that neither look runs over into the other.
    """
    triangles = found.surface.triangles.astype(np.int64)
    corners, flags, faces, count = [], [], np.empty_like(triangles), 0
    for cut in (False, True):
        chosen = np.flatnonzero(found.on_cut == cut)
        used, renumbered = np.unique(triangles[chosen], return_inverse=True)
        faces[chosen] = renumbered.reshape(-1, 3) + count
        corners.append(used)
        flags.append(np.full(len(used), float(cut)))
        count += len(used)
    order = np.concatenate(corners)
    return b"".join(
        (
            np.array([count, len(faces)], dtype="<u4").tobytes(),
            np.ascontiguousarray(found.surface.vertices[order], dtype="<f4").tobytes(),
            np.ascontiguousarray(faces, dtype="<u4").tobytes(),
            np.ascontiguousarray(found.margins_mm[order], dtype="<f4").tobytes(),
            np.concatenate(flags).astype("<f4").tobytes(),
        )
    )


def piece_key(wanted_mm: float) -> dict[str, Any]:
    """How the piece is coloured: the carton's own ramp and limits.

    Parameters
    ----------
    wanted_mm : float, mm
        The wanted margin; 0: none.

    Returns
    -------
    dict
        Colours, limits in mm and words.
    """
    return {
        "ramp": list(palette.ROOM_RAMP),
        "widest_mm": WIDEST_MM,
        "lines_mm": LINES_MM,
        "wanted_mm": wanted_mm,
        "touches_mm": TOUCHES_MM,
        "tumour": palette.TUMOUR,
        "tumour_hatch": palette.TUMOUR_HATCH,
        "opened": palette.OPENED,
        "opened_hatch": palette.OPENED_HATCH,
        "line": palette.CUT_EDGE,
        "ink": palette.BRIGHT,
        "dissected": palette.PIECE,
        "wanted_words": words.wanted(wanted_mm) if wanted_mm else "",
        "ticks": [
            {"mm": float(mm), "words": words.tick(float(mm))}
            for mm in np.arange(0.0, WIDEST_MM + 0.1, LINES_MM)
        ],
    }


def piece_faces(plan: ResectionPlan, vertebra: Vertebra) -> list[dict[str, Any]]:
    """Every face of the piece with its name, margin and place.

    Parameters
    ----------
    plan : ResectionPlan
        The piece and its faces.
    vertebra : Vertebra
        The diseased one.

    Returns
    -------
    list of dict
        ``name``, ``kind``, ``words``, ``at`` and ``out`` (patient LPS, mm, and unit vector).
    """
    arch_only = plan.kind is Kind.ARCH_ONLY
    parts = triangles_of_soft_faces(plan.piece, vertebra, plan.cuts, arch_only=arch_only)
    soft = {SOFT_NAMES[face]: found for face, found in parts.items()}
    listed = []
    for face in plan.faces:
        if face.face is not None:
            at, out = _flat_place(face)
        elif face.name in soft:
            at, out = _soft_place(plan.piece, soft[face.name])
        else:
            continue  # has no place of its own
        listed.append(
            {
                "name": face.name,
                "kind": face.kind.value,
                "words": words.face(face.name, face.margin_mm),
                "at": _list(at),
                "out": _list(out),
                "cut": face.kind is FaceKind.BONE,
            }
        )
    return listed


def _flat_place(face: FaceMargin) -> tuple[Any, Any]:
    """Middle of a flat face's largest loop, and where it looks."""
    assert face.face is not None
    loop = max(face.face.loops_lps(), key=len)
    return loop.mean(axis=0), face.face.lps_from_plane.axis(2)


def _soft_place(piece: TriangleSurface, chosen: Any) -> tuple[Any, Any]:
    """Middle of a dissected face, and where it looks on the whole."""
    corners = piece.corners[chosen]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = np.linalg.norm(across, axis=1)
    middle = (corners.mean(axis=1) * areas[:, None]).sum(axis=0) / areas.sum()
    out = across.sum(axis=0)
    return middle, out / np.linalg.norm(out)


def opened_places(opened: Sequence[Contamination]) -> list[dict[str, Any]]:
    """Where the plan itself opens tumour, to be drawn on the piece.

    Parameters
    ----------
    opened : sequence of Contamination
        Of the plan.

    Returns
    -------
    list of dict
        ``name``, ``rows`` of words with the area in mm2, ``at`` in patient LPS, ``area_mm2``;
        drawn from ``opened_surface``.
    """
    return [
        {
            "name": one.name,
            "rows": list(words.opened(one.how, one.name, one.area_mm2)),
            "at": _list(one.deepest),
            "area_mm2": one.area_mm2,
        }
        for one in opened
    ]


def opened_surface(one: Contamination) -> TriangleSurface:
    """The triangles of one such place; open, as it is a patch.

    Parameters
    ----------
    one : Contamination
        Of the plan.

    Returns
    -------
    TriangleSurface
        No two triangles share a corner.
    """
    corners = one.triangles.reshape(-1, 3)
    return TriangleSurface(corners, np.arange(len(corners), dtype=np.int32).reshape(-1, 3))


def _list(vector: Any) -> list[float]:
    return [round(float(x), 4) for x in vector]
