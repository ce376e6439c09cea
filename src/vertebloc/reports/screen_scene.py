"""Images, outlines and cuts in the form in which the browser draws them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Vertebra
from vertebloc.reports import page_words as words
from vertebloc.reports import palette, piece_words
from vertebloc.resection.model import FaceMargin, HalfCut
from vertebloc.resection.piece import Cuts
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.frames import Frame, Side
from vertebloc.space.grids import Volume
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Transform
from vertebloc.space.views import View, edge_words, screen_from_body

#: Grey from black to white, HU, at first: soft tissue dark, bone bright. A display, no threshold.
WINDOW_HU = (-250.0, 1050.0)
#: Room from which the violet ramp is at its lightest, mm. A display, no threshold.
WIDEST_MM = 15.0
#: Larger images are shown from every second voxel first. About 60 MB on their way.
LARGE_VOXELS = 30_000_000
COARSE = 2
_SLICES_A_TIME = 16
_BEHIND = {
    "left": View.THEATRE_STANDING_LEFT,
    "right": View.THEATRE_STANDING_RIGHT,
    "head up": View.THEATRE_HEAD_UP,
}
_SIDE = {
    "left": View.THEATRE_SIDE_STANDING_LEFT,
    "right": View.THEATRE_SIDE_STANDING_RIGHT,
    "head up": View.THEATRE_SIDE_HEAD_UP,
}


def volume_meta(ct: Volume, url: str) -> dict[str, Any]:
    """Describe an image for the graphics card.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    url : str
        Where its bytes are; with ``?every=2`` added, every second voxel of them.

    Returns
    -------
    dict
        Shape, and the map from patient LPS to texture coordinates (0 to 1, row by row); for a
        large image also ``coarse``: every second voxel, to be shown while the rest travels.
    """
    found = {"url": url, "window_hu": list(WINDOW_HU), **_texture(ct, 1)}
    if ct.values.size > LARGE_VOXELS:
        found["coarse"] = {"url": f"{url}?every={COARSE}", **_texture(ct, COARSE)}
    return found


def _texture(ct: Volume, every: int) -> dict[str, Any]:
    shape = -(-np.array(ct.grid.shape) // every)
    texture = np.eye(4)
    texture[:3, :3] = np.diag(1.0 / (every * shape))
    texture[:3, 3] = 0.5 / shape  # voxel centres lie half a voxel in
    matrix = texture @ ct.grid.lps_from_ijk.inverse.matrix
    return {
        "shape": [int(n) for n in shape],
        "tex_from_lps": [float(x) for x in matrix.reshape(-1)],
    }


def volume_bytes(ct: Volume, every: int = 1) -> Iterator[bytes]:
    """The image as half-precision numbers, some slices at a time.

    Parameters
    ----------
    ct : Volume
        Hounsfield units; whole numbers up to 2048 stay exact.
    every : int
        1: all voxels; 2: every second one along each axis.

    Yields
    ------
    bytes
        i runs fastest, then j, then k.
    """
    for first in range(0, ct.grid.shape[2], _SLICES_A_TIME * every):
        slab = ct.values[::every, ::every, first : first + _SLICES_A_TIME * every : every]
        yield np.clip(slab, -60000, 60000).astype(np.float16).tobytes(order="F")


def mesh_bytes(surface: TriangleSurface) -> bytes:
    """A surface as bytes: counts of vertices and triangles, vertices (mm, LPS), corners.

    Parameters
    ----------
    surface : TriangleSurface
        Closed.

    Returns
    -------
    bytes
        uint32 x 2, float32 x 3 n, uint32 x 3 m; little-endian.
    """
    counts = np.array([len(surface.vertices), len(surface.triangles)], dtype="<u4")
    return (
        counts.tobytes()
        + np.ascontiguousarray(surface.vertices, dtype="<f4").tobytes()
        + np.ascontiguousarray(surface.triangles, dtype="<u4").tobytes()
    )


def scene_meshes(
    solids: ResectionSolids,
    nibbled: TriangleSurface | None,
    strands: Mapping[str, TriangleSurface] | None = None,
) -> dict[str, tuple[str, TriangleSurface]]:
    """The surfaces to draw beside the piece, each under its name with its kind.

    Parameters
    ----------
    solids : ResectionSolids
        Bones, tumour, sac, vessels, ribs.
    nibbled : TriangleSurface or None
        Of the plan, if there is one.
    strands : mapping of str to TriangleSurface, or None
        Roots and segmental vessels by kind: ``root``, ``root modelled`` and so on.

    Returns
    -------
    dict of str to (str, TriangleSurface)
        Kinds: bone, rib, tumour, sac, cord, vessel, nibbled, and those of the strands.
    """
    found = {f"vertebra {level}": ("bone", surface) for level, surface in solids.bone.items()}
    found |= {name: ("rib", surface) for name, surface in solids.ribs.items()}
    maybe = (
        ("tumour", "tumour", solids.tumour),
        ("sac", "sac", solids.sac),
        ("cord", "cord", solids.cord),
        ("aorta", "vessel", solids.aorta),
        ("nibbled", "nibbled", nibbled),
    )
    found |= {name: (kind, surface) for name, kind, surface in maybe if surface is not None}
    found |= {kind: (kind, surface) for kind, surface in (strands or {}).items()}
    return found


def scene_views(lps_from_body: Transform) -> dict[str, dict[str, dict[str, Any]]]:
    """The axes of every theatre view, for each place where the surgeon may stand.

    Parameters
    ----------
    lps_from_body : Transform
        The diseased vertebra's frame, or the identity of patient LPS before it is known.

    Returns
    -------
    dict
        ``behind``, ``side`` and ``across``, each for ``left``, ``right`` and ``head up``.
    """
    across = dict.fromkeys(_BEHIND, View.THEATRE_CROSS_SECTION)
    named = {"behind": _BEHIND, "side": _SIDE, "across": across}
    return {
        look: {
            standing: _axes(view, lps_from_body, stand=look == "behind" and standing != "head up")
            for standing, view in views.items()
        }
        for look, views in named.items()
    }


def _axes(view: View, lps_from_body: Transform, *, stand: bool) -> dict[str, Any]:
    screen = screen_from_body(view, lps_from_body.source)
    rows = lps_from_body.vectors(screen.matrix[:3, :3])
    right, up, toward = ([float(x) for x in row] for row in rows)
    return {
        "right": right,
        "up": up,
        "toward": toward,
        "edges": edge_words(view),
        "title": view.value,
        "stand_down": stand,
    }


def scene_of(anatomy: Anatomy, level: Level) -> dict[str, Any]:
    """Where to look: the diseased vertebra's frame, the canal's line, the levels' names.

    Parameters
    ----------
    anatomy : Anatomy
        All vertebrae.
    level : Level
        The diseased one.

    Returns
    -------
    dict
        Plain numbers, mm and patient LPS.
    """
    vertebra = anatomy.vertebrae[level]
    lps = vertebra.lps_from_vertebra
    axes = lps.vectors(np.eye(3))
    along = np.arange(anatomy.canal.s_mm[0], anatomy.canal.s_mm[-1], 2.0)
    points, heads = anatomy.canal.at(along), anatomy.canal.tangent(along)
    return {
        "views": scene_views(lps),
        "centre": _list(lps.points(np.zeros(3))[0]),
        "frame": {
            **{
                name: _list(axis)
                for name, axis in zip(("left", "back", "head"), axes, strict=True)
            },
            "origin": _list(lps.origin),
        },
        "canal": [
            {"point": _list(point), "head": _list(head)}
            for point, head in zip(points, heads, strict=True)
        ],
        "levels": [
            {"name": str(at), "at": _list(other.lps_from_vertebra.points(np.zeros(3))[0])}
            for at, other in anatomy.vertebrae.items()
        ],
    }


def bare_scene(ct: Volume) -> dict[str, Any]:
    """Where to look before anything is measured: the middle of the images.

    Parameters
    ----------
    ct : Volume
        The images.

    Returns
    -------
    dict
        As ``scene_of``, without levels.
    """
    eye = Transform(np.eye(4), target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
    middle = ct.grid.lps_from_ijk.points((np.array(ct.grid.shape) - 1.0) / 2.0)[0]
    return {
        "views": scene_views(eye),
        "centre": _list(middle),
        "frame": {
            "left": [1, 0, 0],
            "back": [0, 1, 0],
            "head": [0, 0, 1],
            "origin": _list(middle),
        },
        "canal": [],
        "levels": [],
    }


def cut_marks(
    cuts: Cuts, faces: Sequence[FaceMargin], vertebra: Vertebra, wanted_mm: float
) -> list[dict[str, Any]]:
    """The body cuts as the browser draws and pulls them.

    Parameters
    ----------
    cuts : Cuts
        Planes.
    faces : sequence of FaceMargin
        Measured faces; a half without a face is drawn as a line all the same.
    vertebra : Vertebra
        The diseased one, in whose frame the numbers are.
    wanted_mm : float, mm
        Wanted margin, drawn dotted.

    Returns
    -------
    list of dict
        One a half cut.
    """
    by_name = {face.name: face for face in faces}
    return [
        _mark(which, cut, by_name.get(cut.name), vertebra, wanted_mm)
        for which, halves in (("cranial", cuts.cranial), ("caudal", cuts.caudal))
        for cut in halves.values()
    ]


def _mark(
    which: str, cut: HalfCut, face: FaceMargin | None, vertebra: Vertebra, wanted_mm: float
) -> dict[str, Any]:
    local = vertebra.lps_from_vertebra.inverse
    blade, edge = local.vectors(cut.blade)[0], local.vectors(cut.entry_edge)[0]
    up = np.cross([1.0, 0.0, 0.0], -blade)
    wall = vertebra.left_wall_mm if cut.side is Side.LEFT else vertebra.right_wall_mm
    disc = cut.passes_through if cut.passes_through.startswith("disc") else ""
    loops = face.face.loops if face is not None and face.face is not None else ()
    outline = max(loops, key=len) if loops else np.zeros((0, 2))
    lifted = np.column_stack((outline, np.zeros(len(outline))))
    return {
        "id": f"{which}-{cut.side.value}",
        "cut": which,
        "side": cut.side.value,
        "name": cut.name,
        "cut_words": words.cut_words(str(cut.level), disc),
        "entry_lps_mm": _list(cut.entry),
        "edge": _list(cut.entry_edge),
        "blade": _list(cut.blade),
        "out": _list(cut.plane.normal),
        "up": _list(cut.plane.normal),
        "half_width_mm": abs(float(wall)) / 2.0,
        "depth_mm": float(vertebra.posterior_wall_mm - vertebra.anterior_wall_mm),
        "height_mm": float(local.points(cut.entry)[0][2]),
        "tilt_deg": float(np.degrees(np.arctan2(blade[2], -blade[1]))),
        "roll_deg": float(np.degrees(np.arctan2(edge @ up, edge[0]))),
        "wanted_mm": wanted_mm,
        "polygon_lps_mm": (
            [_list(point) for point in face.face.lps_from_plane.points(lifted)]
            if face is not None and face.face is not None and len(lifted)
            else []
        ),
        "margin_words": piece_words.face_words(face.margin_mm) if face is not None else "",
        "ink": palette.room_colour(face.margin_mm, WIDEST_MM)
        if face is not None
        else palette.SOFT,
    }


def weakest_mark(faces: Sequence[FaceMargin]) -> Mapping[str, Any] | None:
    """The place of all bone faces that lies nearest to tumour.

    Parameters
    ----------
    faces : sequence of FaceMargin
        Bone faces.

    Returns
    -------
    mapping or None
        ``point``, ``words`` and ``out``, whither its face looks; None if there is no face to
        speak of.
    """
    if not faces:
        return None
    weakest = min(faces, key=lambda face: face.margin_mm)
    face = weakest.face
    return {
        "out": _list(face.lps_from_plane.axis(2)) if face is not None else None,
        "point": _list(weakest.weakest),
        "words": piece_words.weakest_words(weakest.margin_mm, weakest.weakest_in_words),
    }


def _list(vector: Any) -> list[float]:
    return [round(float(x), 4) for x in vector]
