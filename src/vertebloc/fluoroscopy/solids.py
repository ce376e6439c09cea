"""Instruments and implants in a predicted picture: lengths of rays through solids, exactly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.errors import InputError
from vertebloc.fluoroscopy import _kernels
from vertebloc.fluoroscopy.model import CArmView
from vertebloc.published import imaging
from vertebloc.published.source import Published
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Points, as_points


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ball:
    """A ball, such as a marker."""

    middle: NDArray[np.float64]  #: (3,) mm
    radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rod:
    """A round rod with flat ends, such as a needle, a screw's shaft or a rod."""

    start: NDArray[np.float64]  #: (3,) mm
    end: NDArray[np.float64]  #: (3,) mm
    radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Implant:
    """A solid and what it is made of."""

    solid: Ball | Rod | TriangleSurface
    attenuation: Published = imaging.TITANIUM_60_KEV

    @property
    def waters(self) -> float:
        """How many mm of water attenuate as much as one mm of it."""
        return self.attenuation.value / imaging.WATER_60_KEV.value


def add_implants(
    picture: ArrayLike, view: CArmView, implants: Sequence[Implant]
) -> NDArray[np.float64]:
    """Lay implants over a picture of the body.

    Parameters
    ----------
    picture : (pixels, pixels) float, mm of water
        From ``Projector``.
    view : CArmView
        The same view.
    implants : sequence of Implant
        Solids that do not overlap each other.

    Returns
    -------
    (pixels, pixels) float64, mm of water
        The body is not taken away where an implant lies: for bone under titanium that is a
        small part of what the metal adds.

    Raises
    ------
    InputError
        If a mesh reaches as far as the tube.
    """
    found = np.array(picture, dtype=np.float64)
    for one in implants:
        found += one.waters * lengths_in(view, one.solid)
    return found


def lengths_in(view: CArmView, solid: Ball | Rod | TriangleSurface) -> NDArray[np.float64]:
    """Length of each pixel's ray in a solid.

    Parameters
    ----------
    view : CArmView
        Where tube and detector are.
    solid : Ball, Rod or TriangleSurface
        A mesh must be closed, its triangles turned outwards.

    Returns
    -------
    (pixels, pixels) float64, mm
        Rows from the picture's top.

    Raises
    ------
    InputError
        If a mesh reaches as far as the tube.
    """
    size = (view.arm.pixels, view.arm.pixels)
    if isinstance(solid, TriangleSurface):
        return _mesh(view, solid)
    ends = view.pixel_points()
    if isinstance(solid, Ball):
        return chords_of_ball(view.source, ends, solid).reshape(size)
    return chords_of_rod(view.source, ends, solid).reshape(size)


def chords_of_ball(source: ArrayLike, ends: ArrayLike, ball: Ball) -> NDArray[np.float64]:
    """Length of lines in a ball.

    Parameters
    ----------
    source : (3,) float64, mm
        Where all lines begin.
    ends : (n, 3) float64, mm
        Where they end.
    ball : Ball
        Between source and ends.

    Returns
    -------
    (n,) float64, mm
        2 sqrt(r^2 - h^2), h the line's distance from the middle.
    """
    ray = as_points(ends) - np.asarray(source)
    ray /= np.linalg.norm(ray, axis=1, keepdims=True)
    to_middle = ball.middle - np.asarray(source)
    off = np.cross(np.broadcast_to(to_middle, ray.shape), ray)
    squared = ball.radius_mm**2 - np.einsum("ij,ij->i", off, off)
    return np.asarray(2.0 * np.sqrt(np.maximum(squared, 0.0)))


def chords_of_rod(source: ArrayLike, ends: ArrayLike, rod: Rod) -> NDArray[np.float64]:
    """Length of lines in a round rod with flat ends.

    Parameters
    ----------
    source : (3,) float64, mm
        Where all lines begin.
    ends : (n, 3) float64, mm
        Where they end.
    rod : Rod
        Between source and ends.

    Returns
    -------
    (n,) float64, mm
        The part inside the round wall that also lies between the two flat ends.

    Raises
    ------
    InputError
        If the rod has no length.
    """
    axis = rod.end - rod.start
    length = float(np.linalg.norm(axis))
    if length <= 0.0 or rod.radius_mm <= 0.0:
        raise InputError("a rod needs a length and a radius above 0 mm")
    axis = axis / length
    ray = as_points(ends) - np.asarray(source)
    ray /= np.linalg.norm(ray, axis=1, keepdims=True)
    offset = np.asarray(source) - rod.start
    along, across = ray @ axis, ray - np.outer(ray @ axis, axis)
    offset_along = float(offset @ axis)
    offset_across = offset - offset_along * axis
    a = np.einsum("ij,ij->i", across, across)
    b = across @ offset_across
    c = float(offset_across @ offset_across) - rod.radius_mm**2
    root = b * b - a * c
    meets = root > 0.0
    with np.errstate(divide="ignore", invalid="ignore"):
        half = np.sqrt(np.maximum(root, 0.0))
        first = np.where(a > 0.0, (-b - half) / a, -np.inf if c < 0.0 else np.inf)
        last = np.where(a > 0.0, (-b + half) / a, np.inf if c < 0.0 else -np.inf)
        flat = np.stack([-offset_along / along, (length - offset_along) / along])
    within = 0.0 <= offset_along <= length
    parallel = np.abs(along) < 1e-15
    low = np.where(parallel, -np.inf if within else np.inf, flat.min(axis=0))
    high = np.where(parallel, np.inf if within else -np.inf, flat.max(axis=0))
    inside = np.minimum(last, high) - np.maximum(first, low)
    return np.asarray(np.where(meets | (a == 0.0), np.maximum(inside, 0.0), 0.0))


def bone_lengths(
    view: CArmView, through: ArrayLike, surfaces: Sequence[TriangleSurface]
) -> NDArray[np.float64]:
    """Length of bone on the rays through given places.

    Parameters
    ----------
    view : CArmView
        Where tube and detector are.
    through : (n, 3) float64, mm, patient LPS
        Places in the patient; each ray runs on through it to the detector.
    surfaces : sequence of TriangleSurface
        Closed, turned outwards, not overlapping.

    Returns
    -------
    (n,) float64, mm
        In all of them together.

    Raises
    ------
    InputError
        If a surface reaches as far as the tube.
    """
    at = np.ascontiguousarray(view.on_detector(through))
    found = np.zeros(len(at))
    for surface in surfaces:
        _kernels.mesh_paths(*_seen(view, surface), at, found)
    return np.asarray(found * np.hypot(np.linalg.norm(at, axis=1), view.arm.source_detector_mm))


def _mesh(view: CArmView, surface: TriangleSurface) -> NDArray[np.float64]:
    n, pitch = view.arm.pixels, view.arm.pitch_mm
    half = (n - 1) / 2.0 * pitch
    found = np.zeros((n, n))
    vertices, triangles = _seen(view, surface)
    _kernels.add_mesh_paths(vertices, triangles, pitch, np.array([-half, half]), found)
    place = (np.arange(n) - (n - 1) / 2.0) * pitch
    lengths = np.sqrt(place[:, None] ** 2 + place**2 + view.arm.source_detector_mm**2)
    return np.asarray(found * lengths)


def _seen(view: CArmView, surface: TriangleSurface) -> tuple[Points, NDArray[np.integer]]:
    """Vertices right, up (mm) and deep (in source-detector distances) from the tube."""
    right, up = view.axes
    deep = view.towards_detector / view.arm.source_detector_mm
    offset = surface.vertices - view.source
    seen = np.stack([offset @ right, offset @ up, offset @ deep], axis=1)
    if len(seen) and seen[:, 2].min() <= 0.0:
        raise InputError(
            "a surface reaches as far as the tube: set the C-arm's distances, or aim elsewhere"
        )
    triangles = np.ascontiguousarray(surface.triangles)
    if not view.from_tube:
        return seen, triangles
    # right and up are a left-handed pair about the beam when looked at from the tube
    return seen, np.ascontiguousarray(triangles[:, ::-1])
