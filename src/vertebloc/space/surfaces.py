"""Closed triangle surfaces in patient LPS."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.space.transforms import Points, Transform, require_motion


@dataclass(frozen=True, slots=True, eq=False)
class TriangleSurface:
    """A triangle surface; seen from outside, each triangle's corners run anticlockwise."""

    vertices: Points  #: (n, 3) float64, mm, patient LPS
    triangles: NDArray[np.int32]  #: (m, 3) indices into ``vertices``

    def __post_init__(self) -> None:
        """Refuse shapes and indices that make no surface; make the arrays read-only."""
        vertices = np.array(self.vertices, dtype=np.float64)
        triangles = np.array(self.triangles, dtype=np.int32)
        shapes = (vertices.shape[1:], triangles.shape[1:])
        if shapes != ((3,), (3,)) or not np.all(np.isfinite(vertices)):
            raise InputError(
                "a surface needs finite (n, 3) vertices and (m, 3) triangles, got "
                f"{vertices.shape} and {triangles.shape}"
            )
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
        if not len(self.triangles):
            return 0.0
        a, b, c = np.moveaxis(self.corners - self.vertices.mean(axis=0), 1, 0)
        return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)

    @property
    def volume_ml(self) -> float:
        """Enclosed volume in ml."""
        return self.volume_mm3 / 1000.0

    @property
    def is_closed(self) -> bool:
        """Whether each edge belongs to exactly two triangles, once in each direction.

        Nothing is not closed: a surface without triangles encloses no solid.
        """
        edges = self.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2).astype(np.int64)
        forward = edges[:, 0] * len(self.vertices) + edges[:, 1]
        backward = edges[:, 1] * len(self.vertices) + edges[:, 0]
        return bool(
            len(forward) > 0
            and len(np.unique(forward)) == len(forward)
            and np.array_equal(np.sort(forward), np.sort(backward))
        )

    def moved(self, lps_from_lps: Transform) -> TriangleSurface:
        """The surface after a motion of space; a mirroring one also turns the triangles.

        Raises
        ------
        FrameError
            If the map leaves patient LPS.
        """
        require_motion(lps_from_lps)
        triangles = self.triangles
        if np.linalg.det(lps_from_lps.matrix[:3, :3]) < 0:
            triangles = triangles[:, ::-1]
        return TriangleSurface(lps_from_lps.points(self.vertices), triangles)
