"""An image mirrored without its header, caught by what lies on one side of the body.

That the descending aorta and the heart lie left and the liver right of the mid-plane is
anatomy; the positions here are painted by hand.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vertebloc.anatomy.canal import find_canal
from vertebloc.anatomy.describe import describe_anatomy
from vertebloc.anatomy.handedness import judge_handedness
from vertebloc.anatomy.model import SideVerdict
from vertebloc.anatomy.structures import Contour, Structure


def mirrored(spine):
    """The same image with its first axis backwards and the header unchanged."""
    return replace(spine, labels=np.ascontiguousarray(spine.labels[::-1]))


@pytest.fixture(scope="module")
def with_aorta(arc):
    return arc.make_spine(aorta_mm=13.0)


@pytest.fixture(scope="module")
def bare(arc):
    return arc.make_spine(ribs=())


def test_a_true_image_agrees(with_aorta):
    found = describe_anatomy(with_aorta.contours()).handedness
    assert found.verdict is SideVerdict.AGREES
    assert "the aorta lies 13 mm to the left" in found.evidence


def test_a_mirrored_image_is_caught_by_named_ribs_alone(short):
    anatomy = describe_anatomy(mirrored(short).contours())
    assert anatomy.handedness.verdict is SideVerdict.CONTRADICTS
    assert "on the side opposite to the name" in anatomy.handedness.words
    assert anatomy.warnings[0].startswith("LEFT AND RIGHT CONTRADICT")


def test_a_mirrored_image_is_caught_by_the_aorta_alone(with_aorta):
    anatomy = describe_anatomy(mirrored(with_aorta).contours(withheld=True))
    assert anatomy.handedness.verdict is SideVerdict.CONTRADICTS
    assert "the aorta lies 13 mm to the right, usually to the left" in anatomy.handedness.words
    assert "situs inversus" in anatomy.handedness.words


def test_names_given_after_mirroring_do_not_hide_the_aorta(with_aorta):
    wrong = mirrored(with_aorta)
    swapped = {
        value: (replace(c, side=c.side.other) if c.side is not None else c,)
        for value, (c,) in wrong.meaning.items()
    }
    found = describe_anatomy(replace(wrong, meaning=swapped).contours()).handedness
    assert found.verdict is SideVerdict.CONTRADICTS
    assert "8 outlines lie on the side they are named for" in found.evidence


@pytest.mark.parametrize("image", ["true", "mirrored"])
def test_with_nothing_on_one_side_it_cannot_be_told(short, image):
    spine = short if image == "true" else mirrored(short)
    found = describe_anatomy(spine.contours(withheld=True)).handedness
    assert found.verdict is SideVerdict.CANNOT_TELL
    assert "cannot be told" in found.words
    assert found.evidence == ()


def test_an_aorta_in_front_of_the_spine_says_nothing(arc):
    middle = arc.make_spine(aorta_mm=2.0)
    found = describe_anatomy(middle.contours(withheld=True)).handedness
    assert found.verdict is SideVerdict.CANNOT_TELL


def test_the_ascending_aorta_on_the_right_does_not_outvote_the_descending_one(arc):
    spine = arc.make_spine(aorta_mm=13.0)
    x, y, _ = np.moveaxis(spine.local(spine.grid.centres()).reshape(*spine.grid.shape, 3), 3, 0)
    spine.paint(arc.AORTA, np.hypot(x + 32, y + 88) < 15)
    found = describe_anatomy(spine.contours(withheld=True)).handedness
    assert found.evidence == ("the aorta lies 13 mm to the left",)


def paint_organ(spine, structure, aside_mm):
    """A lump in front of the spine, its middle so far to the left."""
    painted = replace(spine, labels=spine.labels.copy(), meaning=dict(spine.meaning))
    local = painted.local(painted.grid.centres()).reshape(*painted.grid.shape, 3)
    painted.meaning[9] = (Contour(structure),)
    painted.paint(9, (np.abs(local[..., 0] - aside_mm) < 10) & (local[..., 1] < -38))
    return painted


@pytest.mark.parametrize(
    ("structure", "aside_mm", "verdict"),
    [
        (Structure.HEART, 15.0, SideVerdict.AGREES),
        (Structure.HEART, -15.0, SideVerdict.CONTRADICTS),
        (Structure.HEART, 4.0, SideVerdict.CANNOT_TELL),
        (Structure.LIVER, -26.0, SideVerdict.AGREES),
        (Structure.LIVER, 26.0, SideVerdict.CONTRADICTS),
        (Structure.LIVER, -9.0, SideVerdict.CANNOT_TELL),
    ],
)
def test_heart_and_liver_bear_witness(bare, structure, aside_mm, verdict):
    painted = paint_organ(bare, structure, aside_mm)
    assert describe_anatomy(painted.contours()).handedness.verdict is verdict


def test_without_frames_nothing_can_be_told(with_aorta):
    contours = with_aorta.contours()
    found = judge_handedness(contours, find_canal(contours), [])
    assert found.verdict is SideVerdict.CANNOT_TELL
