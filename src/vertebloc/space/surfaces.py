"""Closed triangle surfaces in patient LPS."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.space.transforms import Points, Transform


@dataclass(frozen=True, slots=True, eq=False)
class TriangleSurface:
    """A triangle surface; seen from outside, each triangle's corners run anticlockwise."""

    vertices: Points  #: (n, 3) float64, mm, patient LPS
    triangles: NDArray[np.int32]  #: (m, 3) indices into ``vertices``

    def __post_init__(self) -> None:
        """Refuse shapes and indices that make no surface; make the arrays read-only."""
        vertices = np.array(self.vertices, dtype=np.float64)
        triangles = np.array(self.triangles, dtype=np.int32)
        if vertices.ndim != 2 or vertices.shape[1] != 3 or triangles.ndim != 2:
            raise InputError("a surface needs (n, 3) vertices and (m, 3) triangles")
        if triangles.size and (triangles.min() < 0 or triangles.max() >= len(vertices)):
            raise InputError("a triangle points to a vertex that is not there")
        for array in (vertices, triangles):
            array.flags.writeable = False
        object.__setattr__(self, "vertices", vertices)
        object.__setattr__(self, "triangles", triangles)

    @property
    def corners(self) -> NDArray[np.float64]:
        """The triangles' corners, (m, 3, 3)."""
        return np.asarray(self.vertices[self.triangles])

    @property
    def volume_mm3(self) -> float:
        """Enclosed volume; negative if the surface is inside out."""
        a, b, c = np.moveaxis(self.corners - self.vertices.mean(axis=0), 1, 0)
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)

    @property
    def volume_ml(self) -> float:
        """Enclosed volume in ml."""
        return self.volume_mm3 / 1000.0

    @property
    def is_closed(self) -> bool:
        """Whether each edge belongs to exactly two triangles, once in each direction."""
        edges = self.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).astype(np.int64)
        forward = edges[:, 0] * len(self.vertices) + edges[:, 1]
        backward = edges[:, 1] * len(self.vertices) + edges[:, 0]
        return bool(
            len(np.unique(forward)) == len(forward)
            and np.array_equal(np.sort(forward), np.sort(backward))
        )

    def moved(self, lps_from_lps: Transform) -> TriangleSurface:
        """The surface after a motion of space; a mirroring one also turns the triangles."""
        triangles = self.triangles
        if np.linalg.det(lps_from_lps.matrix[:3, :3]) < 0:
            triangles = triangles[:, ::-1]
        return TriangleSurface(lps_from_lps.points(self.vertices), triangles)
