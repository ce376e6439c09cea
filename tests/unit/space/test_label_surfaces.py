"""Surfaces from masks: closed, outward, between the voxel centres, true to volume."""

import numpy as np
import pytest
import SimpleITK
import trimesh
from scipy.spatial import KDTree

from vertebloc.errors import InputError
from vertebloc.space.fields import mask_of_surface
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.label_surfaces import surface_from_mask
from vertebloc.space.solids import Ellipsoid
from vertebloc.space.surfaces import TriangleSurface

#: Largest volume error in per cent, over placements and turns: (0.5, 0.5, 1) and (0.7, 0.7, 2.5).
VOLUME_ERROR = {
    (4.0, 4.0, 4.0): (1.5, 15.0),
    (8.0, 8.0, 8.0): (1.0, 4.5),
    (15.0, 15.0, 15.0): (0.3, 0.8),
    (9.0, 9.0, 7.0): (0.8, 4.0),
    (18.0, 12.0, 8.0): (0.5, 2.0),
}


def mask_of(solid, spacing, offset, reach=21.0):
    spacing = np.asarray(spacing, float)
    matrix = np.diag([*spacing, 1.0])
    matrix[:3, 3] = offset - reach
    shape = tuple(int(n) for n in np.ceil(2 * reach / spacing))
    grid = Grid.from_matrix(shape, matrix)
    return Volume(grid, (solid.signed_distance_mm(grid.centres()) < 0).reshape(shape))


def turned(rng):
    axes, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    return axes if np.linalg.det(axes) > 0 else axes * [[-1], [1], [1]]


@pytest.mark.parametrize("half_axes", VOLUME_ERROR)
def test_volume_of_the_best_guess_against_the_closed_form(half_axes):
    rng = np.random.default_rng(2)
    for spacing, most in zip(
        ((0.5, 0.5, 1.0), (0.7, 0.7, 2.5)), VOLUME_ERROR[half_axes], strict=True
    ):
        for axes in (np.eye(3), turned(rng), turned(rng)):
            solid = Ellipsoid([0, 0, 0], half_axes, axes)
            mask = mask_of(solid, spacing, rng.uniform(0, 1, 3) * spacing)
            guess = surface_from_mask(mask, outward=False)
            assert guess.is_closed
            assert guess.volume_mm3 == pytest.approx(solid.volume_mm3, rel=most / 100.0)
            assert surface_from_mask(mask).volume_mm3 > solid.volume_mm3


@pytest.mark.parametrize("spacing", [(0.5, 0.5, 1.0), (0.7, 0.7, 2.5), (1.0, 0.6, 0.6)])
def test_every_voxel_centre_keeps_its_side(spacing):
    """No vertex passes a voxel centre, so the surface filled again gives the mask back."""
    solid = Ellipsoid([0, 0, 0], [9.0, 7.0, 6.0], turned(np.random.default_rng(4)))
    mask = mask_of(solid, spacing, np.array([0.1, 0.2, 0.3]), reach=12.0)
    again = mask_of_surface(surface_from_mask(mask), mask.grid)
    assert np.array_equal(again.values, mask.values)


def test_left_handed_grid_gives_the_same_surface():
    solid = Ellipsoid([1.0, -2.0, 0.5], [8.0, 6.0, 5.0])
    mask = mask_of(solid, (0.5, 0.5, 1.0), np.array([0.2, 0.1, 0.4]), reach=12.0)
    plain = surface_from_mask(mask)
    for axis in range(3):
        matrix = np.array(mask.grid.lps_from_ijk.matrix)
        matrix[:3, 3] += matrix[:3, axis] * (mask.grid.shape[axis] - 1)
        matrix[:3, axis] *= -1.0
        flipped = Volume(Grid.from_matrix(mask.grid.shape, matrix), np.flip(mask.values, axis))
        surface = surface_from_mask(flipped)
        assert surface.is_closed
        assert surface.volume_mm3 == pytest.approx(plain.volume_mm3, rel=1e-4)
        assert len(surface.vertices) == len(plain.vertices)
        assert KDTree(plain.vertices).query(surface.vertices)[0].max() < 1e-9


def test_turned_grid_turns_the_surface_with_it():
    solid = Ellipsoid([0, 0, 0], [8.0, 6.0, 5.0])
    mask = mask_of(solid, (0.5, 0.5, 1.0), np.array([0.2, 0.1, 0.4]), reach=12.0)
    turn = np.eye(4)
    turn[:3, :3], turn[:3, 3] = turned(np.random.default_rng(1)), (100.0, -50.0, 30.0)
    moved = Volume(
        Grid.from_matrix(mask.grid.shape, turn @ mask.grid.lps_from_ijk.matrix), mask.values
    )
    expected = surface_from_mask(mask).vertices @ turn[:3, :3].T + turn[:3, 3]
    assert np.abs(surface_from_mask(moved).vertices - expected).max() < 1e-6


@pytest.mark.parametrize("outward", [False, True])
def test_mask_that_touches_all_edges_of_its_grid_is_closed(outward):
    """A box of 10 x 10 x 10 mm by its voxels; outward it may reach the next centres."""
    grid = Grid.from_matrix((20, 20, 10), np.diag([0.5, 0.5, 1.0, 1.0]))
    surface = surface_from_mask(Volume(grid, np.ones(grid.shape, dtype=bool)), outward=outward)
    assert surface.is_closed
    assert 900.0 < surface.volume_mm3 < (1000.0 if not outward else 10.5 * 10.5 * 11.0)
    low, high = surface.vertices.min(axis=0), surface.vertices.max(axis=0)
    assert np.all(low >= [-0.5, -0.5, -1.0]) and np.all(low <= 0.0)
    assert np.all(high <= [10.0, 10.0, 10.0]) and np.all(high >= [9.5, 9.5, 9.0])


def test_one_voxel_and_two_pieces():
    values = np.zeros((9, 9, 9), dtype=bool)
    values[4, 4, 4] = True
    grid = Grid.from_matrix(values.shape, np.diag([0.5, 0.5, 1.0, 1.0]))
    one = surface_from_mask(Volume(grid, values))
    assert one.is_closed
    assert 0.0 < one.volume_mm3 < 2.0
    values[0, 0, 0] = True
    two = surface_from_mask(Volume(grid, values))
    assert two.is_closed
    assert two.volume_mm3 > one.volume_mm3


def test_no_voxel_is_refused():
    grid = Grid.from_matrix((5, 5, 5), np.eye(4))
    with pytest.raises(InputError, match="empty"):
        surface_from_mask(Volume(grid, np.zeros(grid.shape, dtype=bool)))


def test_filled_surface_counts_what_simpleitk_measures():
    """A capsule's mask: SimpleITK's label shapes and trimesh's own volume against ours."""
    mesh = trimesh.creation.capsule(height=20.0, radius=6.0, count=(64, 64))
    mesh.apply_transform(trimesh.transformations.rotation_matrix(0.9, [1, -1, 2]))
    matrix = np.diag([0.5, 0.5, 1.0, 1.0])
    matrix[:3, 3] = (-19.87, -19.79, -19.63)
    grid = Grid.from_matrix((80, 80, 40), matrix)
    mask = mask_of_surface(TriangleSurface(mesh.vertices, mesh.faces), grid)
    image = SimpleITK.GetImageFromArray(np.transpose(mask.values, (2, 1, 0)).astype(np.uint8))
    image.SetSpacing([0.5, 0.5, 1.0])
    image.SetOrigin([float(x) for x in matrix[:3, 3]])
    shapes = SimpleITK.LabelShapeStatisticsImageFilter()
    shapes.Execute(image)
    assert shapes.GetNumberOfLabels() == 1
    assert shapes.GetPhysicalSize(1) == pytest.approx(mesh.volume, rel=5e-3)
    assert shapes.GetCentroid(1) == pytest.approx(mesh.center_mass, abs=0.05)
    rng = np.random.default_rng(0)
    ijk = rng.integers(0, grid.shape, (400, 3))
    inside = mesh.contains(grid.lps_from_ijk.points(ijk))
    assert np.array_equal(mask.values[tuple(ijk.T)], inside)
