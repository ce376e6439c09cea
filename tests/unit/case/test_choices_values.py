"""Choices that contradict themselves, or cannot be meant, cannot be made."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from vertebloc.case.choice_words import (
    ArchPart,
    BoneChoice,
    CuffSurface,
    Placement,
    RibFateChoice,
    SoftFace,
)
from vertebloc.case.choices import (
    LIMITS,
    Choices,
    CuffChoice,
    CutChoice,
    HalfPlacement,
    LevelChoice,
    Override,
    RibChoice,
    SidesChoice,
    assumed_settings,
)
from vertebloc.case.level_choice import OtherCount
from vertebloc.errors import InputError
from vertebloc.resection.model import BoneFate, RibFate
from vertebloc.space.frames import Side

HALF = HalfPlacement(height_mm=1.0)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: Choices(kerf_mm=5.1), "kerf_mm is 5.1: use a number from 0 to 5"),
        (lambda: Choices(wanted_margin_mm=float("nan")), "wanted_margin_mm is nan"),
        (lambda: HalfPlacement(height_mm=0.0, tilt_deg=90.0), "tilt_deg is 90"),
        (lambda: LevelChoice(confirmed_by="A"), "diseased is empty"),
        (lambda: LevelChoice(diseased="T10\nT11"), "unprintable character"),
        (lambda: CutChoice(placed=Placement.BY_HAND), "both halves, found: none"),
        (
            lambda: CutChoice(placed=Placement.BY_HAND, halves={Side.LEFT: HALF}),
            "both halves, found: left",
        ),
        (lambda: CutChoice(halves={Side.LEFT: HALF}), "neither half, found: left"),
        (lambda: RibChoice(fate=RibFateChoice.KEPT, length_mm=1.0), "length_mm is 1 but fate"),
        (lambda: CuffChoice(thickness_mm=1.0), "that leaves no cuff"),
        (lambda: SidesChoice(confirmed_by="A"), "reason is empty"),
        (lambda: SidesChoice(reason="A"), "confirmed_by is empty"),
        (lambda: Override(what="a", who=" ", reason="b"), "who is empty"),
    ],
)
def test_what_contradicts_is_refused(make: Callable[[], object], says: str) -> None:
    with pytest.raises(InputError, match=says):
        make()


def test_defaults() -> None:
    choices = Choices()
    assert (choices.wanted_margin_mm, choices.kerf_mm, choices.contour_error_mm) == (5.0, 1.0, 1.0)
    assert choices.cranial_cut.placed is Placement.BY_RULE
    assert set(choices.arch.parts) == set(ArchPart)
    assert set(choices.arch.parts.values()) == {BoneChoice.BY_RULE}
    assert set(choices.cuffs) == set(SoftFace)
    assert {c.surface for c in choices.cuffs.values()} == {CuffSurface.ON_TUMOUR}
    assert choices.rib("T10", Side.LEFT).fate is RibFateChoice.BY_RULE


def test_assumptions_are_named_until_they_are_chosen() -> None:
    assert assumed_settings(Choices()) == (
        "wanted margin 5.0 mm (assumed default)",
        "kerf 1.0 mm (assumed default)",
        "contour error 1.0 mm (assumed default)",
    )
    assert assumed_settings(Choices(wanted_margin_mm=6.0, kerf_mm=0.0)) == (
        "contour error 1.0 mm (assumed default)",
    )


@pytest.mark.parametrize(
    ("make", "why"),
    [
        (lambda: LevelChoice(confirmed_at="2026-03-02T14:05:00"), "says no zone offset"),
        (lambda: LevelChoice(confirmed_at="yesterday"), "no point in time"),
        (lambda: LevelChoice(count=-1), "whole number from 0"),
        (lambda: LevelChoice(count=27), "whole number from 0"),
        (lambda: OtherCount(series="MR", level="T10"), "who is empty"),
        (lambda: OtherCount(series="MR", level="T10", who="A", count=3), "give both"),
    ],
)
def test_a_count_that_cannot_be_meant_is_refused(make, why) -> None:
    with pytest.raises(InputError, match=why):
        make()


def test_the_time_of_a_confirmation_keeps_its_offset() -> None:
    said = LevelChoice(diseased="T10", confirmed_at=" 2026-03-02T14:05:00.5+01:00 ")
    assert said.confirmed_at == "2026-03-02T14:05:00+01:00"


def test_minus_zero_is_zero() -> None:
    assert str(HalfPlacement(height_mm=-0.0).height_mm) == "0.0"


def test_every_limit_is_a_range_that_holds_the_default() -> None:
    assert all(low < high for low, high in LIMITS.values())


def test_words_of_fates_are_those_of_the_resection() -> None:
    """A later room translates by name: each name but BY_RULE must exist there."""
    # nobody chooses that the arch cut splits a part: it follows from where the cut lies
    assert {c.name for c in BoneChoice} - {"BY_RULE"} == {f.name for f in BoneFate} - {"SPLIT"}
    assert {c.name for c in RibFateChoice} - {"BY_RULE"} == {fate.name for fate in RibFate}
