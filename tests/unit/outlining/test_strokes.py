"""Strokes on slices of any direction, against counts and shapes worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from vertebloc.errors import InputError
from vertebloc.outlining.model import OutlineMask, Stroke
from vertebloc.outlining.strokes import draw, half_slice_mm, voxels_of_stroke
from vertebloc.space.grids import Grid

OBLIQUE = np.array([0.48, -0.6, 0.64])  # 0.2304 + 0.36 + 0.4096 = 1


def grid_of(
    spacing=(1.0, 1.0, 2.0), shape=(60, 50, 40), *, left_handed=False, origin=(7, -90, 300)
):
    matrix = np.eye(4)
    matrix[:3, :3] = np.diag(spacing)
    if left_handed:
        matrix[0, 0] *= -1
    matrix[:3, 3] = origin
    return Grid.from_matrix(shape, matrix)


def at(grid, *index):
    return grid.lps_from_ijk.points(np.array(index, dtype=float))[0]


@pytest.mark.parametrize("left_handed", [False, True])
def test_a_point_touches_the_disc_of_its_own_slice(left_handed):
    """Lattice points within 3 of the origin: 29 (the circle problem of Gauss, OEIS A000328)."""
    grid = grid_of(left_handed=left_handed)
    stroke = Stroke(at(grid, 30, 25, 20), np.array([0.0, 0.0, 1.0]), 3.0)
    touched = voxels_of_stroke(grid, stroke)
    assert touched.count == 29
    assert touched.start == (27, 22, 20) and touched.stop == (34, 29, 21)


def test_between_two_slices_one_is_taken():
    grid = grid_of()
    for shift in (-0.5, 0.5):
        stroke = Stroke(at(grid, 30, 25, 20 + shift), np.array([0.0, 0.0, 1.0]), 1.0)
        touched = voxels_of_stroke(grid, stroke)
        assert touched.count == 5 and touched.inside.shape[2] == 1


def test_a_line_touches_as_much_as_its_area():
    """A line with a round tip covers pi r2 + 2 r l: a slice of 1 x 1 mm holds as many voxels."""
    grid = grid_of(shape=(200, 200, 10))
    ends = np.array([at(grid, 40.2, 50.7, 5), at(grid, 139.6, 110.4, 5)])
    touched = voxels_of_stroke(grid, Stroke(ends, np.array([0.0, 0.0, 1.0]), 8.0))
    area = np.pi * 64 + 16 * np.linalg.norm(ends[1] - ends[0])
    assert touched.count == pytest.approx(area, rel=0.01)  # edge voxels: about sqrt(perimeter)


def test_an_oblique_slice_takes_the_voxels_it_passes_through():
    """Against every voxel's eight corners: on both sides of the slice, or none."""
    grid = grid_of()
    middle = at(grid, 30.3, 25.1, 20.2)
    touched = voxels_of_stroke(grid, Stroke(middle, OBLIQUE, 9.0)).on_box((0, 0, 0), grid.shape)
    corners = np.array([[i, j, k] for i in (-1, 1) for j in (-1, 1) for k in (-1, 1)]) / 2.0
    index = np.indices(grid.shape, dtype=float).reshape(3, -1).T
    heights = [(grid.lps_from_ijk.points(index + c) - middle) @ OBLIQUE for c in corners]
    passes = (np.min(heights, axis=0) < 0) & (np.max(heights, axis=0) > 0)
    away = grid.lps_from_ijk.points(index) - middle
    flat = away - np.outer(away @ OBLIQUE, OBLIQUE)
    expected = passes & (np.linalg.norm(flat, axis=1) <= 9.0)
    assert np.array_equal(touched.reshape(-1), expected)
    assert half_slice_mm(grid, OBLIQUE) == pytest.approx((0.48 + 0.6 + 2 * 0.64) / 2)


def test_a_loop_is_filled_and_its_hollow_is_not():
    grid = grid_of(shape=(60, 60, 10))
    corners = [(10, 10), (40, 10), (40, 40), (25, 40), (25, 20), (20, 20), (20, 40), (10, 40)]
    loop = np.array([at(grid, i - 0.5, j - 0.5, 4) for i, j in corners])
    filled = voxels_of_stroke(grid, Stroke(loop, np.array([0.0, 0.0, 1.0]), 0.0))
    assert filled.count == 30 * 30 - 5 * 20  # the notch is 5 wide and 20 deep
    notch = filled.on_box((20, 20, 4), (25, 40, 5))
    assert not notch.any()
    turned = voxels_of_stroke(grid, Stroke(loop[::-1], np.array([0.0, 0.0, -1.0]), 0.0))
    assert turned.is_same(filled)


def test_drawing_adds_rubbing_out_takes_away_and_the_edge_of_the_images_holds():
    grid = grid_of()
    up = np.array([0.0, 0.0, 1.0])
    mask = draw(OutlineMask.empty(), grid, Stroke(at(grid, 0, 0, 39), up, 3.0))
    assert mask.count == 11  # a quarter of the 29, with both half axes
    more = draw(mask, grid, Stroke(at(grid, 4, 0, 39), up, 1.0))
    assert more.count > mask.count
    assert draw(more, grid, Stroke(at(grid, 4, 0, 39), up, 1.0), rub_out=True).count < more.count
    gone = draw(more, grid, Stroke(at(grid, 2, 2, 39), up, 20.0), rub_out=True)
    assert gone.is_empty
    outside = draw(mask, grid, Stroke(at(grid, -50, 0, 39), up, 3.0))
    assert outside.is_same(mask)


def test_set_laws_of_masks(rng):
    for _ in range(20):
        one, other = (
            OutlineMask.of(rng.integers(0, 4, 3), rng.random((4, 5, 3)) < 0.3) for _ in range(2)
        )
        flip = one.flipped(other)
        assert one.flipped(flip).is_same(other) and other.flipped(flip).is_same(one)
        assert one.united(other).count == one.count + other.without(one).count
        assert one.without(one).is_empty and one.united(OutlineMask.empty()).is_same(one)


@pytest.mark.parametrize(
    ("points", "normal", "radius", "said"),
    [
        (np.zeros((0, 3)), (0, 0, 1), 2.0, "at least one point"),
        (np.full((1, 3), np.nan), (0, 0, 1), 2.0, "finite"),
        (np.zeros((1, 3)), (0, 0, 2), 2.0, "unit length"),
        (np.zeros((1, 3)), (0, 0, 1), 500.0, "0 to 100 mm"),
        (np.zeros((2, 3)), (0, 0, 1), 0.0, "three points"),
    ],
)
def test_what_cannot_have_been_drawn_is_refused_in_one_line(points, normal, radius, said):
    with pytest.raises(InputError, match=said) as caught:
        Stroke(points, np.array(normal, float), radius)
    assert "\n" not in str(caught.value)
