"""Tools that fill, spread, finish and tidy outlines, against closed forms and other libraries."""

from __future__ import annotations

import numpy as np
import pytest
import SimpleITK

from vertebloc.errors import InputError
from vertebloc.outlining.bridging import bridge_slices
from vertebloc.outlining.finishing import finish_outline
from vertebloc.outlining.model import OutlineMask, Stroke
from vertebloc.outlining.spreading import SpreadLimits, limits_of, spread_inside
from vertebloc.outlining.strokes import draw, voxels_of_stroke
from vertebloc.outlining.tidying import drop_crumbs, soften_edge
from vertebloc.space.grids import Grid, Volume

UP = np.array([0.0, 0.0, 1.0])
OBLIQUE = np.array([0.48, -0.6, 0.64])


def grid_of(spacing=(1.0, 1.0, 1.0), shape=(80, 80, 60)):
    matrix = np.eye(4)
    matrix[:3, :3] = np.diag(spacing)
    matrix[:3, 3] = (-40.0, 12.0, 300.0)
    return Grid.from_matrix(shape, matrix)


def middle_of(grid):
    return grid.lps_from_ijk.points((np.array(grid.shape) - 1.0) / 2.0)[0]


def lps(grid, *index):
    return grid.lps_from_ijk.points(np.array(index, float))[0]


def solid(grid, inside):
    """Voxels whose centres satisfy a condition on (n, 3) points from the grid's middle."""
    away = grid.centres() - middle_of(grid)
    return OutlineMask.of((0, 0, 0), inside(away).reshape(grid.shape))


def dice(one, other):
    return 2 * one.count - 2 * one.without(other).count, one.count + other.count


# ---- bridging ------------------------------------------------------------------------------


def test_between_two_discs_about_one_axis_radii_go_evenly():
    """Closed form: signed distances of concentric discs are r - rho, so radii interpolate."""
    grid = grid_of()
    mask = draw(OutlineMask.empty(), grid, Stroke(lps(grid, 40, 40, 10), UP, 20.0))
    mask = draw(mask, grid, Stroke(lps(grid, 40, 40, 40), UP, 8.0))
    bridged = bridge_slices(mask, grid, UP)
    for k in range(11, 40):
        radius = 20.0 - 12.0 * (k - 10) / 30.0
        area = bridged.on_box((0, 0, k), (80, 80, k + 1)).sum()
        # the edge is known to half a pixel: what is drawn is that good
        assert np.pi * (radius - 0.6) ** 2 < area < np.pi * (radius + 0.6) ** 2
    assert bridged.on_box((0, 0, 0), (80, 80, 10)).sum() == 0
    assert bridged.on_box((0, 0, 41), (80, 80, 60)).sum() == 0
    for k in (10, 40):  # what was drawn stays
        box = ((0, 0, k), (80, 80, k + 1))
        assert np.array_equal(bridged.on_box(*box), mask.on_box(*box))


def test_midway_between_two_equal_discs_apart_lies_an_ellipse():
    """Closed form: |x - a| + |x - b| <= 2 r, an ellipse with the two middles for foci."""
    grid = grid_of()
    radius, apart = 16.0, 20.0
    mask = draw(OutlineMask.empty(), grid, Stroke(lps(grid, 30, 40, 10), UP, radius))
    mask = draw(mask, grid, Stroke(lps(grid, 50, 40, 20), UP, radius))
    layer = bridge_slices(mask, grid, UP).on_box((0, 0, 15), (80, 80, 16))[:, :, 0]
    half_wide = np.flatnonzero(layer[:, 40]).size / 2.0
    half_high = np.flatnonzero(layer[40, :]).size / 2.0
    assert half_wide == pytest.approx(radius, abs=0.75)
    assert half_high == pytest.approx(np.sqrt(radius**2 - (apart / 2.0) ** 2), abs=0.75)


@pytest.mark.parametrize("spacing", [(1.0, 1.0, 1.0), (0.7, 0.7, 2.5)])
def test_slices_of_any_direction_are_bridged(spacing):
    grid = grid_of(spacing, (80, 80, 40))
    middle = middle_of(grid)
    mask = OutlineMask.empty()
    for height, radius in ((-9.0, 12.0), (9.0, 6.0)):
        mask = draw(mask, grid, Stroke(middle + height * OBLIQUE, OBLIQUE, radius))
    bridged = bridge_slices(mask, grid, OBLIQUE)
    # a blunt cone: volume pi h (R2 + R r + r2) / 3 between the two slices
    expected = solid(
        grid,
        lambda away: (
            (np.abs(away @ OBLIQUE) <= 9.0)
            & (
                np.linalg.norm(away - np.outer(away @ OBLIQUE, OBLIQUE), axis=1)
                <= 9.0 - 3.0 * (away @ OBLIQUE) / 9.0
            )
        ),
    )
    both, sizes = dice(bridged, expected)
    assert both / sizes > 0.9  # the drawn slices themselves are a voxel thick
    volume = expected.count * grid.voxel_volume_mm3
    assert volume == pytest.approx(np.pi * 18.0 * (144 + 72 + 36) / 3.0, rel=0.02)
    filled = bridged.without(expected).count + expected.without(bridged).count
    assert filled < 0.2 * expected.count


def test_without_a_gap_there_is_nothing_to_bridge():
    grid = grid_of()
    mask = draw(OutlineMask.empty(), grid, Stroke(lps(grid, 40, 40, 10), UP, 5.0))
    with pytest.raises(InputError, match="no gap"):
        bridge_slices(mask, grid, UP)
    with pytest.raises(InputError, match="nothing is drawn"):
        bridge_slices(OutlineMask.empty(), grid, UP)


# ---- spreading -----------------------------------------------------------------------------


def noisy_ball(grid, rng, radius_mm=12.0):
    away = np.linalg.norm(grid.centres() - middle_of(grid), axis=1).reshape(grid.shape)
    values = np.where(away <= radius_mm, 100.0, 0.0) + rng.normal(0.0, 12.0, grid.shape)
    return Volume(grid, values.astype(np.float32)), away


def test_spreading_is_connected_thresholding_as_simpleitk_does_it(rng):
    """SimpleITK 2.5, ConnectedThreshold, face to face, from the same seed."""
    grid = grid_of(shape=(50, 50, 40))
    images, _ = noisy_ball(grid, rng)
    seed = OutlineMask.of((24, 24, 20), np.ones((1, 1, 1), bool))
    limits = SpreadLimits(low=70.0, high=500.0, reach_mm=100.0)
    found = spread_inside(seed, images, limits, OutlineMask.empty())
    image = SimpleITK.GetImageFromArray(np.asarray(images.values))
    theirs = SimpleITK.ConnectedThreshold(image, [(20, 24, 24)], 70.0, 500.0)
    expected = SimpleITK.GetArrayFromImage(theirs) != 0
    expected[24, 24, 20] = True
    assert np.array_equal(found.on_box((0, 0, 0), grid.shape), expected)


def test_neither_reach_nor_fence_is_passed(rng):
    grid = grid_of((1.0, 1.0, 2.0), (60, 60, 40))
    images, away = noisy_ball(grid, rng, 20.0)
    seed = draw(OutlineMask.empty(), grid, Stroke(middle_of(grid), UP, 2.0))
    fence = OutlineMask.of((33, 0, 0), np.ones((1, 60, 40), bool))
    limits = SpreadLimits(low=50.0, high=500.0, reach_mm=8.0)
    found = spread_inside(seed, images, limits, fence)
    held = found.on_box((0, 0, 0), grid.shape)
    assert held[:33].sum() > 500 and held[33:].sum() == 0  # behind the fence nothing is joined
    assert away[held].max() <= 2.0 + 8.0 + 1.5  # reach from the stroke's outermost middle
    assert limits_of(found, images).low == pytest.approx(100 - 1.645 * 12, abs=4)  # 5 % quantile
    with pytest.raises(InputError, match="empty"):
        SpreadLimits(low=5.0, high=4.0)


# ---- finishing -----------------------------------------------------------------------------


def test_a_ball_is_finished_from_two_strokes(rng):
    """Step of 100, noise 12: an edge of 8 noises is found to half a voxel almost everywhere."""
    grid = grid_of(shape=(60, 60, 50))
    images, away = noisy_ball(grid, rng, 10.0)
    ball = OutlineMask.of((0, 0, 0), away <= 10.0)
    stroke = Stroke(middle_of(grid) + np.array([[-6.0, 0, 0], [6.0, 0, 0]]), UP, 2.0)
    inside = voxels_of_stroke(grid, stroke)
    found = finish_outline(inside, OutlineMask.empty(), images)
    both, sizes = dice(found, ball)
    assert both / sizes > 0.95
    assert inside.without(found).is_empty


def test_a_stroke_outside_stays_outside(rng):
    grid = grid_of(shape=(60, 60, 50))
    images, _ = noisy_ball(grid, rng, 14.0)
    inside = voxels_of_stroke(grid, Stroke(middle_of(grid), UP, 3.0))
    ring = np.array([[10.0, -8.0, 0], [10.0, 8.0, 0]])
    outside = voxels_of_stroke(grid, Stroke(middle_of(grid) + ring, UP, 1.5))
    free = finish_outline(inside, OutlineMask.empty(), images)
    held = finish_outline(inside, outside, images)
    assert outside.without(free).count < outside.count
    assert held.without(outside).is_same(held) and held.count < free.count
    with pytest.raises(InputError, match="no stroke inside"):
        finish_outline(inside, inside, images)


# ---- tidying -------------------------------------------------------------------------------


def test_crumbs_go_and_the_largest_piece_stays():
    grid = grid_of()
    big = solid(grid, lambda away: np.linalg.norm(away, axis=1) <= 8.0)
    crumbs = big
    for at in ((2, 2, 2), (70, 70, 50)):
        crumbs = crumbs.united(OutlineMask.of(at, np.ones((3, 3, 3), bool)))  # 0.027 ml
    assert drop_crumbs(crumbs, grid, 0.1).is_same(big)
    only = OutlineMask.of((2, 2, 2), np.ones((2, 2, 2), bool))
    with pytest.raises(InputError, match=r"no piece smaller than 0\.1 ml"):
        drop_crumbs(only, grid, 0.1)


@pytest.mark.parametrize("spacing", [(1.0, 1.0, 1.0), (0.8, 0.8, 1.5)])
def test_softening_keeps_a_ball_and_never_moves_an_edge_too_far(spacing, rng):
    """Smoothed by sigma, a ball of radius r shrinks by about sigma2 / r: 3 sigma2 / r2 of volume.

    How far each voxel's change lies from the edge is SimpleITK's to say (Maurer distances).
    """
    grid = grid_of(spacing, (70, 70, 60))
    ball = solid(grid, lambda away: np.linalg.norm(away, axis=1) <= 20.0)
    bumps = OutlineMask.of((0, 0, 0), rng.random(grid.shape) < 0.5)
    rough = ball.flipped(  # every other voxel of the rim is wrong
        OutlineMask.of((0, 0, 0), bumps.on_box((0, 0, 0), grid.shape)
                       & (np.abs(np.linalg.norm(grid.centres() - middle_of(grid), axis=1)
                                 - 20.0) < 1.0).reshape(grid.shape))
    )  # fmt: skip
    at_most = 2.0
    softened = soften_edge(rough, grid, at_most)
    shrinks = 3.0 * at_most**2 / 20.0**2
    assert softened.count == pytest.approx(ball.count * (1.0 - shrinks), rel=0.02)
    inside = rough.on_box((0, 0, 0), grid.shape).astype(np.uint8)
    image = SimpleITK.GetImageFromArray(inside)
    image.SetSpacing([float(mm) for mm in grid.spacing_mm[::-1]])
    within = SimpleITK.GetArrayFromImage(
        SimpleITK.DanielssonDistanceMap(1 - image, useImageSpacing=True)
    )
    beyond = SimpleITK.GetArrayFromImage(
        SimpleITK.DanielssonDistanceMap(image, useImageSpacing=True)
    )
    changed = softened.flipped(rough).on_box((0, 0, 0), grid.shape)
    assert changed.any()
    assert np.maximum(within, beyond)[changed].max() <= at_most + 1e-4
    edge = lambda mask: mask.flipped(ball).count  # noqa: E731
    assert edge(softened) < 0.5 * edge(rough)  # nearer to the ball than the rough one


def test_softening_says_when_it_changes_nothing():
    grid = grid_of()
    slab = OutlineMask.of((0, 0, 0), np.ones((80, 80, 20), bool))
    with pytest.raises(InputError, match="even already"):
        soften_edge(slab, grid, 1.0)
    with pytest.raises(InputError, match="at most 10"):
        soften_edge(slab, grid, 20.0)


def test_what_lies_deeper_than_was_said_stays_however_thin():
    """Smoothed by 2 mm, a ball of 3 mm vanishes: the mean of |x| is 2 sigma sqrt(2 / pi) = 3.2."""
    grid = grid_of()
    ball = solid(grid, lambda away: np.linalg.norm(away, axis=1) <= 3.0)
    heart = solid(grid, lambda away: np.linalg.norm(away, axis=1) <= 1.0)
    assert heart.count > 0 and heart.without(soften_edge(ball, grid, 2.0)).is_empty


def test_a_stroke_outside_in_the_middle_of_the_outline_stays_outside(rng):
    """Hollows are filled, but not those that a hand made."""
    grid = grid_of(shape=(60, 60, 50))
    images, _ = noisy_ball(grid, rng, 10.0)
    ring = np.array([[-6.0, -6, 0], [6, -6, 0], [6, 6, 0], [-6, 6, 0], [-6, -6, 0]])
    inside = voxels_of_stroke(grid, Stroke(middle_of(grid) + ring, UP, 1.5))
    for height in (-5.0, 5.0):  # and a lid above and below
        inside = draw(inside, grid, Stroke(middle_of(grid) + height * UP, UP, 6.0))
    outside = voxels_of_stroke(grid, Stroke(middle_of(grid), UP, 1.5))
    found = finish_outline(inside, outside, images)
    assert found.count > 1000 and outside.without(found).is_same(outside)
