"""The count on made-up patients as images show them; numbers counted by hand from their plans."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vertebloc import made_up
from vertebloc.anatomy import ContourSet, CountedFrom, Level, describe_anatomy
from vertebloc.anatomy.confirming import judge_confirmation
from vertebloc.case.choice_words import RibPairs, Transitional
from vertebloc.case.choices import Choices
from vertebloc.case.level_choice import LevelChoice
from vertebloc.space.grids import Grid

pytestmark = pytest.mark.slow


def described(name, diseased):
    patient = made_up.patient_named(name)
    fine = made_up.default_grid(patient)
    matrix = np.array(fine.lps_from_ijk.matrix)
    matrix[:3, :3] *= 2.5
    grid = Grid.from_matrix(tuple(int(n / 2.5) for n in fine.shape), matrix)
    return describe_anatomy(ContourSet(made_up.label_map(patient, grid)), diseased=diseased)


def said(diseased, number, pairs, end=CountedFrom.LAST_RIB):
    return Choices(
        level=LevelChoice(
            diseased=diseased, confirmed_by="A. Ward", confirmed_at="2026-03-02T14:05:00-05:00",
            counted_from=end, count=number, rib_pairs=pairs, transitional=Transitional.NONE,
        )
    )  # fmt: skip


@pytest.fixture(scope="module")
def thirteen():
    return described("thirteen-ribs", Level("T11"))


def test_the_person_with_thirteen_ribs_comes_out_right(thirteen):
    """By hand: T13 is 1, T12 is 2, T11 is 3; whoever counts T12 as the last rib's gets 2."""
    assert any("are there 13 pairs of ribs" in words for words in thirteen.warnings)
    t11 = Level("T11")
    assert thirteen.ends_in_view == {CountedFrom.LAST_RIB}
    good = judge_confirmation(thirteen, t11, said("T11", 3, RibPairs.THIRTEEN))
    assert good.is_confirmed and good.number == 3
    for number, pairs in (
        (2, RibPairs.THIRTEEN), (2, RibPairs.TWELVE), (3, RibPairs.TWELVE),
        (3, RibPairs.NOT_ANSWERED), (3, RibPairs.CANNOT_BE_SEEN),
    ):  # fmt: skip
        assert not judge_confirmation(thirteen, t11, said("T11", number, pairs)).is_confirmed
    from_above = said("T11", 11, RibPairs.THIRTEEN, CountedFrom.FIRST_RIB)
    found = judge_confirmation(thirteen, t11, from_above)
    assert not found.is_confirmed and not found.end_in_view


def test_the_same_person_named_as_if_twelve_is_shouted_about(thirteen):
    """The danger: names one off, so that the last rib seems to be T12's; the number then differs
    from what a person counts who knows of thirteen."""
    renamed = {}
    for level, vertebra in thirteen.vertebrae.items():
        if level.region == "T":
            name = Level(f"T{level.number - 1}")
            renamed[name] = replace(vertebra, level=name)
    ribs = tuple(
        replace(rib, level=Level(f"T{rib.level.number - 1}")) for rib in thirteen.ribs if rib.level
    )
    wrong = replace(thirteen, vertebrae=renamed, ribs=ribs)
    sick = Level("T10")  # what they call the diseased T11
    answered = judge_confirmation(wrong, sick, said("T10", 3, RibPairs.THIRTEEN))
    assert not answered.is_confirmed
    assert "on the vertebra named T12" in answered.conflicts[0]


def test_a_lumbar_patient_cannot_be_counted_from_a_sacrum_that_is_not_there():
    anatomy = described("lumbar", Level("L3"))
    l3 = Level("L3")
    from_sacrum = judge_confirmation(
        anatomy, l3, said("L3", 3, RibPairs.TWELVE, CountedFrom.SACRUM)
    )
    assert not from_sacrum.is_confirmed and not from_sacrum.end_in_view
    from_rib = judge_confirmation(anatomy, l3, said("L3", 4, RibPairs.TWELVE))
    # by hand: T12 is 1, L1 is 2, L2 is 3, L3 is 4
    assert from_rib.is_confirmed and from_rib.number == 4 and from_rib.towards == "feet"
