"""What a resection is planned on: bones, tumour and their distance fields."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.frames import split_body_and_arch
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy
from vertebloc.anatomy.outlines import (
    mask_on_lattice,
    mask_points,
    outline_mask,
    sample_mask,
    unite_masks,
)
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.resection.disc_sections import BodyEnds, body_ends
from vertebloc.resection.kinds import resected_levels
from vertebloc.space.accuracy import (
    distance_error_of,
    distance_error_words,
    surface_error_words,
)
from vertebloc.space.fields import DistanceField, distance_field_of_mask, distance_field_of_surface
from vertebloc.space.grids import Volume
from vertebloc.space.label_surfaces import surface_from_mask
from vertebloc.space.planes import Plane
from vertebloc.space.sections import solid_from_surface, surface_of_solid, united
from vertebloc.space.surfaces import TriangleSurface

#: Long structures are looked at this far beyond the tumour, mm.
NEAR_MM = 50.0

#: If more than this share of the tumour within the body's hull is outlined as bone too, the
#: outlines say themselves what is destroyed bone. Outlines made either way lie near 1 or near 0,
#: so that a few voxels at a shared border never decide (assumed).
DRAWN_AS_BONE = 0.5

#: Outlines that a blade's line is followed to, beyond the front of the body.
VESSELS = (
    Structure.AORTA,
    Structure.AZYGOS,
    Structure.SUPERIOR_CAVA,
    Structure.INFERIOR_CAVA,
    Structure.SEGMENTAL_VESSEL,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ResectionSolids:
    """Bones and tumour around one level, as surfaces and as distance fields."""

    level: Level
    levels: tuple[Level, ...]  #: whose bodies come out, from head to feet
    neighbours: tuple[Level, Level]  #: the vertebra above the first and the one below the last
    bone: Mapping[Level, TriangleSurface]  #: all of those; bone destroyed by tumour included
    ends: Mapping[Level, BodyEnds]  #: middles of the endplates of all of those
    back_walls: Mapping[Level, Plane]  #: several bodies: each posterior wall, its front negative;
    #: empty for one body, whose wall serves its neighbours too
    tumour: TriangleSurface  #: with the tract in bone and the scarred bed
    tumour_field: DistanceField
    bone_field: DistanceField  #: of the diseased vertebra
    sac: TriangleSurface | None
    sac_field: DistanceField | None
    cord: TriangleSurface | None
    aorta: TriangleSurface | None
    vessels: Mapping[str, TriangleSurface]  #: every outlined vessel nearby, the aorta among them
    has_tract: bool  #: whether a biopsy tract is outlined
    bone_error_mm: float  #: 95 % of distances from their label map are off by no more;
    #: 0 if all came as surfaces
    ribs: Mapping[str, TriangleSurface]
    tumour_extent: tuple[NDArray[np.float64], NDArray[np.float64]]
    distance_error_words: str
    assumptions: tuple[str, ...]


def collect_solids(
    contours: ContourSet, anatomy: Anatomy, level: Level, levels: tuple[str, ...] = ()
) -> ResectionSolids:
    """Bring bones, tumour and soft structures around a level into shape for planning.

    Parameters
    ----------
    contours : ContourSet
        All outlines.
    anatomy : Anatomy
        What the anatomy room found on the same outlines.
    level : Level
        The diseased vertebra.
    levels : tuple of str
        Whose bodies come out, from head to feet; empty: the diseased one only.

    Returns
    -------
    ResectionSolids
        Surfaces as the best guess, distance fields never optimistic.

    Raises
    ------
    InputError
        If no tumour is outlined, or a level or a neighbour is not there.
    """
    taken = resected_levels(anatomy, level, levels)
    order = sorted(anatomy.vertebrae)
    first, last = order.index(taken[0]) - 1, order.index(taken[-1]) + 1
    tumour, words, notes = _tumour_mask(contours, anatomy, level)
    bones = {at: _bone_mask(contours, anatomy, at) for at in order[first : last + 1]}
    shapes = {at: _given_bone_surface(contours, anatomy, at) for at in bones}
    note: tuple[str, ...] = ()
    for at in taken:
        bones[at], said = _with_destroyed_bone(bones[at], tumour, anatomy, at)
        if said:
            shapes[at], note = None, (*note, *said)
    shape = {at: shapes[at] or surface_from_mask(bones[at], outward=False) for at in bones}
    sac = outline_mask(contours, contours.of(Structure.SAC))
    near = _cut_near(sac, tumour, NEAR_MM)
    given = _given_tumour_surface(contours, shape[level])
    surface = given or surface_from_mask(tumour, outward=False)
    field = distance_field_of_surface(given) if given else distance_field_of_mask(tumour)
    near_vessels = {v.value: _surface_of(contours, v, tumour) for v in VESSELS}
    vessels = {name: vessel for name, vessel in near_vessels.items() if vessel is not None}
    return ResectionSolids(
        level=level,
        levels=taken,
        neighbours=(order[first], order[last]),
        bone=shape,
        ends=body_ends(anatomy, shape),
        back_walls=_back_walls(anatomy, shape) if len(taken) > 1 else {},
        tumour=surface,
        tumour_field=field,
        bone_field=distance_field_of_mask(bones[level], rim_mm=10.0),
        sac=surface_from_mask(near, outward=False) if near else None,
        sac_field=distance_field_of_mask(near, rim_mm=10.0) if near else None,
        cord=_surface_of(contours, Structure.CORD, tumour),
        aorta=vessels.get(Structure.AORTA.value),
        vessels=vessels,
        has_tract=bool(contours.of(Structure.TRACT)),
        bone_error_mm=max(
            0.0 if shapes[at] else distance_error_of(mask.grid.spacing_mm).most_of_them_mm
            for at, mask in bones.items()
        ),
        ribs={
            f"{rib.side.value} rib of {rib.level}": surface_from_mask(rib.mask, outward=False)
            for rib in anatomy.ribs
            if rib.level in bones
        },
        tumour_extent=(surface.vertices.min(axis=0), surface.vertices.max(axis=0)),
        distance_error_words=surface_error_words() if given else words,
        assumptions=(*notes, *note),
    )


def _back_walls(anatomy: Anatomy, levels: Iterable[Level]) -> dict[Level, Plane]:
    walls = {}
    for level in levels:
        vertebra = anatomy.vertebrae[level]
        lps = vertebra.lps_from_vertebra
        point = lps.points([0.0, vertebra.posterior_wall_mm, 0.0])[0]
        walls[level] = Plane(point, lps.vectors([0.0, 1.0, 0.0])[0])
    return walls


def _bone_mask(contours: ContourSet, anatomy: Anatomy, level: Level) -> Volume:
    bone = anatomy.bone[level]
    mask = outline_mask(contours, (bone,)) if isinstance(bone, Contour) else bone
    if mask is None:
        raise InputError(f"the outline of {level} is empty: outline it again")
    return mask


def _given_bone_surface(
    contours: ContourSet, anatomy: Anatomy, level: Level
) -> TriangleSurface | None:
    """A vertebra's surface if it came as one: nearer to the outline than its voxels are."""
    bone = anatomy.bone[level]
    if not isinstance(bone, Contour):
        return None
    label_map = contours.label_map
    drawn = label_map is not None and bool(label_map.values_of(bone))
    return None if drawn else contours.surfaces.get(bone)


def _tumour_mask(
    contours: ContourSet, anatomy: Anatomy, level: Level
) -> tuple[Volume, str, tuple[str, ...]]:
    """Tumour, scarred bed, and the part of the biopsy tract that runs in bone."""
    wanted = contours.of(Structure.TUMOUR) + contours.of(Structure.SCAR)
    mask = outline_mask(contours, wanted) if contours.of(Structure.TUMOUR) else None
    if mask is None:
        raise InputError(
            "no tumour is outlined (no label or surface named 'tumour' with anything in it): "
            "outline it, or name its label in the names file"
        )
    notes: tuple[str, ...] = ()
    tract = outline_mask(contours, contours.of(Structure.TRACT))
    if tract is not None:
        inside = _overlap(tract, _bone_mask(contours, anatomy, level))
        if inside is not None:
            mask = unite_masks([mask, mask_on_lattice(inside, mask.grid)])
            notes = ("the biopsy tract in bone counts as tumour",)
    return mask, distance_error_words(mask.grid.spacing_mm), notes


def _overlap(one: Volume, other: Volume) -> Volume | None:
    """Voxels of one mask whose centres lie in another."""
    values = np.array(one.values)
    where = np.argwhere(values)
    values[tuple(where.T)] = sample_mask(other, mask_points(one)) > 0.5
    return Volume(one.grid, values) if values.any() else None


def _with_destroyed_bone(
    bone: Volume, tumour: Volume, anatomy: Anatomy, level: Level
) -> tuple[Volume, tuple[str, ...]]:
    """Add tumour that took the place of bone, where the outlines do not say so themselves."""
    body, _ = split_body_and_arch(bone, anatomy.vertebrae[level])
    hull = ConvexHull(mask_points(body)[::7])
    points = mask_points(tumour)
    inside = np.all(points @ hull.equations[:, :3].T + hull.equations[:, 3] <= 0.0, axis=1)
    if not inside.any() or np.mean(sample_mask(bone, points[inside]) > 0.5) > DRAWN_AS_BONE:
        return bone, ()
    values = np.array(tumour.values)
    values[tuple(np.argwhere(values).T)] = inside
    destroyed = mask_on_lattice(Volume(tumour.grid, values), bone.grid)
    return unite_masks([bone, destroyed]), (
        f"tumour inside the convex hull of the body of {level} is taken as destroyed bone",
    )


def _given_tumour_surface(contours: ContourSet, bone: TriangleSurface) -> TriangleSurface | None:
    """All that counts as tumour as one surface, if all of it came as surfaces."""
    wanted = contours.of(Structure.TUMOUR) + contours.of(Structure.SCAR)
    tracts = contours.of(Structure.TRACT)
    label_map = contours.label_map
    drawn = label_map is not None and any(label_map.values_of(c) for c in (*wanted, *tracts))
    if drawn:
        return None
    if len(wanted) == 1 and not tracts:
        return contours.surfaces[wanted[0]]
    parts = [solid_from_surface(contours.surfaces[c]) for c in wanted]
    inside = solid_from_surface(bone)
    parts += [solid_from_surface(contours.surfaces[c]) ^ inside for c in tracts]
    return surface_of_solid(united(parts))


def _surface_of(
    contours: ContourSet, structure: Structure, tumour: Volume
) -> TriangleSurface | None:
    mask = _cut_near(outline_mask(contours, contours.of(structure)), tumour, NEAR_MM)
    return None if mask is None else surface_from_mask(mask, outward=False)


def _cut_near(mask: Volume | None, tumour: Volume, reach_mm: float) -> Volume | None:
    """The part of a long mask that lies along the tumour, by image slices."""
    if mask is None:
        return None
    ends = mask.grid.lps_from_ijk.inverse.points(tumour.grid.corners())
    pad = reach_mm / mask.grid.spacing_mm
    low = np.maximum(0, np.floor(ends.min(axis=0) - pad).astype(int))
    high = np.minimum(mask.grid.shape, np.ceil(ends.max(axis=0) + pad).astype(int) + 1)
    if np.any(high <= low):
        return None
    part = mask.values[tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))]
    return Volume(mask.grid.crop(low, high), part) if part.any() else None
