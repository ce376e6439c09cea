"""Where is it? Frames, maps between them, grids, planes, faces and surfaces."""

from vertebloc.space.distance import SignedDistance
from vertebloc.space.frames import Frame, Side
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Transform
from vertebloc.space.views import View, screen_from_body

__all__ = [
    "Frame",
    "Grid",
    "PlanarFace",
    "Plane",
    "Side",
    "SignedDistance",
    "Transform",
    "TriangleSurface",
    "View",
    "Volume",
    "screen_from_body",
]
