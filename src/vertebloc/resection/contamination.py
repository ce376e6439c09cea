"""Where the plan itself opens tumour: cuts that run through it, bone with it that is nibbled."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.model import Vertebra
from vertebloc.resection.containment import NOISE_MM3
from vertebloc.resection.model import Contamination, HalfCut, OpensTumour
from vertebloc.resection.piece import (
    BoneSolids,
    Cuts,
    back_limit,
    mid_plane,
    pedicle_plane,
    side_planes,
)
from vertebloc.resection.places import place_in_words
from vertebloc.space.distance import SignedDistance
from vertebloc.space.planes import Plane
from vertebloc.space.sections import (
    Solid,
    face_of_solid,
    surface_of_solid,
    triangles_of_face,
)
from vertebloc.space.surface_parts import grown_box, surface_within

#: Tumour this near to bone counts as touching it, mm: the error of distances (assumed).
TOUCHES_MM = 0.5
#: Less tumour than this on a cut is the noise of cutting triangle surfaces, mm2 (assumed).
NOISE_MM2 = 0.5
_HAIR_MM = 0.01  #: booleans are exact to 1e-6; no outline is good to this
_FINE_MM = 1.0  #: bone that tumour touches is looked at in triangles of this size


def find_contamination(
    bones: BoneSolids,
    vertebra: Vertebra,
    tumour: SignedDistance,
    cuts: Cuts,
    nibbled: Mapping[str, Solid],
    kerf_mm: float,
) -> tuple[Contamination, ...]:
    """Every place where the plan opens tumour, the largest area first.

    Parameters
    ----------
    bones : BoneSolids
        Bones and tumour.
    vertebra : Vertebra
        The diseased one, in whose terms places are said.
    tumour : SignedDistance
        Finds the deepest place.
    cuts : Cuts
        All planes.
    nibbled : mapping of str to Solid
        Bone taken piecemeal, by the name of its part.
    kerf_mm : float, mm
        Bone lost to the blade.

    Returns
    -------
    tuple of Contamination
        Empty if no cut meets tumour and no nibbled bone holds or touches it.

    Notes
    -----
    A cut: area of the tumour's section by the cut's plane where the plane bounds the piece, in
    bone or beside it; its volume is that area times the kerf. Nibbled bone: area of its surface
    within tumour, and volume of tumour in it; if none, the area of its surface that lies within
    ``TOUCHES_MM`` of tumour. Says nothing of cells spilled, of instruments or of the wound.
    """
    found = []
    saws = list(_cuts_with_limits(bones, vertebra, cuts))
    whole = bones.tumour
    rest = whole
    for part in nibbled.values():
        rest = rest - part
    for cut, within, in_bone in saws:
        patch = _section_inside(rest if in_bone is None else whole ^ in_bone, cut, within)
        area = area_mm2(patch)
        if area >= NOISE_MM2:
            how = OpensTumour.CUT
            deepest = _deepest(patch, tumour)
            found.append(_entry(how, cut.name, vertebra, deepest, patch, area * kerf_mm))
    planes = [cut.plane for cut, _, in_bone in saws if in_bone is None]
    for name, part in nibbled.items():
        found += _nibbled(name, part, bones, vertebra, tumour, planes)
    return tuple(sorted(found, key=lambda one: (-one.area_mm2, -one.volume_ml)))


def area_mm2(triangles: NDArray[np.float64]) -> float:
    """Area of triangles.

    Parameters
    ----------
    triangles : (n, 3, 3) float64, mm
        Their corners.

    Returns
    -------
    float, mm2
        Their sum.
    """
    across = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    return float(np.linalg.norm(across, axis=1).sum() / 2.0)


def _cuts_with_limits(
    bones: BoneSolids, vertebra: Vertebra, cuts: Cuts
) -> Iterator[tuple[HalfCut, list[Plane], Solid | None]]:
    """Each cut with the planes within which it bounds the piece, and the bone it is made in.

    Without a bone, tumour beside bone counts as well: the piece ends at the plane there too.
    """
    if cuts.is_arch_only:
        for side, cut in cuts.base.items():
            yield cut, [mid_plane(vertebra, side)], None
    for side in cuts.sides:
        half = side_planes(vertebra, cuts, side)
        behind = back_limit(bones, vertebra, cuts, side)
        cranial, caudal = cuts.cranial[side], cuts.caudal[side]
        between = [cranial.plane, caudal.plane]
        yield cranial, [*half, caudal.plane, *behind], None
        yield caudal, [*half, cranial.plane, *behind], None
        if cuts.sagittal is not None:
            yield cuts.sagittal, [*between, *behind], None
        if side in cuts.arch:
            yield cuts.arch[side], [*half, *between], None
        yield cuts.base[side], [*half, *between, pedicle_plane(vertebra, side)], bones.neighbours


def _section_inside(solid: Solid, cut: HalfCut, within: list[Plane]) -> NDArray[np.float64]:
    """Section by a cut's plane, a hair inside the piece: other solids may end on the plane."""
    inside = Plane(cut.plane.point - _HAIR_MM * cut.plane.normal, cut.plane.normal)
    if solid.is_empty():
        return np.empty((0, 3, 3))
    return triangles_of_face(face_of_solid(solid, inside.frame(cut.blade), within))


def _nibbled(
    name: str,
    part: Solid,
    bones: BoneSolids,
    vertebra: Vertebra,
    tumour: SignedDistance,
    planes: Iterable[Plane],
) -> list[Contamination]:
    """Tumour that one piece of nibbled bone holds, or else touches."""
    inside = part ^ bones.tumour
    held = float(inside.volume())
    if held >= NOISE_MM3:
        patch = _off_planes(surface_within(part, bones.tumour), planes)
        if len(patch):
            deepest = _deepest(patch, tumour)
        else:  # tumour lies wholly in what is nibbled: no surface of bone opens it
            deepest = surface_of_solid(inside).vertices.mean(axis=0)
        return [_entry(OpensTumour.NIBBLED, name, vertebra, deepest, patch, held)]
    if part.is_empty() or part.min_gap(bones.tumour, 2.0 * TOUCHES_MM) > TOUCHES_MM:
        return []
    box = bones.tumour.bounding_box()
    patch = surface_within(part, grown_box(box, 2.0 * TOUCHES_MM), finer_than_mm=_FINE_MM)
    near = np.asarray(tumour.signed_distance_mm(patch.mean(axis=1)))
    patch = patch[near <= TOUCHES_MM]
    if area_mm2(patch) < NOISE_MM2:
        return []
    return [_entry(OpensTumour.TOUCHED, name, vertebra, _deepest(patch, tumour), patch, 0.0)]


def _off_planes(triangles: NDArray[np.float64], planes: Iterable[Plane]) -> NDArray[np.float64]:
    """Triangles that lie on none of the planes: what a blade opened is not counted twice."""
    for plane in planes:
        off = plane.signed_distance_mm(triangles.reshape(-1, 3)).reshape(-1, 3)
        triangles = triangles[np.abs(off).max(axis=1) > 2.0 * _HAIR_MM]
    return triangles


def _deepest(patch: NDArray[np.float64], tumour: SignedDistance) -> NDArray[np.float64]:
    """The place of a patch that lies deepest in tumour."""
    points = _spread(patch)
    return np.asarray(points[int(np.argmin(tumour.signed_distance_mm(points)))])


def _entry(
    how: OpensTumour,
    name: str,
    vertebra: Vertebra,
    deepest: NDArray[np.float64],
    patch: NDArray[np.float64],
    volume_mm3: float,
) -> Contamination:
    return Contamination(
        how=how,
        name=name,
        deepest=deepest,
        deepest_in_words=place_in_words(vertebra, deepest),
        area_mm2=area_mm2(patch),
        volume_ml=volume_mm3 / 1000.0,
        triangles=patch,
    )


def _spread(triangles: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points all over triangles, about ``_FINE_MM`` apart, corners among them."""
    longest = np.linalg.norm(triangles - np.roll(triangles, 1, axis=1), axis=2).max()
    steps = int(np.clip(np.ceil(longest / _FINE_MM), 1, 20))
    i, j = np.meshgrid(np.arange(steps + 1), np.arange(steps + 1), indexing="ij")
    first, second = (part[i + j <= steps] / steps for part in (i, j))
    shares = np.column_stack((first, second, 1.0 - first - second))
    return np.asarray(np.einsum("sc,tcd->tsd", shares, triangles).reshape(-1, 3))
