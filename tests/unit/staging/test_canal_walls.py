"""The canal's wall on rays that meet it, and on rays that leave through a gap."""

import numpy as np
import pytest

from vertebloc.staging._kernels import canal_walls

STEP_MM, WALL_RATIO = 0.5, 1.8


def bone_from(walls_mm, outer_mm):
    """Bone between a wall radius, (planes, rays), and an outer radius; inf: no bone."""
    radii = (np.arange(80) + 0.5) * STEP_MM
    walls = np.asarray(walls_mm, dtype=float)[:, :, None]
    return (radii > walls) & (radii < outer_mm)


def test_wall_and_outer_surface_are_where_bone_begins_and_ends():
    wall, outer, own = canal_walls(bone_from([[8.0, 9.0], [10.0, 8.5]], 30.0), STEP_MM, WALL_RATIO)
    assert wall == pytest.approx(np.array([[8.0, 9.0], [10.0, 8.5]]))
    assert outer == pytest.approx(np.full((2, 2), 30.0))
    assert own.all()


def test_a_gap_takes_the_wall_of_the_nearest_plane():
    gap = np.inf
    rays = [[8.0, 8.0], [8.0, gap], [8.0, gap], [8.0, gap], [8.0, 10.0]]
    wall, _, own = canal_walls(bone_from(rays, 30.0), STEP_MM, WALL_RATIO)
    assert wall[:, 1] == pytest.approx([8.0, 8.0, 8.0, 10.0, 10.0])
    assert own[:, 1].tolist() == [True, False, False, False, True]


def test_bone_far_beyond_a_gap_is_no_wall():
    wall, outer, own = canal_walls(
        bone_from([[8.0, 8.0, 8.0], [8.0, 25.0, 8.0]], 30.0), STEP_MM, WALL_RATIO
    )
    assert wall[1] == pytest.approx([8.0, 8.0, 8.0])
    assert outer[1] == pytest.approx([30.0, 30.0, 30.0])
    assert not own[1, 1]


def test_a_ray_open_in_every_plane_lies_between_its_neighbours_all_the_way_round():
    gap = np.inf
    wall, _, _ = canal_walls(bone_from([[gap, 8.0, 9.0, 10.0]], 30.0), STEP_MM, WALL_RATIO)
    assert wall[0] == pytest.approx([9.0, 8.0, 9.0, 10.0])  # between the last (10) and 8


def test_no_bone_at_all_is_no_wall():
    _, _, own = canal_walls(np.zeros((2, 4, 80), dtype=bool), STEP_MM, WALL_RATIO)
    assert not own.any()
