"""Kinds of resection on the lead made-up patient: piece volumes against counted voxels."""

import numpy as np
import pytest

from vertebloc.anatomy.contours import ContourSet, mask_on_box
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.case.choice_words import KindChoice, Placement
from vertebloc.case.choices import Choices, CutChoice, HalfPlacement
from vertebloc.resection import collect_solids, plan_resection
from vertebloc.resection.model import Kind
from vertebloc.space.frames import Side

from .conftest import T10

pytestmark = pytest.mark.slow


def at(height):
    half = HalfPlacement(height_mm=height)
    return CutChoice(placed=Placement.BY_HAND, halves=dict.fromkeys(Side, half))


def counted_mm3(label_map, levels, keep):
    """Voxels of bone of some vertebrae, and of tumour, whose centres are kept."""
    contours = tuple(Contour(Structure.VERTEBRA, level) for level in levels)
    mask = mask_on_box(label_map, (*contours, Contour(Structure.TUMOUR)))
    ill = mask_on_box(label_map, (Contour(Structure.TUMOUR),))
    points = mask.grid.lps_from_ijk.points(np.argwhere(mask.values).astype(float))
    seeds = ill.grid.lps_from_ijk.points(np.argwhere(ill.values).astype(float))
    is_ill = np.isin(_rows(points), _rows(seeds))
    return float(np.count_nonzero(keep(points, is_ill))) * mask.grid.voxel_volume_mm3


def _rows(points):
    return np.round(points, 3).view([("", float)] * 3).ravel()


def test_half_of_the_body_against_voxels(lead):
    """Cut 8 mm right of the mid-plane, so that no tumour is crossed; bone alone behind it."""
    choices = Choices(
        kind=KindChoice.HALF_BODY,
        sagittal_cut_mm=-8.0,
        cranial_cut=at(18.0),
        caudal_cut=at(-18.0),
    )
    plan = lead.again(choices)
    assert plan.kind is Kind.HALF_BODY
    assert plan.tumour_left.total_ml == 0.0
    assert plan.contamination == ()
    lps, wall = lead.vertebra.lps_from_vertebra, lead.vertebra.posterior_wall_mm
    arch = next(c for c in plan.cuts if c.name == "left half of the cranial cut")
    assert arch.side is Side.LEFT
    behind = plan.piece.volume_mm3 - _in_front(plan, lead)

    def keep(points, _):
        x, y, z = lps.inverse.points(points).T
        return (x > -8.0) & (y < wall) & (np.abs(z) < 18.0)

    counted = counted_mm3(lead.label_map, tuple(lead.solids.bone), keep)
    assert _in_front(plan, lead) == pytest.approx(counted, rel=0.02)
    assert behind > 0.0  # the diseased pedicle and what lies in front of the arch cut


def _in_front(plan, lead):
    from vertebloc.resection.piece import wall_plane
    from vertebloc.space.sections import solid_from_surface, trimmed

    front = wall_plane(lead.vertebra, keep_front=True)
    return float(trimmed(solid_from_surface(plan.piece), [front]).volume())


def test_the_arch_alone_against_voxels(lead):
    plan = lead.again(Choices(kind=KindChoice.ARCH_ONLY))
    lps = lead.vertebra.lps_from_vertebra
    planes = {s: next(c for c in plan.cuts if c.name.startswith(s.value)).plane for s in Side}

    def keep(points, _):
        left = lps.inverse.points(points)[:, 0] > 0
        off = {side: plane.signed_distance_mm(points) < 0 for side, plane in planes.items()}
        return np.where(left, off[Side.LEFT], off[Side.RIGHT])

    counted = counted_mm3(lead.label_map, (T10,), keep)
    assert plan.piece.volume_mm3 == pytest.approx(counted, rel=0.02)


def test_two_bodies_against_voxels(lead):
    solids = collect_solids(ContourSet(lead.label_map), lead.anatomy, T10, ("T10", "T11"))
    plan = plan_resection(
        anatomy=lead.anatomy,
        solids=solids,
        choices=Choices(levels=("T10", "T11"), cranial_cut=at(18.0), caudal_cut=at(-45.0)),
        level=T10,
    )
    assert plan.kind is Kind.TWO_BODIES
    assert plan.tumour_left.total_ml == 0.0
    lps = lead.vertebra.lps_from_vertebra
    levels = (Level("T9"), T10, Level("T11"), Level("T12"))
    total = 0.0
    for level in levels:
        vertebra = lead.anatomy.vertebrae[level]
        mask = mask_on_box(lead.label_map, (Contour(Structure.VERTEBRA, level),))
        points = mask.grid.lps_from_ijk.points(np.argwhere(mask.values).astype(float))
        z = lps.inverse.points(points)[:, 2]
        front = (
            vertebra.lps_from_vertebra.inverse.points(points)[:, 1] < vertebra.posterior_wall_mm
        )
        total += np.count_nonzero(front & (z < 18.0) & (z > -45.0)) * mask.grid.voxel_volume_mm3
    from vertebloc.resection.piece import prepare_bones
    from vertebloc.space.sections import solid_from_surface

    bones = prepare_bones(solids, lead.vertebra)
    ours = float((solid_from_surface(plan.piece) ^ bones.front).volume())
    assert ours == pytest.approx(total, rel=0.02)
