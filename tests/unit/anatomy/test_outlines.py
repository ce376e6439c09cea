"""Masks from surfaces and labels, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from vertebloc.anatomy.contours import ContourSet, LabelMap
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.outlines import (
    fill_surfaces,
    mask_points,
    outline_mask,
    sample_mask,
    split_components,
    unite_masks,
)
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.surfaces import TriangleSurface

TUMOUR = Contour(Structure.TUMOUR)
BONE = Contour(Structure.VERTEBRA, Level("T10"))


def ball(radius_mm=12.0, middle=(3.0, -20.0, 45.0)):
    mesh = trimesh.creation.icosphere(subdivisions=4, radius=radius_mm)
    return TriangleSurface(mesh.vertices + middle, mesh.faces)


def test_a_filled_ball_has_its_volume_and_its_middle():
    mask = fill_surfaces([ball()])
    volume = np.count_nonzero(mask.values) * mask.grid.voxel_volume_mm3
    assert volume == pytest.approx(4 / 3 * np.pi * 12**3, rel=0.01)
    assert np.allclose(mask_points(mask).mean(axis=0), (3.0, -20.0, 45.0), atol=0.1)


def test_voxels_of_a_filled_box_are_exactly_those_inside():
    mesh = trimesh.creation.box(extents=(10.0, 6.0, 8.0))  # edges run along the grid's columns
    mask = fill_surfaces([TriangleSurface(mesh.vertices, mesh.faces)])
    inside = np.all(np.abs(mask.grid.centres()) < [5.0, 3.0, 4.0], axis=1)
    assert np.array_equal(mask.values.ravel(), inside)


def test_a_sheet_thinner_than_a_voxel_between_two_centres_fills_nothing():
    mesh = trimesh.creation.box(extents=(10.0, 10.0, 0.2))  # centres lie 0.4 mm away from it
    mask = fill_surfaces([TriangleSurface(mesh.vertices, mesh.faces)])
    heights = np.abs(mask.grid.centres()[:, 2])
    assert heights.min() > 0.1
    assert not mask.values.any()


def test_two_surfaces_are_united_also_where_they_overlap():
    two = fill_surfaces([ball(), ball(middle=(9.0, -20.0, 45.0))])
    gap = np.linalg.norm(two.grid.centres() - (3.0, -20.0, 45.0), axis=1)
    assert two.values.ravel()[gap < 11.5].all()


def test_an_open_surface_is_refused():
    whole = ball()
    with pytest.raises(InputError, match="open"):
        fill_surfaces([TriangleSurface(whole.vertices, whole.triangles[1:])])


def test_a_surface_in_micrometres_is_refused():
    with pytest.raises(InputError, match="in mm"):
        fill_surfaces([ball(radius_mm=12000.0)])


def test_labels_and_surfaces_of_one_kind_are_not_mixed():
    grid = Grid.from_matrix((4, 4, 4), np.eye(4))
    labels = LabelMap(Volume(grid, np.ones(grid.shape, np.uint8)), {1: (BONE,)})
    mixed = ContourSet(labels, {TUMOUR: ball()})
    assert np.count_nonzero(outline_mask(mixed, (TUMOUR,)).values) > 7000
    with pytest.raises(InputError, match="all as labels or all as surfaces"):
        outline_mask(mixed, (BONE, TUMOUR))


def test_what_is_nowhere_has_no_mask():
    assert outline_mask(ContourSet(None, {}), (TUMOUR,)) is None


def test_samples_halfway_across_an_edge_are_one_half():
    grid = Grid.from_matrix((4, 1, 1), np.diag([2.0, 1.0, 1.0, 1.0]))
    mask = Volume(grid, np.array([1, 1, 0, 0], dtype=bool).reshape(4, 1, 1))
    values = sample_mask(mask, [[[2.0, 0, 0], [2.5, 0, 0], [3.0, 0, 0]], [[4.0, 0, 0]] * 3])
    assert values.shape == (2, 3)
    assert np.allclose(values, [[1.0, 0.75, 0.5], [0.0, 0.0, 0.0]])


def test_parts_that_touch_by_a_corner_are_one():
    grid = Grid.from_matrix((6, 3, 3), np.eye(4))
    values = np.zeros(grid.shape, dtype=bool)
    values[0, 0, 0] = values[1, 1, 1] = values[4, 0, 0] = True
    parts = split_components(Volume(grid, values))
    assert [np.count_nonzero(p.values) for p in parts] == [2, 1]
    together = unite_masks(parts)
    assert np.allclose(
        np.sort(mask_points(together), axis=0), np.sort(np.argwhere(values), axis=0)
    )


def test_masks_of_different_grids_are_not_united():
    one = Volume(Grid.from_matrix((2, 2, 2), np.eye(4)), np.ones((2, 2, 2), dtype=bool))
    moved = np.eye(4)
    moved[:3, 3] = 0.5
    other = Volume(Grid.from_matrix((2, 2, 2), moved), np.ones((2, 2, 2), dtype=bool))
    with pytest.raises(InputError, match="one grid"):
        unite_masks([one, other])
