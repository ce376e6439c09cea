"""How much bone lies between tube and detector on a cut's line, besides the bone that is cut."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vertebloc.fluoroscopy.model import CArmView, CutLine
from vertebloc.fluoroscopy.solids import bone_lengths
from vertebloc.resection import ResectionPlan
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.surfaces import TriangleSurface

_PLACES = 15  #: along the blade's line
_TOUCH_MM = 0.01  #: from the plane: rounding, far below a voxel
_ALL_BEYOND = 3  #: corners of a triangle on one side of the plane
_SMALL_MM = 10.0  #: half the length of a cut without depths, to be looked along


def cut_lines(plan: ResectionPlan) -> tuple[CutLine, ...]:
    """The blade's line of each half cut.

    Parameters
    ----------
    plan : ResectionPlan
        Cuts, depths, faces.

    Returns
    -------
    tuple of CutLine
        In the plan's order; where no depth was measured the line runs through the face.
    """
    fans = {fan.cut_name: fan for fan in plan.depths}
    faces = {face.name: face.face for face in plan.faces if face.face is not None}
    found = []
    for cut in plan.cuts:
        # both halves of a body cut lie in one plane, unless they were set apart
        together = tuple(
            faces[other.name]
            for other in plan.cuts
            if other.name in faces
            and abs(float(other.plane.normal @ cut.plane.normal)) > 1.0 - 1e-9
            and abs(float((other.entry - cut.entry) @ cut.plane.normal)) < 0.01
        )
        fan = fans.get(cut.name)
        if fan is not None:
            ray = fan.planned
            entry, far, stop = ray.entry, ray.exit, max(0.0, fan.stop_mm)
        else:
            entry, far = _through_face(cut.entry, cut.blade, faces.get(cut.name))
            stop = 0.0
        found.append(
            CutLine(
                name=cut.name, side=cut.side, level=cut.level, normal=cut.plane.normal,
                entry=entry, blade=cut.blade, far=far, stop_mm=stop, faces=together,
            )
        )  # fmt: skip
    return tuple(found)


def bone_in_way_mm(
    view: CArmView, cut: CutLine, bones: Sequence[TriangleSurface]
) -> tuple[float, float]:
    """Bone on the rays through a cut's line that is not the cut itself.

    Parameters
    ----------
    view : CArmView
        In which the cut is a line.
    cut : CutLine
        Which.
    bones : sequence of TriangleSurface
        Vertebrae and ribs as outlined; what lies at the cut's plane suffices.

    Returns
    -------
    tuple of float, mm
        Mean and most, over places between entry and far cortex. Each ray runs in the plane of
        the cut: what it shares with the cut's own face is the cut, all other bone is in the way.
    """
    share = (np.arange(_PLACES) + 0.5) / _PLACES
    places = cut.entry + share[:, None] * (cut.far - cut.entry)
    lengths = bone_lengths(view, places, bones)
    own = sum((_in_face(face, view.source, places) for face in cut.faces), start=np.zeros(_PLACES))
    left = np.maximum(lengths - own, 0.0)
    return float(left.mean()), float(left.max())


def bones_at(cut: CutLine, bones: Sequence[TriangleSurface]) -> tuple[TriangleSurface, ...]:
    """The triangles at a cut's plane: no others can meet a ray that runs in it.

    Parameters
    ----------
    cut : CutLine
        Whose plane.
    bones : sequence of TriangleSurface
        Closed.

    Returns
    -------
    tuple of TriangleSurface
        Open where they leave the plane; bones that do not reach it are left out.
    """
    found = []
    for surface in bones:
        off = (surface.vertices - cut.entry) @ cut.normal
        if not len(off) or off.min() > _TOUCH_MM or off.max() < -_TOUCH_MM:
            continue
        side = np.where(off > _TOUCH_MM, 1, np.where(off < -_TOUCH_MM, -1, 0))[surface.triangles]
        near = np.abs(side.sum(axis=1)) < _ALL_BEYOND
        used, triangles = np.unique(surface.triangles[near], return_inverse=True)
        corners = triangles.reshape(-1, 3).astype(np.int32)
        found.append(TriangleSurface(surface.vertices[used], corners))
    return tuple(found)


def _in_face(
    face: PlanarFace, source: NDArray[np.float64], places: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Length of rays, all running in the face's plane, within the face."""
    into = face.lps_from_plane.inverse
    start = into.points(source)[0, :2]
    ends = into.points(places)[:, :2]
    rays = (ends - start) / np.linalg.norm(ends - start, axis=1, keepdims=True)
    found = np.zeros(len(places))
    for loop in face.loops:
        a, b = loop, np.roll(loop, -1, axis=0)
        for n, ray in enumerate(rays):
            across = np.array([-ray[1], ray[0]])
            off_a, off_b = (a - start) @ across, (b - start) @ across
            crosses = (off_a > 0.0) != (off_b > 0.0)
            share = (off_a / np.where(crosses, off_a - off_b, 1.0))[crosses]
            at = (a[crosses] + share[:, None] * (b - a)[crosses] - start) @ ray
            found[n] += np.sum(np.where(off_a[crosses] > 0.0, 1.0, -1.0) * at)
    return np.asarray(np.abs(found))


def _through_face(
    entry: NDArray[np.float64], blade: NDArray[np.float64], face: PlanarFace | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where a blade's line enters and leaves its own face."""
    if face is None or face.is_empty:
        return entry - _SMALL_MM * blade, entry + _SMALL_MM * blade
    points = np.concatenate(face.loops_lps())
    along = (points - points.mean(axis=0)) @ blade
    middle = points.mean(axis=0)
    return middle + along.min() * blade, middle + along.max() * blade
