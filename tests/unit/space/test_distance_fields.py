"""Distance fields from masks and surfaces against closed forms and SimpleITK."""

import numpy as np
import pytest
import SimpleITK
from scipy.ndimage import map_coordinates

from vertebloc.errors import InputError
from vertebloc.space import _kernels
from vertebloc.space.accuracy import MEASURED, distance_error_of, distance_error_words
from vertebloc.space.fields import (
    distance_field_of_mask,
    distance_field_of_surface,
    mask_of_surface,
)
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.label_surfaces import surface_from_mask
from vertebloc.space.solids import Box, Ellipsoid, Sphere

REACH_MM = 26.0
SMOOTH = {
    "ball 4": [4.0, 4.0, 4.0],
    "ball 8": [8.0, 8.0, 8.0],
    "ball 15": [15.0, 15.0, 15.0],
    "egg": [9.0, 9.0, 7.0],
    "bean": [18.0, 12.0, 8.0],
    "lens": [20.0, 20.0, 10.0],
}
#: one body in each quick run, all of them in each full one
BODIES = [n if n == "ball 8" else pytest.param(n, marks=pytest.mark.slow) for n in SMOOTH]


def turned(rng):
    axes, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    return axes if np.linalg.det(axes) > 0 else axes * [[-1], [1], [1]]


def voxels(solid, spacing, offset, reach=REACH_MM):
    """The solid by voxel centres, on a grid whose corner lies ``offset`` off."""
    spacing = np.asarray(spacing, float)
    shape = tuple(int(n) for n in np.ceil(2 * reach / spacing))
    matrix = np.diag([*spacing, 1.0])
    matrix[:3, 3] = offset - reach
    grid = Grid.from_matrix(shape, matrix)
    return Volume(grid, (solid.signed_distance_mm(grid.centres()) < 0).reshape(shape))


def errors(half_axes, spacing, *, rivals=False, times=4):
    """Field minus truth outside the solid, at random points, over placements and turns."""
    rng = np.random.default_rng(11)
    ours, plain = [], []
    for turn in range(times):
        axes = np.eye(3) if turn < times // 2 else turned(rng)
        solid = Ellipsoid([0, 0, 0], half_axes, axes)
        mask = voxels(solid, spacing, rng.uniform(0, 1, 3) * spacing)
        points = rng.uniform(-REACH_MM - 8, REACH_MM + 8, (20000, 3))
        truth = solid.signed_distance_mm(points)
        keep = (truth > 0) & (truth < 24.0)
        ours.append(distance_field_of_mask(mask).signed_distance_mm(points[keep]) - truth[keep])
        if rivals:
            padded = np.pad(mask.values, 40).astype(np.uint8)
            image = SimpleITK.GetImageFromArray(padded)
            image.SetSpacing([float(s) for s in mask.grid.spacing_mm[::-1]])
            field = SimpleITK.GetArrayFromImage(
                SimpleITK.SignedMaurerDistanceMap(image, False, False, True)
            )
            index = mask.grid.lps_from_ijk.inverse.points(points[keep]) + 40
            plain.append(map_coordinates(field, index.T, order=1, mode="nearest") - truth[keep])
    return np.concatenate(ours), np.concatenate(plain) if rivals else None


@pytest.mark.parametrize("name", BODIES)
def test_fine_label_maps_within_the_promised_error_and_never_optimistic(name):
    """Issue: 95 % <= 0.25 mm, largest <= 0.40 mm; against SimpleITK's field to voxel centres."""
    ours, plain = errors(SMOOTH[name], (0.5, 0.5, 1.0), rivals=True)
    assert np.percentile(np.abs(ours), 95) <= 0.25
    assert ours.min() >= -0.40
    # too long by no more than what straight steps between voxels add to a curved field
    assert ours.max() <= 0.03
    assert np.abs(ours).max() <= 0.6 * np.abs(plain).max()


@pytest.mark.slow
@pytest.mark.parametrize("name", SMOOTH)
@pytest.mark.parametrize("case", MEASURED, ids=lambda case: f"{case.spacing_mm[2]} mm")
def test_more_placements_within_what_the_sheet_says(name, case):
    """The printed figures are the largest over twelve placements, not over four."""
    ours, _ = errors(SMOOTH[name], case.spacing_mm, times=12)
    assert np.percentile(np.abs(ours), 95) <= case.most_of_them_mm
    assert ours.min() >= -case.largest_short_mm
    assert ours.max() <= case.largest_long_mm
    if case is MEASURED[0]:
        assert np.mean(ours > 0.03) <= 1 / 25_000


@pytest.mark.parametrize("name", BODIES)
def test_thick_slices_are_seldom_and_little_too_long(name):
    ours, plain = errors(SMOOTH[name], (0.7, 0.7, 2.5), rivals=True)
    if name == "ball 4":  # three slices do not hold its shape
        assert np.abs(ours).max() <= 0.85 * np.abs(plain).max()
    else:
        assert np.percentile(np.abs(ours), 95) <= 0.65
        assert ours.max() <= 0.30
        assert np.abs(ours).max() <= 0.6 * np.abs(plain).max()


def test_the_words_carry_the_figures_of_the_right_case():
    assert distance_error_of((0.4, 0.4, 0.8)) is MEASURED[0]
    assert distance_error_of((1.0, 0.5, 0.5)) is MEASURED[0]  # slices along another axis
    assert distance_error_of((0.7, 0.7, 2.5)) is MEASURED[1]
    assert "0.25 mm" in distance_error_words((0.5, 0.5, 1.0))
    assert "coarser: expect more" in distance_error_words((1.0, 1.0, 5.0))
    assert "coarser: expect more" not in distance_error_words((0.7, 0.7, 2.5))


def test_inside_and_far_outside():
    ball = Sphere([0, 0, 0], 10.0)
    field = distance_field_of_mask(voxels(ball, (0.5, 0.5, 1.0), np.zeros(3)))
    assert field.signed_distance_mm([0, 0, 0])[0] == pytest.approx(-10.0, abs=0.4)
    far = field.signed_distance_mm([[200.0, 0, 0], [0, -150.0, 0], [90.0, 90.0, 90.0]])
    truth = ball.signed_distance_mm([[200.0, 0, 0], [0, -150.0, 0], [90.0, 90.0, 90.0]])
    # beyond the grid the distance to the box around the ball: short, but for rounding
    assert np.all(far <= truth + 0.01)
    assert far[:2] == pytest.approx(truth[:2], abs=0.6)


def test_corners_of_an_oblique_solid_s_box_are_not_too_long():
    """Beyond the rim straight steps over 4 mm: less what they add, never over the closed form."""
    axes = np.linalg.qr(np.array([[1.0, 0.3, 0.2], [1.0, -0.8, 0.1], [1.0, 0.2, -0.9]]))[0]
    axes = axes if np.linalg.det(axes) > 0 else -axes
    solid = Ellipsoid([0, 0, 0], [4.0, 20.0, 4.0], axes)
    field = distance_field_of_mask(voxels(solid, (0.5, 0.5, 1.0), np.array([0.2, 0.1, 0.4])))
    grid = field.distances.grid
    ijk = np.random.default_rng(8).integers(0, grid.shape, (20000, 3))
    off = field.distances.values[tuple(ijk.T)] - solid.signed_distance_mm(
        grid.lps_from_ijk.points(ijk)
    )
    beyond = field.distances.values[tuple(ijk.T)] > 27.0
    assert beyond.sum() > 2000
    assert off[beyond].max() <= 0.03
    assert off[beyond].min() >= -0.40 - 0.1 - 3 * 4.0**2 / (8 * 25.0)


def test_surface_as_outline_within_a_quarter_millimetre():
    import trimesh

    from vertebloc.space.surfaces import TriangleSurface

    mesh = trimesh.creation.icosphere(subdivisions=5, radius=9.0)
    surface = TriangleSurface(mesh.vertices, mesh.faces)
    field = distance_field_of_surface(surface)
    rng = np.random.default_rng(3)
    points = rng.uniform(-25, 25, (20000, 3))
    truth = np.linalg.norm(points, axis=1) - 9.0
    assert np.abs(field.signed_distance_mm(points) - truth).max() <= 0.25


def test_mask_of_surface_against_the_closed_form_of_a_ring():
    import trimesh

    from vertebloc.space.surfaces import TriangleSurface

    mesh = trimesh.creation.torus(
        major_radius=10.0, minor_radius=4.0, major_sections=96, minor_sections=64
    )
    turn = trimesh.transformations.rotation_matrix(0.7, [1, 2, 3])
    mesh.apply_transform(turn)
    matrix = np.diag([0.8, 0.8, 0.8, 1.0])
    matrix[:3, 3] = -16.0
    grid = Grid.from_matrix((40, 40, 40), matrix)
    mask = mask_of_surface(TriangleSurface(mesh.vertices, mesh.faces), grid)
    volume = mask.values.sum() * grid.voxel_volume_mm3
    assert volume == pytest.approx(mesh.volume, rel=0.02)
    x, y, z = (grid.centres() @ turn[:3, :3]).T
    distance = np.hypot(np.hypot(x, y) - 10.0, z) - 4.0
    flat = np.asarray(mask.values).reshape(-1)
    assert flat[distance < -0.05].all()  # the ring's facets lie up to 0.02 mm inside
    assert not flat[distance > 0.05].any()


@pytest.mark.parametrize("mirror", [False, True])
def test_surface_from_mask_is_closed_outward_and_true_to_volume(mirror):
    solid = Ellipsoid([1.0, -2.0, 0.5], [12.0, 9.0, 7.0])
    mask = voxels(solid, (0.5, 0.5, 1.0), np.array([0.2, 0.1, 0.4]))
    if mirror:  # a left-handed grid of the same voxels
        matrix = np.array(mask.grid.lps_from_ijk.matrix)
        matrix[:3, 3] += matrix[:3, 0] * (mask.grid.shape[0] - 1)
        matrix[:3, 0] *= -1.0
        mask = Volume(Grid.from_matrix(mask.grid.shape, matrix), mask.values[::-1])
    surface = surface_from_mask(mask, outward=False)
    assert surface.is_closed
    assert surface.volume_mm3 == pytest.approx(solid.volume_mm3, rel=0.01)
    assert np.abs(solid.signed_distance_mm(surface.vertices)).max() < 0.35


def test_mask_cut_by_the_edge_of_its_grid_is_closed_there():
    grid = Grid.from_matrix((20, 20, 10), np.diag([0.5, 0.5, 1.0, 1.0]))
    full = Volume(grid, np.ones(grid.shape, dtype=bool))
    surface = surface_from_mask(full, outward=False)
    assert surface.is_closed
    assert surface.volume_mm3 == pytest.approx(10 * 10 * 10, rel=0.1)


def test_sharp_boxes_are_worse_and_that_is_known():
    """Not promised: a flat end may lie anywhere between two slices, corners come out rounded."""
    rng = np.random.default_rng(5)
    solid = Box([0, 0, 0], [9.0, 7.0, 6.0])
    mask = voxels(solid, (0.5, 0.5, 1.0), rng.uniform(0, 1, 3) * [0.5, 0.5, 1.0])
    points = rng.uniform(-20, 20, (20000, 3))
    truth = solid.signed_distance_mm(points)
    keep = truth > 0
    off = distance_field_of_mask(mask).signed_distance_mm(points[keep]) - truth[keep]
    assert off.max() > 0.03  # were this to hold one day, the sheet could promise more
    assert np.abs(off).max() < 1.0


def test_empty_and_tilted_masks_are_refused():
    grid = Grid.from_matrix((5, 5, 5), np.eye(4))
    with pytest.raises(InputError, match="empty"):
        distance_field_of_mask(Volume(grid, np.zeros((5, 5, 5), dtype=bool)))
    tilted = np.eye(4)
    tilted[1, 2] = 0.3
    sheared = Grid.from_matrix((5, 5, 5), tilted)
    with pytest.raises(InputError, match="perpendicular"):
        distance_field_of_mask(Volume(sheared, np.ones((5, 5, 5), dtype=bool)))


def test_far_nodes_beyond_the_last_are_not_read():
    """On a grid whose last nodes lie on far ones there is nothing beyond: memory must not count.

    The far nodes are the first part of a larger array whose other part says "very far".
    """
    memory = np.full((4, 3, 3), 1e6, dtype=np.float32)
    memory[:3] = 0.5
    nearest = np.full((9, 9, 9), -1, dtype=np.int32)
    distances = np.zeros(nearest.shape, dtype=np.float32)
    _kernels.leave_out_far(memory[:3], 4, np.ones(3), 12.0, nearest, distances)
    assert (nearest == -1).all()
