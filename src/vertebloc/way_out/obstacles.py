"""What stands in the way of a planned piece: bone that stays, ribs by length, roots, vessels."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Rib
from vertebloc.anatomy.outlines import mask_points, outline_mask
from vertebloc.anatomy.structures import Structure
from vertebloc.errors import InputError
from vertebloc.resection.model import ResectionPlan, RibFate
from vertebloc.resection.piece import SIMPLER_BY_MM, mid_plane
from vertebloc.resection.rib_heads import rib_axis, rib_name
from vertebloc.resection.solids import ResectionSolids
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane
from vertebloc.space.sections import (
    Solid,
    solid_from_surface,
    space_within,
    surface_of_solid,
    trimmed,
)
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Transform
from vertebloc.way_out.clearances import CLIP_MM, field_of
from vertebloc.way_out.crowding import patches_with_room
from vertebloc.way_out.model import Obstacle, Room, Substance, WayOutSettings
from vertebloc.way_out.roots import Root, find_roots
from vertebloc.way_out.travel import along, lps_from_travel

#: Lengths from the head that a rib may be shortened by, mm: the steps of the ledger.
RIB_LENGTHS_MM = (20.0, 35.0, 50.0, 65.0, 80.0)
#: Vessels that are freed and held aside; segmental ones of the level are given up beforehand.
_HELD_ASIDE = (
    Structure.AORTA,
    Structure.AZYGOS,
    Structure.SUPERIOR_CAVA,
    Structure.INFERIOR_CAVA,
)
_BEHIND_BONE_MM = (
    10.0  #: the wound's edge lies so far behind the hindmost bone, if no skin is drawn
)
_CHIP_MM3 = 20.0
_SLIVER_MM3 = 2500.0  #: what stays of a rib may be thin only if it is smaller than this
_SEAT_MM = 10.0  #: what lies no farther above or below the seat counts as beside it

ASSUMPTIONS = (
    "facets and laminae of the neighbours that lie between the cuts are nibbled away",
    "muscle, pleura and lung are held aside; discs that stay are not in the way",
    "a root that is kept goes on along the lower edge of its rib",
    "segmental vessels of the levels that come out are given up; others are held aside",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoomOfPlan:
    """A room in the frame of travel, and where that frame lies."""

    room: Room
    lps_from_travel: Transform
    roots: tuple[Root, ...]
    rib_lengths_mm: dict[str, tuple[float, ...]]  #: by rib: 0 is kept; lengths that were looked at
    planned_mm: dict[str, float]  #: by rib: what the plan takes of it
    front_freed: bool = False  #: in a stage before


def rib_obstacle(rib: str, length_mm: float) -> str:
    """Name of what stays of a rib.

    Parameters
    ----------
    rib : str
        Such as ``left rib of T10``.
    length_mm : float, mm
        Taken of it from its head; 0: nothing.

    Returns
    -------
    str
        The obstacle's name.
    """
    return f"{rib} beyond {length_mm:.0f} mm" if length_mm else f"{rib}, whole"


def room_of_plan(
    contours: ContourSet,
    anatomy: Anatomy,
    solids: ResectionSolids,
    plan: ResectionPlan,
    settings: WayOutSettings,
    kerf_mm: float,
) -> RoomOfPlan:
    """Everything around a planned piece once it is free.

    Parameters
    ----------
    contours : ContourSet
        Roots and skin.
    anatomy : Anatomy
        Vertebrae, ribs.
    solids : ResectionSolids
        Bones, sac, vessels.
    plan : ResectionPlan
        The piece and its cuts.
    settings : WayOutSettings
        How far things give.
    kerf_mm : float, mm
        Taken by the blade from the side away from the piece.

    Returns
    -------
    RoomOfPlan
        For ``make_search``.

    Raises
    ------
    InputError
        If no sac is outlined.
    """
    if solids.sac is None:
        raise InputError(
            "no sac is outlined, so nothing can be said about the way out: outline the sac"
        )
    vertebra = anatomy.vertebrae[plan.level]
    lps = lps_from_travel(plan, vertebra)
    back = lps.inverse
    piece = surface_of_solid(solid_from_surface(plan.piece).simplify(SIMPLER_BY_MM)).moved(back)
    box = _box_of_travel(piece, settings)
    sac = _within(solid_from_surface(solids.sac.moved(back)), box)
    levels = _levels_near(anatomy, plan)
    here = _Here(back, box, settings)
    obstacles = list(_bones(solids, plan, anatomy, kerf_mm, here))
    obstacles += _vessels(solids, here)
    rib_names: dict[str, tuple[float, ...]] = {}
    planned = {}
    for rib in anatomy.ribs:
        if rib.level not in levels or rib_name(rib) not in solids.ribs:
            continue
        name = rib_name(rib)
        planned[name] = plan.rib_lengths_mm.get(name, 0.0)
        made = _rib(rib, solids.ribs[name], plan, here)
        rib_names[name] = tuple(length for length, _ in made)
        obstacles += [obstacle for _, obstacle in made]
    roots = find_roots(contours, anatomy, levels)
    obstacles += [_root(root, settings, back) for root in roots]
    obstacles += patches_with_room(sac, piece, settings)
    middle = _middle_near_seat(sac)
    delivered = _wound_edge(contours, solids, back)
    reach = float(np.linalg.norm(piece.vertices[:, :2], axis=1).max())
    room = Room(
        piece=piece,
        sac=sac,
        obstacles=tuple(obstacles),
        delivered_y_mm=delivered,
        x_mm=(-settings.sideways_mm, settings.sideways_mm),
        y_mm=(-settings.forward_mm, delivered + reach + settings.step_mm),
        sac_middle_mm=(float(middle[0]), float(middle[1])),
    )
    return RoomOfPlan(
        room=room,
        lps_from_travel=lps,
        roots=roots,
        rib_lengths_mm=rib_names,
        planned_mm=planned,
    )


@dataclass(frozen=True, slots=True)
class _Here:
    """Where obstacles are looked at, and how far they give."""

    back: Transform  #: travel from patient LPS
    box: list[Plane]
    settings: WayOutSettings

    def within(self, surface: TriangleSurface) -> TriangleSurface:
        """What of a surface in patient LPS the piece can come near, in the frame of travel."""
        return _within(solid_from_surface(surface.moved(self.back)), self.box)


def _box_of_travel(piece: TriangleSurface, settings: WayOutSettings) -> list[Plane]:
    """All that the piece can come near: what lies beyond is cut off before it is measured."""
    beyond = CLIP_MM + settings.lift_mm + 6.0
    z = piece.vertices[:, 2]
    side = settings.sideways_mm + beyond
    return [
        Plane(np.array([0.0, 0.0, z.max() + beyond]), np.array([0.0, 0.0, 1.0])),
        Plane(np.array([0.0, 0.0, z.min() - beyond]), np.array([0.0, 0.0, -1.0])),
        Plane(np.array([side, 0.0, 0.0]), np.array([1.0, 0.0, 0.0])),
        Plane(np.array([-side, 0.0, 0.0]), np.array([-1.0, 0.0, 0.0])),
    ]


def _within(solid: Solid, box: list[Plane]) -> TriangleSurface:
    return surface_of_solid(trimmed(solid.simplify(SIMPLER_BY_MM), box))


def _levels_near(anatomy: Anatomy, plan: ResectionPlan) -> tuple[Level, ...]:
    order = sorted(anatomy.vertebrae)
    first, last = order.index(plan.levels[0]), order.index(plan.levels[-1])
    return tuple(order[max(0, first - 1) : last + 2])


def _bones(
    solids: ResectionSolids,
    plan: ResectionPlan,
    anatomy: Anatomy,
    kerf_mm: float,
    here: _Here,
) -> Iterator[Obstacle]:
    """Bone that stays: all of the neighbours that does not lie between the cuts."""
    vertebra = anatomy.vertebrae[plan.level]
    up = vertebra.lps_from_vertebra.vectors([0.0, 0.0, 1.0])[0]
    gaps = []
    for side in Side:
        cuts = [c for c in plan.cuts if c.side is side and abs(c.plane.normal @ up) > 0.5]
        if cuts:
            planes = [cut.plane.shifted(kerf_mm) for cut in cuts]
            gaps.append(space_within([*planes, mid_plane(vertebra, side, overlap_mm=0.02)]))
    for level in solids.neighbours:
        bone = solid_from_surface(solids.bone[level]).simplify(SIMPLER_BY_MM)
        for gap in gaps:
            bone = bone - gap
        bone = _largest(bone)
        if bone.volume() < _CHIP_MM3:
            continue
        yield Obstacle(
            name=f"bone of {level} that stays",
            substance=Substance.BONE,
            surface=here.within(surface_of_solid(bone)),
            may_press_mm=here.settings.tolerance_mm,
            level=level,
        )


def _largest(solid: Solid) -> Solid:
    """Without chips that cutting leaves."""
    parts = [part for part in solid.decompose() if part.volume() >= _CHIP_MM3]
    return max(parts, key=lambda one: float(one.volume())) if parts else solid


def _vessels(solids: ResectionSolids, here: _Here) -> Iterator[Obstacle]:
    for structure in _HELD_ASIDE:
        surface = solids.vessels.get(structure.value)
        if surface is None:
            continue
        near = here.within(surface)
        if len(near.triangles):
            yield Obstacle(
                name=structure.value,
                substance=Substance.VESSEL,
                surface=near,
                may_press_mm=here.settings.vessel_gives_mm - here.settings.hand_mm,
            )


def _rib(
    rib: Rib,
    surface: TriangleSurface,
    plan: ResectionPlan,
    here: _Here,
) -> list[tuple[float, Obstacle]]:
    """What stays of a rib at each length, from all of it on; each is part of the one before."""
    name = rib_name(rib)
    fate = plan.rib_fates.get(name, RibFate.KEPT)
    planned = plan.rib_lengths_mm.get(name, 0.0)
    lengths = sorted({*RIB_LENGTHS_MM, planned} | ({0.0} if fate is RibFate.KEPT else set()))
    if fate is RibFate.HEAD_ON_PIECE:
        lengths = [planned]
    solid = solid_from_surface(surface).simplify(SIMPLER_BY_MM)
    found: list[tuple[float, Obstacle]] = []
    for length in lengths:
        stump = _stump(rib, solid, length) if length else solid
        if stump is None:
            break
        near = here.within(surface_of_solid(stump))
        if near.volume_mm3 < _CHIP_MM3 or (length and _gives_way(near, here.settings)):
            break
        found.append(
            (
                length,
                Obstacle(
                    name=rib_obstacle(name, length),
                    substance=Substance.RIB,
                    surface=near,
                    may_press_mm=here.settings.tolerance_mm,
                    sacrifice=f"{length:.0f} mm of {name}",
                    part_of=found[-1][1].name if found else None,
                    level=rib.level,
                ),
            )
        )
    return found


def _gives_way(surface: TriangleSurface, settings: WayOutSettings) -> bool:
    """Whether what stays of a rib is thinner than it may be pressed: it is in nobody's way."""
    if surface.volume_mm3 > _SLIVER_MM3:
        return False
    deepest = -float(np.min(field_of(surface, settings).distances.values))
    return deepest <= settings.tolerance_mm


def _stump(rib: Rib, solid: Solid, length_mm: float) -> Solid | None:
    """What stays if a rib is taken up to a length; None if the outline ends before."""
    try:
        axis = rib_axis(rib, length_mm)
    except InputError:
        return None
    s = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(axis, axis=0), axis=1))))
    place = np.array([np.interp(length_mm, s, axis[:, i]) for i in range(3)])
    at = int(np.searchsorted(s, length_mm))
    plane = Plane(place, axis[min(at + 1, len(axis) - 1)] - axis[max(at - 2, 0)])
    parts = trimmed(solid, [plane]).decompose()
    head = min(parts, key=lambda one: _gap_mm(one, rib.head), default=None)
    return solid if head is None else _largest(solid - head)


def _gap_mm(solid: Solid, point: NDArray[np.float64]) -> float:
    vertices = np.asarray(solid.to_mesh64().vert_properties)[:, :3]
    return float(np.linalg.norm(vertices - point, axis=1).min())


def _root(root: Root, settings: WayOutSettings, back: Transform) -> Obstacle:
    return Obstacle(
        name=root.name,
        substance=Substance.ROOT,
        line=along(back.points(root.line), 0.3),
        radius_mm=root.radius_mm,
        cover_mm=0.15,
        may_press_mm=settings.root_gives_mm,
        sacrifice=root.name,
        level=root.level,
    )


def _middle_near_seat(surface: TriangleSurface) -> NDArray[np.float64]:
    """Middle of a surface's part at the height of the seat, whatever its triangles are like."""
    corners = surface.corners
    middles = corners.mean(axis=1)
    areas = np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    near = np.abs(middles[:, 2]) < _SEAT_MM
    weights = np.where(near, areas, 0.0) if near.any() else areas
    return np.asarray(np.average(middles, axis=0, weights=weights))


def _wound_edge(contours: ContourSet, solids: ResectionSolids, back: Transform) -> float:
    """How far back the piece has to be to be outside the wound."""
    bone = max(
        float(back.points(solids.bone[level].vertices)[:, 1].max())
        for level in (*solids.levels, *solids.neighbours)
    )
    skin = outline_mask(contours, contours.of(Structure.SKIN))
    if skin is None:
        return bone + _BEHIND_BONE_MM
    points = back.points(mask_points(skin)[::23])
    near = (np.abs(points[:, 0]) < 30.0) & (np.abs(points[:, 2]) < 20.0) & (points[:, 1] > 0.0)
    return float(points[near, 1].max()) if near.any() else bone + _BEHIND_BONE_MM
