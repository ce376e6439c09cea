"""Tumour outside the piece is found even where every face reads clean."""

import numpy as np
import pytest

from vertebloc.anatomy.contours import LabelMap
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.resection.model import FaceKind
from vertebloc.space.grids import Volume
from vertebloc.space.solids import Ellipsoid

from .conftest import Planned

TUMOUR = Contour(Structure.TUMOUR)


def with_more_tumour(label_map, solid, *, only_free=False):
    """The label map with a closed-form solid painted in as tumour; bone stays bone too."""
    grid = label_map.volume.grid
    low, high = (np.asarray(b) for b in solid.bounds_mm())
    ijk = grid.lps_from_ijk.inverse.points([low, high])
    lower = np.maximum(np.floor(ijk.min(axis=0)).astype(int) - 1, 0)
    upper = np.minimum(np.ceil(ijk.max(axis=0)).astype(int) + 2, grid.shape)
    box = tuple(slice(a, b) for a, b in zip(lower, upper, strict=True))
    part = grid.crop(lower, upper)
    inside = (solid.signed_distance_mm(part.centres()) < 0).reshape(part.shape)
    values, names = np.array(label_map.volume.values, dtype=np.int32), dict(label_map.names)
    region = values[box]
    for old in np.unique(region[inside]):
        former = names.get(int(old), ())
        if TUMOUR in former or (
            only_free and any(c.structure is Structure.VERTEBRA for c in former)
        ):
            continue
        new = max(max(names), int(values.max())) + 1
        names[new] = (*former, TUMOUR)
        region[inside & (region == old)] = new
    return LabelMap(Volume(grid, values), names), float(inside.sum()) * grid.voxel_volume_mm3


def test_the_lead_plan_leaves_no_tumour(lead):
    assert lead.plan.tumour_left.total_ml == 0.0
    assert all(f.margin_mm > 0 for f in lead.plan.faces if f.kind is FaceKind.BONE)


@pytest.mark.slow
def test_a_tongue_beside_the_bone_past_the_caudal_cut(lead):
    """It runs down in soft tissue 9 mm beside T11: no bone face meets it."""
    lps = lead.vertebra.lps_from_vertebra
    wall = lead.vertebra.left_wall_mm
    height = float(lps.inverse.points(lead.face("left half of the caudal cut").weakest)[0, 2])
    middle = lps.points([wall + 16.0, -4.0, height - 2.0])[0]
    tongue = Ellipsoid(middle, [3.0, 3.0, 12.0], lps.matrix[:3, :3].T)
    labels, _ = with_more_tumour(lead.label_map, tongue, only_free=True)
    ill = Planned(labels)
    faces = [f for f in ill.plan.faces if f.kind is FaceKind.BONE and "caudal" in f.name]
    assert all(f.margin_mm > 3.0 for f in faces)
    cut = next(c for c in ill.plan.cuts if c.name == "left half of the caudal cut")
    # closed form: the ellipsoid's cap beyond the plane, (pi/3) (b/c)^2 h^2 (3c - h)
    depth = 12.0 + float(cut.plane.signed_distance_mm(middle)[0])
    cap = np.pi / 3 * (3.0 / 12.0) ** 2 * depth**2 * (3 * 12.0 - depth) / 1000.0
    left = ill.plan.tumour_left
    assert left.by_place_ml["below the caudal cut"] == pytest.approx(cap, rel=0.12)
    assert left.total_ml == pytest.approx(cap, rel=0.12)


@pytest.mark.slow
def test_a_nodule_in_bone_that_stays(lead):
    """Deep in T11, past the caudal cut: margins stay clean, its whole volume is left."""
    below = lead.anatomy.vertebrae[lead.solids.neighbours[1]]
    middle = below.lps_from_vertebra.points([-6.0, 2.0, -5.0])[0]
    nodule = Ellipsoid(middle, [3.0, 3.0, 3.0])
    labels, painted = with_more_tumour(lead.label_map, nodule)
    ill = Planned(labels)
    caudal = [f for f in ill.plan.faces if f.kind is FaceKind.BONE and "caudal" in f.name]
    assert all(f.margin_mm > 3.0 for f in caudal)
    assert ill.plan.tumour_left.total_ml == pytest.approx(painted / 1000.0, rel=0.15)
    assert list(ill.plan.tumour_left.by_place_ml) == ["below the caudal cut"]
