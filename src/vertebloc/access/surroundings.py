"""What lies around the ring and before the body, collected from the outlines."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.access.front_model import FrontSettings, StationGround
from vertebloc.access.ring_map import RingGround
from vertebloc.access.ring_model import Surrogate
from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Vertebra
from vertebloc.anatomy.outlines import outline_mask
from vertebloc.anatomy.structures import Structure
from vertebloc.resection.model import HalfCut, ResectionPlan
from vertebloc.resection.piece import wall_plane
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.fields import distance_field_of_mask, distance_field_of_surface
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume
from vertebloc.space.label_surfaces import surface_from_mask
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import Solid, face_of_solid, solid_from_surface, trimmed, united
from vertebloc.space.surfaces import TriangleSurface

#: Structures beside the way round the front, beside the vessels that the solids hold.
_MORE = (Structure.OESOPHAGUS, Structure.LUNG, Structure.LUNG_LOBE)
PLEURA = "pleura"  #: the lung's outline stands for it
_NEAR_MM = 40.0  #: structures are cut off this far from tumour and bone
_BETWEEN = (0.25, 0.5, 0.75)  #: planes between the two cuts, as shares of the way


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Surroundings:
    """Soft structures around the diseased vertebra, beside those that cuts are planned on."""

    structures: Mapping[str, TriangleSurface]  #: by name; vessels, oesophagus, pleura
    segmental: Mapping[tuple[Side, str], TriangleSurface]  #: by side and level
    tract: TriangleSurface | None
    outlined: tuple[str, ...]


def collect_surroundings(contours: ContourSet, solids: ResectionSolids) -> Surroundings:
    """Bring what lies around the vertebra into shape.

    Parameters
    ----------
    contours : ContourSet
        All outlines.
    solids : ResectionSolids
        Bones and vessels.

    Returns
    -------
    Surroundings
        Cut off ``_NEAR_MM`` beyond the bones.
    """
    points = np.concatenate([one.vertices for one in solids.bone.values()])
    box = points.min(axis=0) - _NEAR_MM, points.max(axis=0) + _NEAR_MM
    found = {
        name: one
        for name, one in solids.vessels.items()
        if name != Structure.SEGMENTAL_VESSEL.value
    }
    for structure in _MORE:
        surface = _surface(contours, structure, box)
        name = structure.value if structure is Structure.OESOPHAGUS else PLEURA
        if surface is not None and name not in found:
            found[name] = surface
    segmental = {}
    for contour in contours.of(Structure.SEGMENTAL_VESSEL):
        mask = _cut(outline_mask(contours, (contour,)), box)
        if mask is not None and contour.side is not None:
            key = (contour.side, str(contour.level or ""))
            segmental[key] = surface_from_mask(mask, outward=False)
    return Surroundings(
        structures=found,
        segmental=segmental,
        tract=_surface(contours, Structure.TRACT, box),
        outlined=tuple(sorted(found)),
    )


_Box = tuple[NDArray[np.float64], NDArray[np.float64]]


def _surface(contours: ContourSet, structure: Structure, box: _Box) -> TriangleSurface | None:
    mask = _cut(outline_mask(contours, contours.of(structure)), box)
    return None if mask is None else surface_from_mask(mask, outward=False)


def _cut(mask: Volume | None, box: _Box) -> Volume | None:
    """The part of a mask that lies in a box."""
    if mask is None:
        return None
    corners = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)])
    ends = mask.grid.lps_from_ijk.inverse.points(np.where(corners == 0, box[0], box[1]))
    low = np.maximum(0, np.floor(ends.min(axis=0)).astype(int))
    high = np.minimum(mask.grid.shape, np.ceil(ends.max(axis=0)).astype(int) + 1)
    if np.any(high <= low):
        return None
    part = mask.values[tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))]
    return Volume(mask.grid.crop(low, high), part) if part.any() else None


def ring_ground(
    contours: ContourSet, anatomy: Anatomy, solids: ResectionSolids, around: Surroundings
) -> RingGround:
    """What the ring is measured on; without a sac, the cord or the canal stands for it.

    Parameters
    ----------
    contours : ContourSet
        All outlines.
    anatomy : Anatomy
        Canal and frames.
    solids : ResectionSolids
        Bone, tumour, sac.
    around : Surroundings
        The biopsy tract.

    Returns
    -------
    RingGround
        For ``unroll_ring``.
    """
    sac, surrogate = solids.sac_field, Surrogate.SAC
    if sac is None:
        points = solids.bone[solids.level].vertices
        box = points.min(axis=0) - _NEAR_MM, points.max(axis=0) + _NEAR_MM
        cord = _cut(outline_mask(contours, contours.of(Structure.CORD)), box)
        surrogate = Surrogate.CANAL if cord is None else Surrogate.CORD
        sac = None if cord is None else distance_field_of_mask(cord, rim_mm=5.0)
    tract = around.tract
    return RingGround(
        canal=anatomy.canal,
        vertebra=anatomy.vertebrae[solids.level],
        bone=solids.bone_field,
        bone_points=solids.bone[solids.level].vertices,
        tumour=solids.tumour_field,
        tract=None if tract is None else distance_field_of_surface(tract, rim_mm=5.0),
        sac=sac,
        surrogate=surrogate,
    )


def needed_outlines(level: Level) -> tuple[str, ...]:
    """Structures without whose outline nothing can be said of the front of a level.

    Parameters
    ----------
    level : Level
        The diseased vertebra.

    Returns
    -------
    tuple of str
        The aorta along the thoracic and lumbar spine, the inferior cava along the lumbar one
        (anatomy; common practice, no source).
    """
    needed = []
    if level.region in "TL" and level > Level("T3"):
        needed.append(Structure.AORTA.value)
    if level.region == "L":
        needed.append(Structure.INFERIOR_CAVA.value)
    return tuple(needed)


def station_grounds(
    anatomy: Anatomy,
    solids: ResectionSolids,
    around: Surroundings,
    plan: ResectionPlan,
    settings: FrontSettings,
) -> Iterator[StationGround]:
    """Every plane in which the front is looked at: body cuts, and planes between, by side.

    Parameters
    ----------
    anatomy : Anatomy
        Frames and ribs.
    solids : ResectionSolids
        Bones and tumour.
    around : Surroundings
        What lies before the body.
    plan : ResectionPlan
        Its body cuts.
    settings : FrontSettings
        How near a rib's head counts.

    Yields
    ------
    StationGround
        None if no body is cut.
    """
    if not plan.depths:
        return
    vertebra = anatomy.vertebrae[solids.level]
    sections = _Sections(solids, around, vertebra)
    fans = {fan.cut_name: fan for fan in plan.depths}
    for side in Side:
        mine = [cut for cut in plan.cuts if cut.name in fans and cut.side is side]
        tethers = _tethers_between(around, mine, side)
        for cut in mine:
            bone = fans[cut.name].section
            yield _ground(_name(cut), side, bone, sections, anatomy, vertebra, settings, tethers)
        if len(mine) == 2:
            for share in _BETWEEN:
                bone = sections.bone(_between(mine, share).frame(mine[0].blade))
                if not bone.loops:
                    continue  # it runs in a disc: no wall of bone to follow there
                name = f"between the cuts, {100 * share:.0f} % down"
                yield _ground(name, side, bone, sections, anatomy, vertebra, settings, tethers)


class _Sections:
    """Solids that planes are cut through, made once."""

    def __init__(self, solids: ResectionSolids, around: Surroundings, vertebra: Vertebra) -> None:
        wall = wall_plane(vertebra, keep_front=True)
        self._front = united(
            trimmed(solid_from_surface(one), [solids.back_walls.get(level, wall)])
            for level, one in solids.bone.items()
        )
        self._tumour = solid_from_surface(solids.tumour)
        self._structures: dict[str, Solid] = {
            name: solid_from_surface(one) for name, one in around.structures.items()
        }

    def bone(self, frame: object) -> PlanarFace:
        return face_of_solid(self._front, frame)  # type: ignore[arg-type]

    def tumour(self, face: PlanarFace) -> PlanarFace:
        return face_of_solid(self._tumour, face.lps_from_plane)

    def structures(self, face: PlanarFace) -> dict[str, PlanarFace]:
        return {
            name: face_of_solid(one, face.lps_from_plane) for name, one in self._structures.items()
        }


def _name(cut: HalfCut) -> str:
    return "cranial cut" if "cranial" in cut.name else "caudal cut"


def _between(cuts: list[HalfCut], share: float) -> Plane:
    """A plane between two body cuts, turned from the one's to the other's direction."""
    first, last = cuts
    normal = (1.0 - share) * first.plane.normal - share * last.plane.normal
    return Plane((1.0 - share) * first.entry + share * last.entry, normal)


def _ground(  # noqa: PLR0913  a plane is made from all of these
    name: str,
    side: Side,
    bone: PlanarFace,
    sections: _Sections,
    anatomy: Anatomy,
    vertebra: Vertebra,
    settings: FrontSettings,
    tethers: Mapping[str, NDArray[np.float64]],
) -> StationGround:
    frame = bone.lps_from_plane
    normal, origin = frame.axis(2), frame.origin
    out = side.sign * vertebra.lps_from_vertebra.axis(0)
    outward = out - (out @ normal) * normal
    outward /= np.linalg.norm(outward)
    forward = np.cross(normal, outward)
    ahead = -vertebra.lps_from_vertebra.axis(1)
    forward = forward if forward @ ahead > 0.0 else -forward
    here = _wall_point(vertebra, anatomy, origin, normal)
    heads = {
        f"{rib.side.value} rib of {rib.level}": rib.head
        for rib in anatomy.ribs
        if rib.side is side and abs(float((rib.head - origin) @ normal)) <= settings.rib_near_mm
    }
    nearest = sorted(heads, key=lambda one: abs(float((heads[one] - origin) @ normal)))[:1]
    is_cut = name.endswith("cut")
    return StationGround(
        name=name,
        side=side,
        bone=bone,
        tumour=sections.tumour(bone),
        structures=sections.structures(bone),
        rib_heads={one: heads[one] for one in nearest},
        origin=here,
        outward=outward,
        forward=forward,
        tethers={} if is_cut else tethers,
        is_cut=is_cut,
    )


def _wall_point(
    vertebra: Vertebra, anatomy: Anatomy, origin: NDArray[np.float64], normal: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Midline of the back wall in a plane: of the body that the plane is nearest to."""

    def off(one: Vertebra) -> float:
        return abs(float((one.lps_from_vertebra.origin - origin) @ normal))

    near = min(anatomy.vertebrae.values(), key=off, default=vertebra)
    start = near.lps_from_vertebra.points([0.0, near.posterior_wall_mm, 0.0])[0]
    axis = near.lps_from_vertebra.axis(2)
    return np.asarray(start + axis * float((origin - start) @ normal) / float(axis @ normal))


def _tethers_between(
    around: Surroundings, cuts: list[HalfCut], side: Side
) -> dict[str, NDArray[np.float64]]:
    """Points of segmental vessels of a side that lie between its two cuts."""
    if len(cuts) != 2:
        return {}
    found = {}
    for (where, level), surface in around.segmental.items():
        inside = np.ones(len(surface.vertices), dtype=np.bool_)
        for cut in cuts:
            inside &= cut.plane.signed_distance_mm(surface.vertices) <= 0.0
        if where is side and inside.any():
            found[f"{side.value} segmental vessel of {level}"] = surface.vertices[inside]
    return found
