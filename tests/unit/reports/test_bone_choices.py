"""Changing what comes out: each word of the card becomes the choice that it says."""

import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.case.choice_words import (
    ArchPart,
    BoneChoice,
    CuffSurface,
    KindChoice,
    SoftFace,
    TractChoice,
)  # fmt: skip
from vertebloc.case.choices import Choices, LevelChoice
from vertebloc.errors import InputError
from vertebloc.reports.bone_choices import bone_parts, preset_region, with_changed_bone

from .conftest import made_anatomy

T10 = Level("T10")
START = Choices(level=LevelChoice(diseased="T10"))


def changed(part, typed, choices=START):
    return with_changed_bone(choices, made_anatomy(), T10, part, typed)


def parts(choices=START):
    return {one.part: one for one in bone_parts(choices, made_anatomy(), T10)}


def test_only_levels_with_both_neighbours_outlined_are_offered():
    """Outlined by hand: T8 to T12, so T8 and T12 can be neighbours only."""
    assert [str(level) for level in sorted(made_anatomy().vertebrae)] == [
        "T8", "T9", "T10", "T11", "T12",
    ]  # fmt: skip
    offered = [key for key, _ in parts()["out"].allowed]
    assert offered == ["T10", "T9+T10", "T10+T11", "T9+T10+T11", "half", "arch"]
    assert parts()["out"].value == "T10"


def test_kinds_and_levels_follow_what_is_chosen():
    two = changed("out", "T9+T10")
    assert (two.kind, two.levels) == (KindChoice.WHOLE_BODY, ("T9", "T10"))
    assert parts(two)["out"].value == "T9+T10"
    half = changed("out", "half", two)
    assert (half.kind, half.levels) == (KindChoice.HALF_BODY, ())
    assert "sagittal" in parts(half) and "sagittal" not in parts(two)
    moved = changed("sagittal", "4,5", half)
    assert moved.sagittal_cut_mm == 4.5
    assert changed("out", "T10", moved) == START  # nothing of the half body is left behind
    assert changed("out", "arch").kind is KindChoice.ARCH_ONLY


def test_swept_parts_take_the_fate_and_others_stay():
    now = changed("arch.piecemeal", "left lamina|left facets")
    swept = {ArchPart.LEFT_LAMINA, ArchPart.LEFT_FACETS}
    for part in ArchPart:
        expected = BoneChoice.PIECEMEAL if part in swept else BoneChoice.BY_RULE
        assert now.arch.parts[part] is expected
    assert changed("arch.by rule", "left lamina|left facets", now) == START


def test_the_preset_is_the_regions_own():
    assert preset_region(T10) == "middle thoracic"
    now = changed("preset", "middle thoracic")
    assert now.arch.parts[ArchPart.SPINOUS_PROCESS] is BoneChoice.PIECEMEAL
    assert now.arch.parts[ArchPart.LEFT_PEDICLE] is BoneChoice.BY_RULE


def test_tract_and_cuffs():
    assert changed("tract", "separate ellipse").tract is TractChoice.SEPARATE_ELLIPSE
    cuffed = changed("cuff.left side.surface", "pleura")
    assert cuffed.cuffs[SoftFace.LEFT_SIDE].surface is CuffSurface.PLEURA
    thick = changed("cuff.left side.thickness", "3 mm", cuffed)
    assert thick.cuffs[SoftFace.LEFT_SIDE].thickness_mm == 3.0
    assert changed("cuff.left side.surface", "on the tumour", thick) == START


@pytest.mark.parametrize(
    ("part", "typed", "said"),
    [
        ("out", "T8+T9", "cannot come out"),
        ("arch.chewed", "left lamina", "cannot be chosen"),
        ("arch.piece", "left ear", "cannot be chosen"),
        ("cuff.left side.thickness", "thick", "is no number"),
        ("cuff.left side.thickness", "99", "use a number from 0 to 50"),
        ("wish", "x", "no choice called"),
    ],
)
def test_nonsense_is_one_line(part, typed, said):
    choices = changed("cuff.left side.surface", "muscle")
    with pytest.raises(InputError, match=said):
        changed(part, typed, choices)
