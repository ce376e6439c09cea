"""Distance to tumour all over the free piece, for the picture that is turned by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.resection.margin_map import PITCH_MM
from vertebloc.resection.model import FaceMargin
from vertebloc.space.distance import SignedDistance
from vertebloc.space.sections import solid_from_surface, surface_of_solid
from vertebloc.space.surfaces import TriangleSurface

#: A triangle this near to a face's plane belongs to that face, mm: booleans are exact to 1e-6.
ON_PLANE_MM = 0.02
DISSECTED = -1  #: in place of a face's number


@dataclass(frozen=True, slots=True, eq=False)
class PieceMap:
    """The piece in triangles fine enough to carry its margins from corner to corner."""

    surface: TriangleSurface
    margins_mm: NDArray[np.float64]  #: (n,) signed distance to tumour of each corner
    face_of: NDArray[np.int64]  #: (m,) number of the cut face each triangle lies on; else -1
    names: tuple[str, ...]  #: of the cut faces

    @property
    def on_cut(self) -> NDArray[np.bool_]:
        """(m,) which triangles were cut, not dissected."""
        return np.asarray(self.face_of != DISSECTED)

    @property
    def longest_edge_mm(self) -> float:
        """Length of the longest edge, mm: it bounds what drawing from corner to corner misses."""
        corners = self.surface.corners
        return float(np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max())

    def corners_of(self, name: str) -> NDArray[np.int64]:
        """Numbers of the corners on one cut face.

        Parameters
        ----------
        name : str
            The face's.

        Returns
        -------
        (k,) int64
            Each once; none if the piece shows nothing of that face.
        """
        chosen = self.surface.triangles[self.face_of == self.names.index(name)]
        return np.unique(chosen).astype(np.int64)


def map_piece(
    piece: TriangleSurface,
    faces: Sequence[FaceMargin],
    tumour: SignedDistance,
    finer_than_mm: float = PITCH_MM,
) -> PieceMap:
    """Measure the distance to tumour all over the piece.

    Parameters
    ----------
    piece : TriangleSurface
        The piece; closed.
    faces : sequence of FaceMargin
        Its faces; flat ones say where it was cut.
    tumour : SignedDistance
        Tumour and what counts as tumour.
    finer_than_mm : float, mm
        Edges of the piece are split until none is longer; edges that then run inside its
        triangles may be up to about twice as long.

    Returns
    -------
    PieceMap
        The same surface in smaller triangles, with the distance at every corner.

    Raises
    ------
    InputError
        If the piece is not closed, or the length is not positive.

    Notes
    -----
    Between corners a picture draws straight from one to the next. A place lies at most the
    longest edge / sqrt(3) from its nearest corner, and distances change no faster than places:
    what is drawn is wrong by no more than that. Off tumour it is far less: a distance d curves
    by at most 1 / d, so that an edge h misses at most h^2 / (8 d).
    """
    if not finer_than_mm > 0.0:
        raise InputError(f"edges must be longer than 0 mm, got {finer_than_mm:g} mm")
    fine = surface_of_solid(solid_from_surface(piece).refine_to_length(finer_than_mm))
    flat = [face for face in faces if face.face is not None]
    face_of = np.full(len(fine.triangles), DISSECTED, dtype=np.int64)
    for place, face in enumerate(flat):
        assert face.face is not None
        off = face.face.lps_from_plane.inverse.points(fine.vertices)
        near = np.abs(off[:, 2]) < ON_PLANE_MM
        there = np.flatnonzero(np.all(near[fine.triangles], axis=1))
        # half cuts may share one plane: a triangle belongs to the half in whose outline it lies
        middles = off[fine.triangles[there]].mean(axis=1)[:, :2]
        face_of[there[_within(face.face.loops, middles)]] = place
    return PieceMap(
        surface=fine,
        margins_mm=np.asarray(tumour.signed_distance_mm(fine.vertices)),
        face_of=face_of,
        names=tuple(face.name for face in flat),
    )


def _within(
    loops: tuple[NDArray[np.float64], ...], points: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Which points lie inside closed loops, by the even-odd rule, so that holes are left out."""
    inside = np.zeros(len(points), dtype=np.bool_)
    x, y = points[:, :1], points[:, 1:]
    for loop in loops:
        a, b = loop, np.roll(loop, -1, axis=0)
        rises = (a[:, 1] > y) != (b[:, 1] > y)
        with np.errstate(divide="ignore", invalid="ignore"):
            at = a[:, 0] + (y - a[:, 1]) * (b[:, 0] - a[:, 0]) / (b[:, 1] - a[:, 1])
        inside ^= (np.sum(rises & (x < at), axis=1) % 2).astype(np.bool_)
    return inside
