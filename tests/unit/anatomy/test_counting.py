"""Counting by hand-written rows: what decides, what is asked, what is shouted."""

from __future__ import annotations

import pytest

from vertebloc.anatomy.counting import count_levels
from vertebloc.anatomy.levels import Level
from vertebloc.case.choice_words import CountedFrom
from vertebloc.space.frames import Side

BOTH, NONE = frozenset(Side), frozenset()
LEFT = frozenset({Side.LEFT})
ENDS = frozenset({CountedFrom.FIRST_RIB, CountedFrom.LAST_RIB})
LAST = frozenset({CountedFrom.LAST_RIB})
SACRUM = frozenset({CountedFrom.LAST_RIB, CountedFrom.SACRUM})


def levels(text):
    return [None if word == "-" else Level(word) for word in text.split()]


def row(above, pairs, below):
    return [NONE] * above + [BOTH] * pairs + [NONE] * below


THORAX = "C6 C7 T1 T2 T3 T4 T5 T6 T7 T8 T9 T10 T11 T12 L1"


def test_twelve_pairs_with_both_ends_decide():
    counted = count_levels([None] * 15, row(2, 12, 1), ENDS)
    assert list(counted.levels) == levels(THORAX)
    assert counted.warnings == ()
    assert "12 pairs" in counted.words


@pytest.mark.parametrize("pairs", [11, 13])
def test_eleven_or_thirteen_pairs_are_asked_about_and_name_nothing(pairs):
    counted = count_levels([None] * (pairs + 2), row(1, pairs, 1), ENDS)
    assert set(counted.levels) == {None}
    (warning,) = counted.warnings
    assert f"{pairs} pairs of ribs" in warning
    assert "decided by a person" in warning


@pytest.mark.parametrize("pairs", [11, 13])
def test_given_names_are_kept_and_odd_pairs_still_asked_about(pairs):
    named = levels(THORAX)[: pairs + 2] if pairs == 11 else levels(THORAX)
    counted = count_levels(named, row(1, pairs, len(named) - pairs - 1), ENDS)
    assert list(counted.levels) == named
    assert any(f"{pairs} pairs" in warning for warning in counted.warnings)


@pytest.mark.parametrize(
    ("ends", "absent"),
    [
        (LAST, "first rib"),
        (frozenset({CountedFrom.FIRST_RIB}), "last rib"),
        (frozenset(), "first rib and at the last rib"),
    ],
)
def test_a_missing_end_names_nothing_even_with_twelve_pairs(ends, absent):
    counted = count_levels([None] * 14, row(1, 12, 1), ends)
    assert set(counted.levels) == {None}
    (warning,) = counted.warnings
    assert absent in warning
    assert "names file" in warning


def test_a_rib_missing_on_one_side_is_asked_about():
    rows = row(1, 12, 1)
    rows[4] = LEFT
    counted = count_levels([None] * 14, rows, ENDS)
    assert set(counted.levels) == {None}
    assert "right rib of the vertebra at place 4" in counted.warnings[0]


def test_a_vertebra_without_ribs_between_others_is_asked_about():
    rows = row(1, 12, 1)
    rows[4] = NONE
    counted = count_levels([None] * 14, rows, ENDS)
    assert set(counted.levels) == {None}
    assert "both ribs of the vertebra at place 4" in counted.warnings[0]


def test_without_ribs_nothing_can_be_counted():
    counted = count_levels([None] * 4, [NONE] * 4, frozenset())
    assert set(counted.levels) == {None}
    assert "no rib" in counted.warnings[0]


def test_names_that_the_count_confirms():
    counted = count_levels(levels(THORAX), row(2, 12, 1), ENDS)
    assert list(counted.levels) == levels(THORAX)
    assert counted.warnings == ()
    assert "agree" in counted.words


def test_names_one_level_off_are_kept_and_shouted_about():
    shifted = levels("C7 T1 T2 T3 T4 T5 T6 T7 T8 T9 T10 T11 T12 L1 L2")
    counted = count_levels(shifted, row(2, 12, 1), ENDS)
    assert list(counted.levels) == shifted
    assert counted.warnings[0].startswith("LEVELS DO NOT AGREE")
    assert "T10 would be T9" in counted.warnings[0]
    assert "contradicts" in counted.words


@pytest.mark.parametrize(
    ("names", "rows", "ends", "said"),
    [
        ("T8 T9 T10 L1", row(0, 3, 1), LAST, "last rib in view is on the vertebra named T10"),
        (
            "T1 T2 T3 T4",
            row(1, 3, 0),
            frozenset({CountedFrom.FIRST_RIB}),
            "first rib in view is on the vertebra named T2",
        ),
    ],
)
def test_one_end_in_view_checks_the_name_at_that_end(names, rows, ends, said):
    counted = count_levels(levels(names), rows, ends)
    assert said in counted.warnings[0]
    assert counted.warnings[0].startswith("LEVELS DO NOT AGREE")


@pytest.mark.parametrize(("last", "pairs"), [("T11", 11), ("T13", 13)])
def test_names_that_say_eleven_or_thirteen_pairs_are_asked_about(last, pairs):
    named = levels(f"T9 T10 {last} L1")
    counted = count_levels(named, row(0, 3, 1), LAST)
    assert counted.conflicts == () and list(counted.levels) == named
    assert f"are there {pairs} pairs of ribs" in counted.warnings[0]
    assert counted.pairs == 0  # not both ends in view


@pytest.mark.parametrize(("pairs", "known"), [(11, 11), (12, 12), (13, 13)])
def test_complete_pairs_are_counted_only_with_both_ends(pairs, known):
    rows = row(1, pairs, 1)
    assert count_levels([None] * (pairs + 2), rows, ENDS).pairs == known
    assert count_levels([None] * (pairs + 2), rows, LAST).pairs == 0
    rows[3] = LEFT
    assert count_levels([None] * (pairs + 2), rows, ENDS).pairs == 0


def test_part_of_a_thorax_with_names_is_kept_without_a_warning():
    counted = count_levels(levels("T8 T9 T10 T11"), row(0, 4, 0), frozenset())
    assert list(counted.levels) == levels("T8 T9 T10 T11")
    assert counted.warnings == ()
    assert "cannot confirm" in counted.words


@pytest.mark.parametrize(
    ("names", "found"),
    [
        ("T8 T10", "between T8 and T10"),
        ("C6 T1", "between C6 and T1"),
        ("T12 L2", "between T12 and L2"),
        ("C7 T1", None),
        ("T12 L1", None),
        ("T13 L1", None),
        ("T11 L1", None),
    ],
)
def test_a_name_left_out_is_mentioned(names, found):
    counted = count_levels(levels(names), [NONE, NONE], frozenset())
    assert [w for w in counted.warnings if "misnamed" in w] == (
        [f"{found} a vertebra is not outlined or misnamed"] if found else []
    )


@pytest.mark.parametrize(("lumbar", "asked"), [(5, False), (4, True), (6, True)])
def test_four_or_six_lumbar_vertebrae_are_asked_about(lumbar, asked):
    counted = count_levels([None] * (3 + lumbar), row(0, 3, lumbar), SACRUM)
    assert any(f"{lumbar} vertebrae between" in w for w in counted.warnings) is asked
    assert counted.lumbar == lumbar


def test_lumbar_vertebrae_beyond_the_fifth_get_no_guessed_name():
    counted = count_levels([None] * 19, row(1, 12, 6), ENDS)
    assert list(counted.levels)[-2:] == [Level("L5"), None]
