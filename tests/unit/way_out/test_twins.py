"""A patient and the mirror twin: rooms and answers that were both worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vertebloc.space.frames import Side
from vertebloc.way_out import twins
from vertebloc.way_out.poses import Tilt, moves_of
from vertebloc.way_out.tilting import Tilted
from vertebloc.way_out.twins import (
    find_on_either_hand,
    mirrored_answer,
    mirrored_room,
    other_side,
)


def test_sides_change_over_in_words():
    assert other_side("left rib of T10, whole") == "right rib of T10, whole"
    assert other_side("searching ways out on the right") == "searching ways out on the left"
    assert other_side("bone of T9 that stays; leftover") == "bone of T9 that stays; leftover"


def test_the_room_is_the_twins_own(way_out_by_hand):
    """The twin's room is built anew by hand, from blocks on the other side."""
    mirrored = mirrored_room(way_out_by_hand.hand_room().room)
    twin = way_out_by_hand.hand_room(mirrored=True).room
    ours = {o.name: o for o in mirrored.obstacles}
    assert set(ours) == {o.name for o in twin.obstacles}
    for other in (*twin.obstacles, None):
        one = ours[other.name].surface if other else mirrored.piece
        built = other.surface if other else twin.piece
        if built is None:
            ends = np.sort(other.line[:, 0]), np.sort(ours[other.name].line[:, 0])
            assert ends[0] == pytest.approx(ends[1])
            continue
        assert one.volume_mm3 == pytest.approx(built.volume_mm3)  # outward as before
        for end in (np.min, np.max):
            assert end(one.vertices, axis=0) == pytest.approx(end(built.vertices, axis=0))
    for other in twin.obstacles:
        assert ours[other.name].part_of == other.part_of
        assert ours[other.name].sacrifice == other.sacrifice


def test_the_answer_is_the_twins_own(way_out_by_hand):
    back = mirrored_answer(way_out_by_hand.hand_way_out(mirrored=True))
    hand = way_out_by_hand.hand_way_out()
    assert (back.answer, back.side) == (hand.answer, Side.LEFT)
    assert back.best in back.ledger
    for ours, own in zip(back.ledger, hand.ledger, strict=True):
        assert (ours.side, ours.given_up, ours.model) == (own.side, own.given_up, own.model)
        assert (ours.blocking, ours.path is None) == (own.blocking, own.path is None)
        if own.path is not None:
            assert ours.path.poses == pytest.approx(own.path.poses)


def test_a_tilted_way_is_mirrored_as_its_points_are(way_out_by_hand, rng):
    path = replace(
        way_out_by_hand.hand_path(), poses=rng.normal(size=(6, 3)), tilts=rng.normal(size=(6, 3))
    )
    found = way_out_by_hand.hand_way_out()
    best = replace(found.best, path=path)
    way = np.column_stack((path.poses, path.tilts))
    tilted = Tilted(worth_mm=1.0, way=way, gained_mm=0.1, against_errors=True)
    answer = mirrored_answer(replace(found, best=best, ledger=(best,), tilted=tilted))
    mirrored = answer.best.path
    assert answer.tilted.way == pytest.approx(np.column_stack((mirrored.poses, mirrored.tilts)))
    points, flip = rng.normal(scale=20.0, size=(9, 3)), np.array([-1.0, 1.0, 1.0])

    def moved(way, i, points):
        about_x, about_y, lift = way.tilts[i]
        tilt = Tilt(about_x_deg=about_x, about_y_deg=about_y, lift_mm=lift)
        move = moves_of(way.poses[i][None], tilt)[0]
        return points @ move[:, :3].T + move[:, 3]

    for i in range(6):
        assert moved(mirrored, i, points * flip) == pytest.approx(moved(path, i, points) * flip)


def test_both_are_searched_as_the_same_of_the_two(way_out_by_hand, monkeypatch):
    seen, heard = [], []

    def searched(room, _settings, say):
        seen.append(room.sac_middle_mm[0])
        say("searching ways out on the left")
        return way_out_by_hand.hand_way_out()

    monkeypatch.setattr(twins, "find_way_out", searched)
    room = way_out_by_hand.hand_room().room
    for x in (-3.0, 3.0):
        lies = replace(room, sac_middle_mm=(x, 14.0))
        side = find_on_either_hand(lies, way_out_by_hand.SETTINGS, heard.append).side
        assert side is (Side.LEFT if x < 0.0 else Side.RIGHT)
    assert seen == [-3.0, -3.0]
    assert heard == ["searching ways out on the left", "searching ways out on the right"]
