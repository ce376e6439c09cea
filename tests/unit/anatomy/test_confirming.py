"""Wrong level: each test tries to get an unsure level confirmed, and must fail to.

No outside source counts for us: the numbers are counted by hand from the rows of names.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vertebloc.anatomy.confirming import judge_confirmation
from vertebloc.anatomy.count_beads import count_beads
from vertebloc.anatomy.describe import describe_anatomy
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.case.choice_words import CountedFrom, RibPairs, Transitional
from vertebloc.case.choices import Choices, Override
from vertebloc.case.level_choice import LevelChoice, OtherCount

LOWER = ("T9", "T10", "T11", "T12", "L1")
WHEN = "2026-03-02T14:05:00+01:00"
T10 = Level("T10")
GOOD = LevelChoice(
    diseased="T10",
    confirmed_by="A. Ward",
    confirmed_at=WHEN,
    counted_from=CountedFrom.LAST_RIB,
    count=3,
    rib_pairs=RibPairs.TWELVE,
    transitional=Transitional.NONE,
)


@pytest.fixture(scope="module")
def lower(arc):
    """T9 to L1, last rib on T12."""
    return describe_anatomy(arc.make_spine(LOWER).contours())


def judge(anatomy, level=T10, others=(), overrides=(), **changed):
    choices = Choices(
        level=replace(GOOD, **changed), other_counts=others, overrides=tuple(overrides)
    )
    return judge_confirmation(anatomy, level, choices)


def test_a_count_from_an_end_in_view_confirms(lower):
    found = judge(lower)
    assert found.is_confirmed and found.number == 3 and found.towards == "head"
    assert {str(level): n for level, n in found.beads.items()} == {
        "T12": 1, "T11": 2, "T10": 3, "T9": 4, "L1": 2
    }  # fmt: skip


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"confirmed_by": "", "confirmed_at": ""}, None),
        ({"counted_from": CountedFrom.NOT_COUNTED}, None),
        ({"confirmed_at": ""}, "not said when"),
        ({"count": 0}, "to which number"),
        ({"rib_pairs": RibPairs.NOT_ANSWERED}, "how many pairs of ribs"),
        ({"transitional": Transitional.NOT_ANSWERED}, "transitional"),
    ],
)
def test_nothing_left_out_is_assumed(lower, changed, why):
    found = judge(lower, **changed)
    assert not found.is_confirmed
    assert why is None or any(why in doubt for doubt in found.doubts)


@pytest.mark.parametrize(
    "end", [CountedFrom.FIRST_RIB, CountedFrom.SACRUM, CountedFrom.PLACED_MARKER]
)
def test_an_end_that_is_not_in_view_confirms_nothing_whoever_signs(lower, end):
    words = f"the {end.value}, from which it is counted, is not in the images"
    aside = Override(what=words, who="B. Bold", reason="in a hurry")
    found = judge(lower, counted_from=end, marker_at="T11", overrides=[aside])
    assert not found.end_in_view and not found.is_confirmed and not found.beads


@pytest.mark.parametrize("number", [1, 2, 4, 13])
def test_another_number_than_the_outlines_give_is_loud(lower, number):
    found = judge(lower, count=number)
    assert not found.is_confirmed
    (conflict,) = found.conflicts
    assert conflict == (
        f"LEVELS DO NOT AGREE: T10 was counted as number {number} from the last rib, the outlines "
        "give number 3"
    )


def test_names_that_moved_by_one_after_the_confirmation_undo_it(arc):
    """The danger: outlines are brought in anew, named one level off; the signature stays."""
    shifted = arc.make_spine(("T8", "T9", "T10", "T11", "T12"), ribs=("T8", "T9", "T10", "T11"))
    found = judge(describe_anatomy(shifted.contours()))
    assert found.number == 2 and not found.is_confirmed
    assert any("counted as number 3" in words for words in found.conflicts)


def test_a_vertebra_that_nobody_outlined_ends_the_count(arc):
    """T11 is left out, and what lies above is named as if it were not there."""
    spine = arc.make_spine(LOWER)
    gone = [v for v, c in spine.key.items() if c.level == Level("T11")]
    spine.labels[np.isin(spine.labels, gone)] = 0
    names = {"T9": "T10", "T10": "T11"}
    meaning = {}
    for value, (contour,) in spine.meaning.items():
        if value in gone:
            continue
        name = str(contour.level)
        moved = replace(contour, level=Level(names.get(name, name))) if contour.level else contour
        meaning[value] = (moved,)
    spine.meaning = meaning
    anatomy = describe_anatomy(spine.contours())
    found = judge(anatomy)  # T10, "number 3", is T9 in truth
    assert not found.is_confirmed and found.number == 0
    assert any("room for another vertebra" in doubt for doubt in found.doubts)


@pytest.mark.parametrize(
    ("answer", "last", "conflict"),
    [
        (RibPairs.THIRTEEN, "T12", True),
        (RibPairs.ELEVEN, "T12", True),
        (RibPairs.CANNOT_BE_SEEN, "T12", False),
        (RibPairs.THIRTEEN, "T13", False),
        (RibPairs.TWELVE, "T13", True),
        (RibPairs.CANNOT_BE_SEEN, "T13", True),
        (RibPairs.ELEVEN, "T11", False),
        (RibPairs.TWELVE, "T11", True),
    ],
)
def test_the_answer_about_ribs_must_fit_the_names(arc, answer, last, conflict):
    names = {
        "T11": ("T9", "T10", "T11", "L1"),
        "T12": LOWER,
        "T13": ("T10", "T11", "T12", "T13", "L1"),
    }[last]
    ribs = tuple(name for name in names if name != "L1")
    anatomy = describe_anatomy(arc.make_spine(names, ribs=ribs).contours())
    number = names.index("L1") - names.index("T10")
    found = judge(anatomy, rib_pairs=answer, count=number)
    assert found.number == number  # the number holds whatever the names are
    assert found.is_confirmed == (not conflict)
    assert all(words.startswith("LEVELS DO NOT AGREE") for words in found.conflicts)
    assert len(found.conflicts) == conflict


def test_twelve_pairs_answered_while_the_images_show_thirteen(thorax):
    anatomy = replace(describe_anatomy(thorax.contours()), rib_pairs=13)
    assert any("show 13 pairs" in words for words in judge(anatomy).conflicts)


@pytest.mark.parametrize(
    ("other", "said"),
    [
        (
            OtherCount(series="MR", level="T11", who="B"),
            "diseased vertebra is T11, here it is T10",
        ),
        (
            OtherCount(
                series="MR", level="T10", who="B", counted_from=CountedFrom.LAST_RIB, count=4
            ),
            "it is number 4 from the last rib, here it is number 3",
        ),
    ],
)
def test_another_series_with_another_count_is_loud(lower, other, said):
    found = judge(lower, others=(other,))
    assert not found.is_confirmed
    (conflict,) = found.conflicts
    assert conflict.startswith("LEVELS DO NOT AGREE: in MR (counted by B)") and said in conflict
    same = OtherCount(
        series="MR", level="T10", who="B", counted_from=CountedFrom.LAST_RIB, count=3
    )
    assert judge(lower, others=(same,)).is_confirmed
    aside = Override(what=conflict, who="C. Head", reason="the MR was labelled by its console")
    assert judge(lower, others=(other,), overrides=[aside]).is_confirmed


def test_names_against_ribs_confirm_nothing(arc):
    """Twelve pairs in view, all names one off."""
    spine = arc.make_spine(("T1", *[f"T{n}" for n in range(2, 13)], "L1", "L2"),
                           ribs=(*(f"T{n}" for n in range(2, 13)), "L1"))  # fmt: skip
    anatomy = describe_anatomy(spine.contours())
    assert anatomy.level_conflicts
    found = judge(anatomy, count=4)
    assert not found.is_confirmed and anatomy.level_conflicts[0] in found.conflicts


def test_a_last_rib_on_one_side_only_is_asked_about(arc):
    spine = arc.make_spine(LOWER)
    gone = [v for v, c in spine.key.items() if c.structure is Structure.RIB
            and c.level == Level("T12") and c.side.value == "left"]  # fmt: skip
    spine.labels[np.isin(spine.labels, gone)] = 0
    spine.meaning = {v: c for v, c in spine.meaning.items() if v not in gone}
    found = judge(describe_anatomy(spine.contours()))
    assert not found.is_confirmed
    assert any("found on the right only" in words for words in found.conflicts)


def test_a_marker_is_an_end_only_where_it_is_outlined(arc):
    spine = arc.make_spine(LOWER)
    x, y, s = np.moveaxis(spine.local(spine.grid.centres()).reshape(*spine.grid.shape, 3), 3, 0)
    near = (np.hypot(x - 12.0, y - 12.0) < 3.0) & (np.abs(s - spine.height_mm("T12")) < 4.0)
    spine.paint(200, near, over=())
    spine.meaning[200] = (Contour(Structure.IMPLANT),)
    anatomy = describe_anatomy(spine.contours())
    assert [str(level) for level in anatomy.markers] == ["T12"]
    marker = {"counted_from": CountedFrom.PLACED_MARKER, "count": 3}
    assert judge(anatomy, marker_at="T12", **marker).is_confirmed
    for where in ("", "T11"):
        found = judge(anatomy, marker_at=where, **marker)
        assert not found.is_confirmed and not found.end_in_view
    below = judge(anatomy, level=Level("L1"), diseased="L1", marker_at="T12",
                  counted_from=CountedFrom.PLACED_MARKER, count=2)  # fmt: skip
    assert below.is_confirmed and below.number == 2


def test_from_the_sacrum_it_begins_only_at_the_last_lumbar(lower):
    sees = replace(lower, ends_in_view=frozenset({CountedFrom.SACRUM}))
    beads = count_beads(sees, CountedFrom.SACRUM)
    assert not beads.numbers and "not sure to lie on the sacrum" in beads.why_not


def test_four_lumbar_vertebrae_and_no_transitional_one_do_not_agree(lower):
    found = judge(replace(lower, lumbar=4))
    assert not found.is_confirmed and "4 vertebrae lie between" in found.conflicts[0]
    seen = judge(replace(lower, lumbar=4), transitional=Transitional.LUMBOSACRAL)
    assert seen.is_confirmed
