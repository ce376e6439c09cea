"""Closed-form solids as distance fields, and flat faces, for the resection tests."""

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.resection.model import HalfCut
from vertebloc.space.fields import DistanceField
from vertebloc.space.frames import Frame, Side
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.transforms import Transform


def exact_field(solid, low, high, pitch=0.5):
    """The closed form's own distances on a grid: no voxel error, only interpolation."""
    low, high = np.asarray(low, float), np.asarray(high, float)
    shape = tuple(int(n) for n in np.ceil((high - low) / pitch) + 1)
    matrix = np.diag([pitch, pitch, pitch, 1.0])
    matrix[:3, 3] = low
    grid = Grid.from_matrix(shape, matrix)
    values = solid.signed_distance_mm(grid.centres()).reshape(shape).astype(np.float32)
    inside = np.argwhere(values < 0)
    return DistanceField(Volume(grid, values), inside.min(axis=0) - 1.0, inside.max(axis=0) + 1.0)


def square_face(z, half=20.0, centre=(0.0, 0.0)):
    """A square across +z at height z."""
    matrix = np.eye(4)
    matrix[:3, 3] = (centre[0], centre[1], z)
    lps_from_plane = Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PLANE)
    loop = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    return PlanarFace(lps_from_plane, (loop,))


def cut_of(face, half=20.0):
    """A cut that enters at the face's back edge and runs forward; the piece lies below."""
    middle = face.lps_from_plane.origin
    return HalfCut(
        name="a cut",
        side=Side.LEFT,
        plane=Plane(middle, [0.0, 0.0, 1.0]),
        entry=middle + np.array([0.0, half, 0.0]),
        entry_edge=np.array([1.0, 0.0, 0.0]),
        blade=np.array([0.0, -1.0, 0.0]),
        passes_through="bone",
        level=Level("T10"),
    )
