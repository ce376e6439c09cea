"""The spine pulled apart about a hinge: lengths and openings worked out by plane geometry."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.errors import InputError
from vertebloc.space.frames import Frame
from vertebloc.space.sections import surface_of_solid
from vertebloc.space.transforms import Transform
from vertebloc.way_out import Obstacle, Room, Scenario, Substance, WayOutSettings, make_search
from vertebloc.way_out.distraction import Part, Pull, part_of, pulled_room
from vertebloc.way_out.model import CLOSED_MM
from vertebloc.way_out.obstacles import RoomOfPlan
from vertebloc.way_out.pose_map import Margin

from .rooms import bar, box

#: The bridge 20 mm in front of the origin, the sac 12 mm behind it; cuts 15 mm above and below.
HINGED = Pull(
    by_mm=8.0, bridge_holds=True, bridge_y_mm=-20.0, sac_y_mm=12.0, head_z_mm=15.0, feet_z_mm=-15.0
)
CUT = replace(HINGED, bridge_holds=False)
T9, T10, T11 = map(Level.parse, ("T9", "T10", "T11"))


def opening(pull, y):
    """How far the faces of the two cuts lie apart at a place, over what they did at rest."""
    above = pull.moved(np.array([[0.0, y, 15.0]]), Part.HEAD)[0]
    below = pull.moved(np.array([[0.0, y, -15.0]]), Part.FEET)[0]
    return above[2] - below[2] - 30.0


@pytest.mark.parametrize(("y", "opens"), [(-20.0, 0.0), (12.0, 8.0), (-4.0, 4.0), (28.0, 12.0)])
def test_it_opens_like_a_hinge_while_the_bridge_holds(y, opens):
    """Nothing at the bridge, all of it at the sac, and in proportion between and behind."""
    assert opening(HINGED, y) == pytest.approx(opens, abs=1e-9)
    assert opening(CUT, y) == pytest.approx(8.0, abs=1e-9)


@pytest.mark.parametrize("pull", [HINGED, CUT])
@pytest.mark.parametrize("part", [Part.HEAD, Part.FEET])
def test_bone_is_not_bent(pull, part, rng):
    points = rng.normal(scale=30.0, size=(40, 3))
    moved = pull.moved(points, part)
    apart = np.linalg.norm(points[:, None] - points[None], axis=2)
    assert np.allclose(np.linalg.norm(moved[:, None] - moved[None], axis=2), apart)


def test_both_parts_tip_forward():
    """Opened behind about a hinge in front, what lies far above and below goes to the front."""
    for part, z in ((Part.HEAD, 60.0), (Part.FEET, -60.0)):
        moved = HINGED.moved(np.array([[3.0, -20.0, z]]), part)[0]
        # on the bridge's own line: 45 mm from the hinge, tipped by asin(4 / 32)
        assert moved == pytest.approx(
            [3.0, -20.0 - 45.0 * 4.0 / 32.0, np.sign(z) * (15.0 + 45.0 * np.sqrt(1 - 1 / 64.0))]
        )


@pytest.mark.parametrize("pull", [HINGED, CUT])
def test_what_is_stretched_goes_straight_from_part_to_part(pull):
    line = np.column_stack((np.zeros(7), np.full(7, 12.0), np.linspace(-22.5, 22.5, 7)))
    moved = pull.moved(line, Part.STRETCHED)
    assert np.allclose(moved[[0, 1]], pull.moved(line[[0, 1]], Part.FEET))
    assert np.allclose(moved[[5, 6]], pull.moved(line[[5, 6]], Part.HEAD))
    assert np.ptp(moved[1:6, 1]) < 1e-9  # no bow between the cuts
    assert moved[5, 2] - moved[1, 2] == pytest.approx(30.0 + 8.0)  # longer by the pull


def test_no_pull_moves_nothing(rng):
    points = rng.normal(scale=30.0, size=(40, 3))
    for part in Part:
        assert np.allclose(replace(HINGED, by_mm=0.0).moved(points, part), points)


def test_a_pull_that_no_hinge_allows_is_one_line():
    with pytest.raises(InputError, match="tip by more than 25 degrees; use 27 mm or less"):
        replace(HINGED, by_mm=30.0)
    replace(CUT, by_mm=30.0)
    with pytest.raises(InputError, match="cannot be pulled apart"):
        replace(HINGED, sac_y_mm=-21.0)


def test_what_goes_with_which_part():
    root = bar("left T9 root", 24.0)
    bone = Obstacle(
        name="bone", substance=Substance.BONE, surface=surface_of_solid(box([0, 0, 0], [1, 1, 1])),
        may_press_mm=1.0,
    )  # fmt: skip
    assert part_of(replace(bone, level=T9), (T10,)) is Part.HEAD
    assert part_of(replace(bone, level=T11), (T10,)) is Part.FEET
    assert part_of(replace(bone, level=T10), (T10,)) is Part.STILL
    assert part_of(bone, (T10,)) is Part.STILL
    assert part_of(replace(root, level=T9), (T10,)) is Part.STRETCHED


def lipped_room():
    """A block in a slot as high as itself; behind it a lip of the bone above hangs down 2 mm.

    The lip may be pressed by 0.5 mm: it must rise by 1.5 mm before the block can pass back.
    """
    above = box([-30, -40, 8], [30, 60, 30]) + box([-30, 8, 6], [30, 12, 10])
    below = box([-30, -40, -30], [30, 60, -8])
    sides = box([-40, -40, -20], [-8, 60, 20]) + box([8, -40, -20], [40, 60, 20])
    bone = {"substance": Substance.BONE, "may_press_mm": 0.5}
    room = Room(
        piece=surface_of_solid(box([-6, -6, -8], [6, 6, 8])),
        sac=surface_of_solid(box([-3, -60, -3], [3, -50, 3])),
        obstacles=(
            Obstacle(name="bone of T9", surface=surface_of_solid(above), level=T9, **bone),
            Obstacle(name="bone of T11", surface=surface_of_solid(below), level=T11, **bone),
            Obstacle(name="sides", surface=surface_of_solid(sides), **bone),
        ),
        delivered_y_mm=30.0, x_mm=(-58.0, 58.0), y_mm=(-14.0, 42.0), sac_middle_mm=(0.0, -55.0),
    )  # fmt: skip
    here = Transform(np.eye(4), target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
    return RoomOfPlan(room=room, lps_from_travel=here, roots=(), rib_lengths_mm={}, planned_mm={})


@pytest.mark.parametrize(
    ("by_mm", "open_"),
    [
        pytest.param(0.0, False, marks=pytest.mark.full),
        pytest.param(2.0, False, marks=pytest.mark.full),
        (5.0, True),
    ],
)
def test_a_lip_is_passed_once_it_has_risen_by_enough(by_mm, open_):
    """Hinged 20 mm in front, measured at y = 10 mm, where the lip is: it rises by half the pull.

    1.0 mm is too little by 0.5 mm, 2.5 mm is enough by 1.0 mm.
    """
    settings = WayOutSettings(
        clear_after_mm=5.0, contour_error_mm=0.0, sac_motion_mm=0.0, step_mm=2.0, step_deg=15.0,
        tolerance_mm=0.5, edge_mm=1.0,
    )  # fmt: skip
    pull = replace(HINGED, by_mm=by_mm, sac_y_mm=10.0, head_z_mm=8.0, feet_z_mm=-8.0)
    room = pulled_room(lipped_room(), (T10,), pull, settings)
    search = make_search(room.room, settings)
    anywhere = Scenario(side=None, given_up=frozenset())
    assert (search.lower_mm(anywhere, Margin(False))[0] != CLOSED_MM) is open_
    assert search.upper_mm(anywhere, Margin(True)) >= search.lower_mm(anywhere, Margin(False))[0]
