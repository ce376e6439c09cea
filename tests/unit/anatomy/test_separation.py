"""Vertebrae that share one label, against the label each was painted with."""

from __future__ import annotations

import numpy as np
import pytest

from vertebloc.anatomy.canal import find_canal
from vertebloc.anatomy.outlines import mask_points, outline_mask
from vertebloc.anatomy.separation import (
    BodyProfile,
    find_discs,
    grow_from_seeds,
    measure_body_profile,
    separate_vertebrae,
)
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.space.grids import Grid, Volume


def separate(spine, tumour=None):
    contours = spine.contours(withheld=True)
    canal = find_canal(contours)
    bone = outline_mask(contours, (Contour(Structure.VERTEBRA),))
    profile = measure_body_profile((bone,) if tumour is None else (bone, tumour), canal)
    return separate_vertebrae(bone, canal, profile)


def overlaps(spine, parts):
    """Dice of each part with the vertebra it holds most of, and that vertebra's value."""
    found = []
    for part in parts:
        index = spine.grid.lps_from_ijk.inverse.points(mask_points(part)).round().astype(int)
        values, counts = np.unique(spine.labels[tuple(index.T)], return_counts=True)
        value = int(values[np.argmax(counts)])
        whole = np.count_nonzero(spine.labels == value)
        found.append((value, 2 * counts.max() / (len(index) + whole)))
    return found


def test_each_vertebra_comes_out_from_head_to_feet(arc):
    spine = arc.make_spine(arc.THORACIC[:6], ribs=())
    found = overlaps(spine, separate(spine))
    assert [value for value, _ in found] == [10, 11, 12, 13, 14, 15]
    assert min(dice for _, dice in found) > 0.95


def test_nothing_is_given_to_two_vertebrae_and_nothing_is_lost(arc):
    spine = arc.make_spine(ribs=())
    parts = separate(spine)
    assert sum(np.count_nonzero(p.values) for p in parts) == np.count_nonzero(
        (spine.labels >= 10) & (spine.labels < 100)
    )


def test_a_body_destroyed_by_tumour_is_no_gap(arc):
    spine = arc.make_spine(arc.THORACIC[:6], ribs=())
    local = spine.local(spine.grid.centres()).reshape(*spine.grid.shape, 3)
    x, y, s = np.moveaxis(local, 3, 0)
    height = s - spine.height_mm("T3")
    gone = (np.hypot(x, y + 22) < 13) & (np.abs(height) < 9)
    spine.labels[gone] = 0
    parts = separate(spine, Volume(spine.grid, gone))
    assert len(parts) == 6
    assert [value for value, _ in overlaps(spine, parts)] == [10, 11, 12, 13, 14, 15]


def test_a_disc_bridged_by_bone_is_found_by_the_spacing_of_the_others(arc):
    spine = arc.make_spine(arc.THORACIC[:6], ribs=())
    local = spine.local(spine.grid.centres()).reshape(*spine.grid.shape, 3)
    x, y, s = np.moveaxis(local, 3, 0)
    disc = (spine.height_mm("T3") + spine.height_mm("T4")) / 2
    bridge = (np.abs(s - disc) < 4) & (np.hypot(x, y + 22) < 13) & (x > -4)
    spine.paint(12, bridge)
    assert len(separate(spine)) == 6


def test_seeds_meet_in_the_neck_even_if_one_starts_far_from_it():
    """Two blocks joined by a thin post: one seed 21 mm from it, the other 2.5 mm."""
    grid = Grid.from_matrix((80, 40, 100), np.diag([0.5, 0.5, 0.5, 1.0]))
    values = np.zeros(grid.shape, dtype=bool)
    values[:, :, :45] = values[:, :, 55:] = True
    values[38:42, 18:22, 45:55] = True
    seeds = np.zeros(grid.shape, dtype=np.int32)
    seeds[40, 20, 2], seeds[40, 20, 60] = 1, 2
    grown = grow_from_seeds(Volume(grid, values), seeds)
    assert (grown[:, :, :45] == 1).all()
    assert (grown[:, :, 55:] == 2).all()


def test_seeds_reach_nothing_they_are_not_joined_to():
    grid = Grid.from_matrix((9, 3, 3), np.eye(4))
    values = np.ones(grid.shape, dtype=bool)
    values[4] = False
    seeds = np.zeros(grid.shape, dtype=np.int32)
    seeds[0, 1, 1] = 5
    grown = grow_from_seeds(Volume(grid, values), seeds)
    assert (grown[:4] == 5).all()
    assert not grown[4:].any()
    assert not grow_from_seeds(Volume(grid, values), np.zeros_like(seeds)).any()


def profile_of(share):
    s = np.arange(len(share), dtype=float)
    return BodyProfile(s, np.zeros((len(s), 3)), np.asarray(share, dtype=float))


def row_of_bodies(depths, pitch=25, gap=5):
    """Bodies with a disc of given depth between each two, nothing at the ends."""
    share = np.zeros(40)
    for depth in (*depths, None):
        share = np.concatenate([share, np.ones(pitch - gap)])
        share = np.concatenate([share, np.zeros(40) if depth is None else np.full(gap, depth)])
    return profile_of(share)


def test_discs_lie_in_the_dips():
    discs = find_discs(row_of_bodies([0.2, 0.1, 0.3]))
    # bone from 40: bodies of 20, dips of 5 around 62.5, 87.5, 112.5, end at 135
    assert np.allclose(discs[1:-1], [62, 87, 112], atol=1.0)
    assert np.allclose(discs[[0, -1]], [40, 135], atol=3.0)  # the ends, smoothed over 3 mm


def test_a_shallow_disc_among_deep_ones_is_one():
    assert len(find_discs(row_of_bodies([0.1, 0.75, 0.1, 0.1]))) == 6


def test_a_dip_inside_a_body_is_none():
    share = row_of_bodies([0.1, 0.1, 0.1, 0.1]).bone_share.copy()
    share[73:77] = 0.6  # basivertebral vein in the second body
    discs = find_discs(profile_of(share))
    assert len(discs) == 6
    assert np.abs(discs - 75).min() > 9


@pytest.mark.parametrize("share", [np.zeros(100), np.ones(100)])
def test_without_a_dip_there_is_no_disc(share):
    assert len(find_discs(profile_of(share))) == 0
