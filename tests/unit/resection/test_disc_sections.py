"""A cut through a disc has a face, a margin and an allowance though it meets no bone.

Outside source: a plane's distance to a sphere and the area of a box's section, in closed form.
"""

import numpy as np
import pytest

from vertebloc.case.choice_words import Placement
from vertebloc.case.choices import Choices, CutChoice, HalfPlacement
from vertebloc.errors import InputError
from vertebloc.resection.disc_sections import body_cut_face, rims_in_common
from vertebloc.resection.model import FaceKind
from vertebloc.resection.piece import prepare_bones
from vertebloc.space.frames import Side
from vertebloc.space.solids import Sphere

from .block_spine import T10, ball, planned, solids_with, vertebra

#: between the boxes of T9 and T10, which end at 15 and 10 mm
IN_DISC_MM = 12.5
HALF_BODY_MM2 = 15.0 * 28.0
FORWARD = np.array([0.0, -1.0, 0.0])


def at_height(height_mm, **more):
    half = HalfPlacement(height_mm=height_mm, **more)
    return CutChoice(placed=Placement.BY_HAND, halves=dict.fromkeys(Side, half))


def plan_with(centre, radius, cut):
    sphere = Sphere(np.array(centre), radius)
    solids = solids_with(ball(centre, radius, 192), sphere)
    return planned(solids, Choices(cranial_cut=cut)), solids


def face_named(plan, name):
    return next(face for face in plan.faces if face.name == name)


def test_a_cut_in_the_disc_keeps_the_planes_own_distance():
    """Sphere of 4 mm about (6, 0, 2): 12.5 - 2 - 4 mm on the left, where its pole lies."""
    plan, _ = plan_with([6.0, 0.0, 2.0], 4.0, at_height(IN_DISC_MM))
    left, right = (face_named(plan, f"{side.value} half of the cranial cut") for side in Side)
    assert left.kind is FaceKind.BONE
    assert left.area_mm2 == pytest.approx(HALF_BODY_MM2, rel=1e-3)
    assert left.margin_mm == pytest.approx(6.5, abs=0.02)
    away = np.hypot(10.5, 6.0) - 4.0  # from the midline's nearest place to the sphere
    assert right.margin_mm == pytest.approx(away, abs=0.02)
    assert left.allowance.offset_mm == pytest.approx(6.5, abs=0.05)


def test_moving_the_cut_through_disc_and_body_never_jumps_ahead_of_its_move():
    """The margin grows at most as fast as the cut moves, from bone to disc to bone."""
    heights = [8.0, 9.5, 10.5, 12.5, 14.5, 15.5, 17.0]
    margins = [
        face_named(
            plan_with([4.0, 0.0, 0.0], 5.0, at_height(height))[0], "left half of the cranial cut"
        ).margin_mm
        for height in heights
    ]
    assert margins == pytest.approx([height - 5.0 for height in heights], abs=0.02)


def test_where_the_bodies_differ_only_what_they_share_counts():
    """The upper body 20 mm narrower: the shared half is 5 mm wide."""
    plan, solids = plan_with([0.0, 0.0, 0.0], 5.0, at_height(IN_DISC_MM))
    bones = prepare_bones(solids, vertebra(T10))
    cut = plan.cuts[0]
    narrow = bones.front.warp(lambda p: (p[0] / 3.0 if p[2] > 13.0 else p[0], p[1], p[2]))
    shared = rims_in_common(narrow, cut, FORWARD, bones.ends, type(bones.known)())
    assert shared.area_mm2 == pytest.approx(10.0 * 28.0, rel=1e-3)


def test_a_body_that_is_not_described_is_named():
    plan, solids = plan_with([0.0, 0.0, 0.0], 5.0, at_height(IN_DISC_MM))
    bones = prepare_bones(solids, vertebra(T10))
    ends = {level: one for level, one in bones.ends.items() if str(level) != "T9"}
    with pytest.raises(InputError, match=r"disc T9/T10, but T9 is not described: outline it"):
        body_cut_face(bones.front, plan.cuts[0], FORWARD, [], ends, bones.known)
