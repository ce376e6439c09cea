"""The views of a plan: bone counted against a box, and the level strip against hand counts."""

import dataclasses
import types

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import LevelConfirmation
from vertebloc.case.choice_words import CountedFrom
from vertebloc.fluoroscopy.bone_in_way import bone_in_way_mm, bones_at
from vertebloc.fluoroscopy.model import Beam, CArm, CutLine
from vertebloc.fluoroscopy.shown import shown_views
from vertebloc.fluoroscopy.strip import level_strip
from vertebloc.fluoroscopy.views import straight_view
from vertebloc.space.frames import Frame, Side
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import rigid_frame


def box(low, high):
    import trimesh

    size = np.array(high, float) - low
    found = trimesh.creation.box(extents=size)
    return TriangleSurface(np.asarray(found.vertices) + np.array(low) + size / 2.0, found.faces)


def cut_across(y_from=20.0, y_to=-10.0):
    """A cut square to the spine through a body 40 wide and 30 deep, from behind to the front."""
    plane = rigid_frame(np.zeros(3), np.eye(3), target=Frame.PATIENT_LPS, source=Frame.PLANE)
    loop = np.array([[-20.0, y_to], [20.0, y_to], [20.0, y_from], [-20.0, y_from]])
    return CutLine(
        name="left half of the cranial cut", side=Side.LEFT, level=Level("T9"),
        normal=np.array([0.0, 0.0, 1.0]), entry=np.array([5.0, y_from, 0.0]),
        blade=np.array([0.0, -1.0, 0.0]), far=np.array([5.0, y_to, 0.0]), stop_mm=20.0,
        faces=(PlanarFace(plane, (loop,)),),
    )  # fmt: skip


@pytest.mark.parametrize("beam", list(Beam))
def test_bone_in_the_way_of_boxes(beam):
    """The body itself does not count; a rib of 12 mm beside it does, seen from the side only."""
    cut = cut_across()
    body = box((-20, -10, -15), (20, 20, 15))
    rib = box((40, -40, -6), (52, 60, 6))
    view = straight_view(beam, cut.middle, Side.LEFT, CArm())
    bones = bones_at(cut, [body, rib, box((-9, -9, 30), (9, 9, 50))])
    assert len(bones) == 2  # the third lies beyond the plane
    mean, worst = bone_in_way_mm(view, cut, bones)
    wanted = 12.0 if beam is Beam.FROM_THE_SIDE else 0.0
    # rays spread: 15 mm off the axis in 600 makes 12 mm longer by a share of 3e-4
    assert mean == pytest.approx(wanted, abs=0.01)
    assert worst == pytest.approx(wanted, abs=0.01)
    assert bone_in_way_mm(view, cut, [body, rib])[0] == pytest.approx(mean, abs=1e-9)


def spine(names, spacing=25.0):
    """Bodies 20 high along z, the first at the head."""
    vertebrae = {}
    for n, name in enumerate(names):
        middle = np.array([0.0, 0.0, -spacing * n])
        vertebrae[Level.parse(name)] = types.SimpleNamespace(
            lps_from_vertebra=rigid_frame(
                middle, np.eye(3), target=Frame.PATIENT_LPS, source=Frame.VERTEBRA
            ),
            upper_endplate_mm=10.0,
            lower_endplate_mm=-10.0,
        )
    return types.SimpleNamespace(vertebrae=vertebrae)


NAMES = ["T1", "T2", "T3", "T4", "T5", "T6", "T7", "T8", "T9", "T10", "T11", "T12"]


def counted(end, numbers, **more):
    beads = {Level.parse(name): n for name, n in numbers.items()}
    return LevelConfirmation(counted_from=end, beads=beads, **more)


def strip_of(level, confirmation, **arm):
    anatomy = spine(NAMES)
    straight = straight_view(Beam.FROM_BEHIND, np.zeros(3), Side.LEFT, CArm(**arm))
    return level_strip(anatomy, Level.parse(level), confirmation, straight)


def test_strip_from_the_last_rib_by_hand():
    """T12 is number 1, T10 number 3: 70 mm of spine, one picture of 180 mm holds it."""
    strip, why = strip_of("T10", counted(CountedFrom.LAST_RIB, {"T12": 1, "T11": 2, "T10": 3}))
    assert why == "" and len(strip) == 1
    assert {str(level): n for level, n in strip[0].numbers.items()} == {
        "T12": 1,
        "T11": 2,
        "T10": 3,
    }


def test_strip_of_several_pictures_shares_a_vertebra_each_time():
    """Field 180 mm less rims of 6 %: 158 mm hold six bodies of 25 mm pitch (145 mm), not seven."""
    numbers = {name: n for n, name in enumerate(NAMES, start=1)}
    strip, why = strip_of("T10", counted(CountedFrom.FIRST_RIB, numbers))
    assert why == ""
    shown = [[str(level) for level in one.numbers] for one in strip]
    assert shown == [["T1", "T2", "T3", "T4", "T5", "T6"], ["T6", "T7", "T8", "T9", "T10"]]
    assert [one.numbers[Level("T6")] for one in strip] == [6, 6]
    for one in strip:  # all of it lies in its picture
        ends = np.array([[0, 0, -25.0 * (n - 1)] for n in one.numbers.values()])
        assert np.abs(one.view.on_detector(ends)).max() < 150.0
        np.testing.assert_allclose(one.view.towards_detector, [0, 1, 0], atol=1e-12)


def test_no_strip_without_an_agreed_end_or_as_far_as_nobody_can_count():
    strip, why = strip_of("T10", counted(CountedFrom.NOT_COUNTED, {}))
    assert not strip and "no end to count from is named" in why
    strip, why = strip_of(
        "T10", counted(CountedFrom.SACRUM, {}, doubts=("that end is not in the images",))
    )
    assert not strip and why == (
        "the count from the sacrum cannot begin: that end is not in the images"
    )
    strip, why = strip_of("T5", counted(CountedFrom.LAST_RIB, {"T12": 1, "T11": 2}))
    assert not strip and "last rib" in why


def test_halves_in_one_plane_share_a_picture():
    """Left and right half of one cut: one setting; a half set lower is a picture of its own."""
    from vertebloc.fluoroscopy.model import CArmPlan, LineView

    left = cut_across()
    right = dataclasses.replace(left, name="right half of the cranial cut", side=Side.RIGHT)
    lower = dataclasses.replace(
        right, name="lower", entry=right.entry - [0, 0, 4.0], far=right.far - [0, 0, 4.0]
    )
    views = {beam: straight_view(beam, np.zeros(3), Side.LEFT, CArm()) for beam in Beam}
    lines = tuple(
        LineView(
            cut_name=cut.name, side=cut.side, level=cut.level, beam=Beam.FROM_THE_SIDE,
            view=straight_view(Beam.FROM_THE_SIDE, cut.middle, Side.LEFT, CArm()),
            off_straight_deg=0.0, bone_in_way_mm=0.0, worst_bone_mm=0.0, shows_depth=True,
            along_beam_mm=40.0, is_best=True,
        )
        for cut in (left, right, lower)
    )  # fmt: skip
    plan = CArmPlan(
        arm=CArm(), level=Level("T10"), behind=views[Beam.FROM_BEHIND],
        side=views[Beam.FROM_THE_SIDE], stands_at=Side.LEFT, cuts=(left, right, lower),
        lines=lines, not_seen=(), strip=(), strip_why_not="", middles={}, assumptions=(),
    )  # fmt: skip
    shown = [one.cuts for one in shown_views(plan)]
    assert shown == [
        (), (), ("left half of the cranial cut", "right half of the cranial cut"), ("lower",),
    ]  # fmt: skip
