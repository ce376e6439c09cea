"""Solids for exact booleans, and finite faces cut out of them by planes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import manifold3d
import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.space import tolerances
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Transform

#: A solid of the boolean library; made here, handed back to here.
Solid = Any

_FAR_MM = 1000.0  #: beyond anything in a patient: stands for infinity in boxes


def solid_from_surface(surface: TriangleSurface) -> Solid:
    """Make a solid for booleans.

    Parameters
    ----------
    surface : TriangleSurface
        Closed and outward.

    Returns
    -------
    Solid
        For the other functions of this module.

    Raises
    ------
    InputError
        If the surface is not closed.
    """
    mesh = manifold3d.Mesh64(
        vert_properties=np.array(surface.vertices),
        tri_verts=np.array(surface.triangles, dtype=np.uint64),
    )
    solid = manifold3d.Manifold(mesh)
    if solid.status() != manifold3d.Error.NoError:
        raise InputError(
            f"the surface is no closed solid ({solid.status().name}): check the outline"
        )
    return solid


def surface_of_solid(solid: Solid) -> TriangleSurface:
    """Triangles of a solid; empty arrays if nothing is left of it."""
    mesh = solid.to_mesh64()
    return TriangleSurface(
        np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts).astype(np.int32)
    )


def united(solids: Iterable[Solid]) -> Solid:
    """Union of solids."""
    return manifold3d.Manifold.batch_boolean(list(solids), manifold3d.OpType.Add)


def trimmed(solid: Solid, planes: Iterable[Plane]) -> Solid:
    """The part of a solid on the negative side of every plane."""
    for plane in planes:
        if solid.is_empty():  # trimming nothing makes an invalid solid, not an empty one
            return manifold3d.Manifold()
        normal = -plane.normal
        solid = solid.trim_by_plane(tuple(normal), float(normal @ plane.point))
    return solid


def space_within(planes: Iterable[Plane]) -> Solid:
    """All space on the negative side of every plane, far beyond anything in a patient.

    Parameters
    ----------
    planes : iterable of Plane
        At least one; the space reaches 1 m around the first one's point.

    Returns
    -------
    Solid
        With a few triangles only: quicker to take away than what it holds of another solid, whose
        faces would lie on that solid's own.
    """
    bounds = list(planes)
    far = manifold3d.Manifold.cube((2.0 * _FAR_MM,) * 3, True)
    return trimmed(far.translate(tuple(bounds[0].point)), bounds)


def triangles_of_face(face: PlanarFace) -> NDArray[np.float64]:
    """A flat face as triangles.

    Parameters
    ----------
    face : PlanarFace
        Any face; may be empty.

    Returns
    -------
    (n, 3, 3) float64, mm, patient LPS
        Corners of triangles that cover it once.
    """
    if face.is_empty:
        return np.empty((0, 3, 3))
    index = np.asarray(manifold3d.triangulate([np.array(loop) for loop in face.loops]))
    return np.asarray(np.concatenate(face.loops_lps())[index.astype(np.int64)])


class KnownSections:
    """Sections already made, so that a plane that did not move is not cut again."""

    def __init__(self, most: int = 64) -> None:
        self._most = most
        self._known: dict[tuple[int, bytes], tuple[Solid, Any]] = {}

    def section(self, solid: Solid, lps_from_plane: Transform) -> Any:
        """Cut a solid, or look the section up.

        Parameters
        ----------
        solid : Solid
            What is cut.
        lps_from_plane : Transform
            The plane.

        Returns
        -------
        manifold3d.CrossSection
            In the plane's own axes.
        """
        key = (id(solid), lps_from_plane.matrix.tobytes())
        if key not in self._known:
            while len(self._known) >= self._most:
                self._known.pop(next(iter(self._known)))
            # the solid is kept as well: its id could be given to another one otherwise
            self._known[key] = (solid, _section(solid, lps_from_plane))
        return self._known[key][1]


def _section(solid: Solid, lps_from_plane: Transform) -> Any:
    into_plane = lps_from_plane.inverse.matrix[:3, :4]
    return solid.transform(np.ascontiguousarray(into_plane)).slice(0.0)


def face_of_solid(
    solid: Solid,
    lps_from_plane: Transform,
    within: Iterable[Plane] = (),
    known: KnownSections | None = None,
) -> PlanarFace:
    """The finite face that a plane cuts out of a solid.

    Parameters
    ----------
    solid : Solid
        What is cut.
    lps_from_plane : Transform
        The plane: its x and y axes lie in it.
    within : iterable of Plane
        Keep only what lies on the negative side of these planes.
    known : KnownSections or None
        Sections already made.

    Returns
    -------
    PlanarFace
        Loops as cut, none if the plane misses the solid.
    """
    section = (known.section if known else _section)(solid, lps_from_plane)
    for plane in within:
        section = section ^ _half_plane(lps_from_plane, plane)
    return PlanarFace(lps_from_plane, _loops(section))


def shrunk_face(face: PlanarFace, by_mm: float) -> PlanarFace:
    """The part of a face that lies at least so far inside its rim.

    Parameters
    ----------
    face : PlanarFace
        Any face.
    by_mm : float, mm
        How far inside, in its plane; >= 0.

    Returns
    -------
    PlanarFace
        In the same plane; empty if the face is too narrow.
    """
    flat = _flat(face).offset(-by_mm, manifold3d.JoinType.Miter) if by_mm > 0 else _flat(face)
    return PlanarFace(face.lps_from_plane, _loops(flat))


def shared_face(face: PlanarFace, other: PlanarFace) -> PlanarFace:
    """The part of a face that another one covers, seen along the first one's normal.

    Parameters
    ----------
    face : PlanarFace
        The face whose plane is kept.
    other : PlanarFace
        Of a parallel plane with the same axes, its origin shifted along the normal only.

    Returns
    -------
    PlanarFace
        In the first face's plane.
    """
    return PlanarFace(face.lps_from_plane, _loops(_flat(face) ^ _flat(other)))


def hull_of_face(face: PlanarFace) -> PlanarFace:
    """A face with its holes and hollows filled: the smallest convex one that holds it.

    Parameters
    ----------
    face : PlanarFace
        Any face.

    Returns
    -------
    PlanarFace
        In the same plane.
    """
    return PlanarFace(face.lps_from_plane, _loops(_flat(face).hull()))


def joined_face(face: PlanarFace, other: PlanarFace) -> PlanarFace:
    """All that two faces of one plane cover.

    Parameters
    ----------
    face, other : PlanarFace
        With the same axes.

    Returns
    -------
    PlanarFace
        In the first face's plane.
    """
    return PlanarFace(face.lps_from_plane, _loops(_flat(face) + _flat(other)))


def face_within(face: PlanarFace, plane: Plane) -> PlanarFace:
    """The part of a face on the negative side of a plane.

    Parameters
    ----------
    face : PlanarFace
        Any face.
    plane : Plane
        What bounds it.

    Returns
    -------
    PlanarFace
        In the same plane as before.
    """
    if face.is_empty:
        return face
    bounded = _flat(face) ^ _half_plane(face.lps_from_plane, plane)
    return PlanarFace(face.lps_from_plane, _loops(bounded))


def face_without(face: PlanarFace, other: PlanarFace) -> PlanarFace:
    """The part of a face that another one of the same plane does not cover.

    Parameters
    ----------
    face : PlanarFace
        The face that is kept.
    other : PlanarFace
        With the same axes.

    Returns
    -------
    PlanarFace
        In the first face's plane.
    """
    return PlanarFace(face.lps_from_plane, _loops(_flat(face) - _flat(other)))


def _flat(face: PlanarFace) -> Any:
    return manifold3d.CrossSection(
        [[(float(x), float(y)) for x, y in loop] for loop in face.loops],
        manifold3d.FillRule.Positive,
    )


def face_of_section(lps_from_plane: Transform, section: Any) -> PlanarFace:
    """A section of the boolean library as a face.

    Parameters
    ----------
    lps_from_plane : Transform
        Its plane.
    section : manifold3d.CrossSection
        In the plane's own axes.

    Returns
    -------
    PlanarFace
        Without loops that enclose nothing.
    """
    return PlanarFace(lps_from_plane, _loops(section))


def _loops(section: Any) -> tuple[NDArray[np.float64], ...]:
    return tuple(
        np.asarray(loop, dtype=np.float64)
        for loop in section.to_polygons()
        if len(loop) >= 3 and abs(_area(np.asarray(loop))) > tolerances.EMPTY
    )


def _area(loop: NDArray[np.float64]) -> float:
    x, y = loop.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _half_plane(lps_from_plane: Transform, plane: Plane) -> Any:
    """The part of a plane on the negative side of another, as a far-reaching rectangle."""
    back = lps_from_plane.inverse
    normal = back.vectors(plane.normal)[0]
    point = back.points(plane.point)[0]
    along = normal[:2]
    length = float(np.linalg.norm(along))
    offset = float(normal @ point)
    if length < tolerances.COSINE or abs(offset) > length * _FAR_MM:
        # parallel planes, or so nearly that they meet beyond the patient: all or nothing
        keep = offset >= 0.0
        size = _FAR_MM if keep else tolerances.EMPTY
        square = [(-size, -size), (size, -size), (size, size), (-size, size)]
        return manifold3d.CrossSection([square])
    along = along / length
    edge = along * (offset / length)
    side = np.array([-along[1], along[0]])
    corners = [
        edge + side * _FAR_MM,
        edge + side * _FAR_MM - along * 2 * _FAR_MM,
        edge - side * _FAR_MM - along * 2 * _FAR_MM,
        edge - side * _FAR_MM,
    ]
    return manifold3d.CrossSection(
        [[(float(x), float(y)) for x, y in corners]], manifold3d.FillRule.NonZero
    )
