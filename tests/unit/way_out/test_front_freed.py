"""The front freed in a stage before: the vessels are away, nothing else changes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from vertebloc.reports.way_out_document import way_out_document
from vertebloc.space.sections import surface_of_solid
from vertebloc.way_out import Answer, Obstacle, Substance, WayOutSettings, find_way_out
from vertebloc.way_out.front_freed import settings_freed, with_front_freed
from vertebloc.way_out.obstacles import RoomOfPlan

from .rooms import box, post_room

SETTINGS = WayOutSettings(
    clear_after_mm=5.0, contour_error_mm=0.3, sac_motion_mm=0.2, step_mm=2.0, step_deg=7.5,
    tilt_deg=3.0, lift_mm=0.5, root_gives_mm=1.0,
)  # fmt: skip


def room_with_vessel():
    """A vessel stands in the only gap beside the post."""
    vessel = Obstacle(
        name="aorta", substance=Substance.VESSEL, may_press_mm=3.0,
        surface=surface_of_solid(box([5, 8, -20], [34, 20, 20])),
    )  # fmt: skip
    return RoomOfPlan(
        room=post_room(vessel), lps_from_travel=None, roots=(), rib_lengths_mm={}, planned_mm={}
    )


def test_only_the_vessels_are_away():
    freed = settings_freed(SETTINGS)
    room = with_front_freed(room_with_vessel(), freed)
    assert [o.name for o in room.room.obstacles] == ["walls"] and room.front_freed
    assert room.room.y_mm[0] == -freed.forward_mm == -45.0
    assert replace(freed, forward_mm=SETTINGS.forward_mm) == SETTINGS


@pytest.mark.full
def test_it_opens_a_way_that_a_vessel_shuts():
    shut = find_way_out(room_with_vessel().room, SETTINGS, lambda _: None)
    assert shut.answer is not Answer.YES
    freed = settings_freed(SETTINGS)
    room = with_front_freed(room_with_vessel(), freed)
    assert find_way_out(room.room, freed, lambda _: None).answer is Answer.YES


def test_the_answer_says_that_it_rests_on_that_stage(way_out_by_hand):
    hand = way_out_by_hand
    plain = way_out_document(hand.hand_way_out(), hand.hand_room(), (hand.T10,))
    room = replace(hand.hand_room(), front_freed=True)
    written = way_out_document(hand.hand_way_out(), room, (hand.T10,))
    assert written["words"] == f"With the front freed in a stage before: {plain['words']}"
    assert any("may go 45 mm forward (assumed)" in one for one in written["assumptions"])
