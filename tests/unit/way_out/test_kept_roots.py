"""Roots that no plan may give up: never in a price, still named where they decide."""

from __future__ import annotations

from dataclasses import replace

import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.case.choices import Choices
from vertebloc.case.way_out_choice import RootsKept, WayOutChoice
from vertebloc.way_out import Answer, WayOutSettings, find_way_out
from vertebloc.way_out.kept_roots import with_roots_kept
from vertebloc.way_out.obstacles import RoomOfPlan
from vertebloc.workflow.way_out import kept_by

from .rooms import bar, post_room

L2, L3, L6, T10 = map(Level.parse, ("L2", "L3", "L6", "T10"))


def room_with(*roots):
    return RoomOfPlan(
        room=post_room(*roots), lps_from_travel=None, roots=(), rib_lengths_mm={}, planned_mm={}
    )


def root(level):
    return replace(bar(f"left {level} root", 24.0), level=level)


@pytest.mark.parametrize(
    ("said", "kept"),
    [
        (RootsKept.BY_RULE, {"left L3 root", "left L6 root"}),
        (RootsKept.ALL, {"left T10 root", "left L2 root", "left L3 root", "left L6 root"}),
        (RootsKept.NONE, set()),
    ],
)
def test_which_are_kept(said, kept):
    """Motor roots of arms and legs are C5-T1 and L3-S1 [motor-roots-review]."""
    runs = kept_by(Choices(way_out=WayOutChoice(roots=said)))
    room = with_roots_kept(room_with(*map(root, (T10, L2, L3, L6))), runs).room
    assert {one.name for one in room.obstacles if one.is_kept} == kept


@pytest.mark.full
def test_one_that_is_kept_is_no_price_but_is_named():
    """A bar 3 mm thick shuts the only way for a block: kept, no yes, and the bar is why."""
    settings = WayOutSettings(
        clear_after_mm=5.0, contour_error_mm=0.3, sac_motion_mm=0.2, step_mm=2.0, step_deg=7.5,
        tilt_deg=3.0, lift_mm=0.5, root_gives_mm=1.0,
    )  # fmt: skip
    open_ = room_with(root(L3))
    given = find_way_out(open_.room, settings, lambda _: None)
    assert given.answer is Answer.YES and given.best.given_up == {"left L3 root"}
    shut = with_roots_kept(open_, ((L3, L6),))
    found = find_way_out(shut.room, settings, lambda _: None)
    assert found.answer is not Answer.YES
    assert all("left L3 root" not in entry.given_up for entry in found.ledger)
    assert "left L3 root" in {*found.best.decided_by, *found.best.blocking}
