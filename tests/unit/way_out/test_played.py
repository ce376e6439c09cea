"""A way out as it is played, against distances of a square and a circle worked out by hand."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from vertebloc.way_out.model import Path
from vertebloc.way_out.played import play, six_moments


@pytest.fixture(scope="module")
def hand(way_out_by_hand):
    return way_out_by_hand


@pytest.fixture(scope="module")
def played(hand):
    return play(hand.hand_path(), hand.hand_room().room, hand.SETTINGS)


def test_clearances_are_the_paths_own(hand, played):
    for pose, room in zip(played.poses, played.clearance_mm, strict=True):
        assert room == pytest.approx(hand.room_to_sac_mm(*pose), abs=1e-12)
    assert played.poses[0].tolist() == [0.0, 0.0, 0.0]
    assert played.poses[-1][:2].tolist() == [hand.ASIDE_MM, hand.BACK_MM]


def test_the_nearest_place_is_as_near_as_the_closed_form(hand, played):
    """Points lie 1 mm apart on both: no nearer than the truth, farther by 1.2 mm at most."""
    seen = np.linalg.norm(played.on_piece - played.on_sac, axis=1)
    assert np.all(seen >= played.clearance_mm - 0.02)  # 128 sides stand for the round sac
    assert np.all(seen <= played.clearance_mm + 1.2)
    off = np.hypot(played.on_sac[:, 0], played.on_sac[:, 1] - hand.SAC_Y_MM)
    assert np.allclose(off, hand.SAC_R_MM, atol=0.01)


def test_motions_carry_a_corner_where_a_compass_puts_it(played):
    for move, (x, y, turn) in zip(played.moves, played.poses, strict=True):
        corner = move[:, :3] @ [6.0, 6.0, 1.0] + move[:, 3]
        r, at = 6.0 * math.sqrt(2.0), math.pi / 4.0 + turn
        assert corner == pytest.approx([x + r * math.cos(at), y + r * math.sin(at), 1.0])


def test_a_tilt_alone_counts_as_way_of_the_farthest_corner(hand):
    """A corner of the block at (6, 6, 8) leaned by 10 degrees about x, then lifted by 2 mm.

    It moves by no more than its distance from the middle times the angle, then by the lift; what
    is told is no less than it moves.
    """
    tilts = np.array([[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [10.0, 0.0, -2.0]])
    path = Path(
        poses=np.zeros((3, 3)), tilts=tilts, clearance_mm=np.full(3, 3.0), gone_mm=np.zeros(3),
        narrowest=1,
    )  # fmt: skip
    found = play(path, hand.hand_room().room, hand.SETTINGS)
    told = math.sqrt(36.0 + 36.0 + 64.0) * math.radians(10.0)
    assert found.along_mm == pytest.approx([0.0, told, told + 2.0])
    moved = 2.0 * math.hypot(6.0, 8.0) * math.sin(math.radians(5.0))  # on its own circle about x
    corner = found.moves[1][:, :3] @ [6.0, 6.0, 8.0] + found.moves[1][:, 3]
    assert math.dist(corner, (6.0, 6.0, 8.0)) == pytest.approx(moved)
    assert moved <= told
    assert found.moves[2][2, 3] == -2.0


def test_what_is_wanted_rises_from_rest_to_r(hand, played):
    """From rest less tolerance (4 - 1 mm, but no more than r) to r, and stays there."""
    assert played.demanded_mm[0] == pytest.approx(min(2.0, played.clearance_mm[0] - 1.0))
    assert played.demanded_mm[-1] == hand.SETTINGS.least_mm


def test_six_moments_hold_rest_delivery_and_the_narrowest(played):
    moments = six_moments(played)
    assert len(moments) == 6 and list(moments) == sorted(moments)
    assert {0, played.narrowest, len(played.poses) - 1} <= set(moments)


def test_moments_stand_closer_where_piece_and_sac_are_near():
    """40 mm beside the sac and 160 mm far from it: 4 x 40 = 160, so half of them are beside it."""
    along = np.linspace(0.0, 200.0, 201)
    near = np.where(along <= 40.0, 3.0, 8.0)
    moments = six_moments(SimpleNamespace(along_mm=along, clearance_mm=near, narrowest=0))
    # 320 in all, 64 apart: 0, 64 / 4, 128 / 4, then 192 - 160 beyond 40 mm, and so on
    assert along[list(moments)].tolist() == pytest.approx([0.0, 16.0, 32.0, 72.0, 136.0, 200.0])
