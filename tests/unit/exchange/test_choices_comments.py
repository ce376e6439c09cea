"""Comments of the team outlive every rewriting of the choices file by the program."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vertebloc.case.choice_words import DeliverySide, Placement, RibFateChoice
from vertebloc.case.choices import (
    Choices,
    CutChoice,
    HalfPlacement,
    LevelChoice,
    Override,
    RibChoice,
)
from vertebloc.exchange.choices_comments import comments_of, with_comments
from vertebloc.exchange.choices_file import read_choices, render_choices
from vertebloc.space.frames import Side

HAND = CutChoice(
    placed=Placement.BY_HAND, halves=dict.fromkeys(Side, HalfPlacement(height_mm=20.0))
)
OVERRIDE = Override(what='a "#" warning', who="A. Surgeon", reason="checked # twice")
RIB = {("T10", Side.LEFT): RibChoice(fate=RibFateChoice.REMOVED, length_mm=40.0)}
SOME = [
    Choices(),
    Choices(wanted_margin_mm=7.0, delivery_side=DeliverySide.LEFT),
    Choices(cranial_cut=HAND),
    Choices(ribs=RIB, overrides=(OVERRIDE,)),
    Choices(level=LevelChoice(diseased="T10", confirmed_by='Dr "#1"'), cranial_cut=HAND, ribs=RIB),
]


def plain(choices):
    return render_choices(choices, {})


def rewritten(before, choices):
    return with_comments(before, plain(choices))


def lines_with(text, said):
    return [line for line in text.splitlines() if said in line]


def test_above_and_behind_an_entry_they_stay_there():
    before = plain(Choices()).replace("kerf_mm = 1.0", "# as measured\nkerf_mm = 1.0  # our saw")
    after = rewritten(before, Choices(wanted_margin_mm=6.0)).splitlines()
    at = after.index("kerf_mm = 1.0  # our saw")
    assert after[at - 1] == "# as measured"
    changed = rewritten(before, Choices(kerf_mm=2.0)).splitlines()
    at = changed.index("kerf_mm = 2.0  # our saw")
    assert changed[at - 1] == "# as measured"


def test_without_comments_of_the_team_nothing_is_added():
    for before in SOME:
        for after in SOME:
            assert rewritten(plain(before), after) == plain(after)


def test_a_comment_of_what_is_gone_goes_to_its_table_and_stays_there():
    before = plain(SOME[4])
    before = before.replace("[cuts.cranial.left]\n", "[cuts.cranial.left]\n# chosen in theatre\n")
    before = before.replace('\n"T10 left" = {', '\n# ask the chest team\n"T10 left" = {')
    after = rewritten(before, Choices())
    assert len(lines_with(after, "# chosen in theatre")) == 1
    assert len(lines_with(after, "# ask the chest team")) == 1
    assert read_choices(after) == Choices()
    again = rewritten(after, SOME[4])
    assert len(lines_with(again, "# chosen in theatre")) == 1
    assert read_choices(again) == SOME[4]


def test_an_entry_put_out_of_use_by_hand_is_a_comment_of_the_team():
    before = plain(Choices()).replace("kerf_mm = 1.0", "#kerf_mm = 2.0")
    after = rewritten(before, Choices(wanted_margin_mm=6.0))
    assert "#kerf_mm = 2.0" in after.splitlines()
    assert read_choices(after) == Choices(wanted_margin_mm=6.0)


def test_another_versions_wording_is_no_comment_of_the_team():
    before = plain(Choices()).replace(
        "# Bone lost to the blade, mm; taken from the side that stays.", "# Width of the kerf."
    )
    assert before != plain(Choices())
    assert rewritten(before, Choices()) == plain(Choices())


@pytest.mark.parametrize("ending", ["\r\n", "\n"])
def test_a_file_of_another_system_and_short_ways_to_write(ending):
    before = ending.join([
        "\ufeff# ours", 'level.diseased = "T10" # counted', "", "ribs.'t10 LEFT' = \"kept\" # why",
        "acts_order = [ # none yet", "] # so far", "# the end",
    ])  # fmt: skip
    after = rewritten(before, read_choices(before))
    assert read_choices(after) == read_choices(before)
    assert 'diseased = "T10"  # counted' in after.splitlines()
    assert '"T10 left" = "kept"  # why' in after.splitlines()
    for said in ("# ours", "# none yet", "# so far", "# the end"):
        assert len(lines_with(after, said)) == 1, said


@pytest.mark.parametrize(
    ("statement", "kept", "comments"),
    [
        ("a = 1 # x", "a = 1", ["# x"]),
        ('a = "# no" # yes # all', 'a = "# no"', ["# yes # all"]),
        ("a = '# no' # yes", "a = '# no'", ["# yes"]),
        ('a = "\\"# no" # yes', 'a = "\\"# no"', ["# yes"]),
        ("a = '\\' # yes", "a = '\\'", ["# yes"]),
        ('a = """\n# no\n""" # yes', 'a = """\n# no\n"""', ["# yes"]),
        ("a = [ # one\n1, # two\n]", "a = [ \n1, \n]", ["# one", "# two"]),
    ],
)
def test_a_comment_begins_where_toml_says(statement, kept, comments):
    """TOML 1.0.0: a hash is a comment except within a string (general reader beside it)."""
    assert comments_of(statement) == (kept, comments)
    assert tomllib.loads(kept) == tomllib.loads(statement)


WORDS = st.text(
    st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zl", "Zp"]), max_size=20
)


@st.composite
def commented(draw):
    """A file with comments at any line, above or behind, each with a number of its own."""
    choices = draw(st.sampled_from(SOME))
    rows = plain(choices).splitlines()
    said = []
    for place in sorted(draw(st.sets(st.integers(0, len(rows)), max_size=12)), reverse=True):
        comment = f"# <{len(said)}> {draw(WORDS)}".rstrip()
        behind = draw(st.booleans())
        row = rows[place] if place < len(rows) else ""
        if behind and row and not row.startswith("#"):
            rows[place] = f"{row} {comment}"
        else:
            rows.insert(place, comment)
        said.append(comment)
    return "\n".join(rows) + draw(st.sampled_from(["", "\n", "\n\n"])), choices, said


@settings(deadline=None, max_examples=60)
@given(commented(), st.lists(st.sampled_from(SOME), min_size=1, max_size=3))
def test_no_comment_is_lost_or_doubled_whatever_is_chosen(file, chosen):
    text, choices, said = file
    assert read_choices(text) == choices
    for after in chosen:
        text = rewritten(text, after)
        assert read_choices(text) == after
        for number, comment in enumerate(said):
            (line,) = lines_with(text, f"# <{number}>")
            assert line.endswith(comment)
    assert rewritten(text, chosen[-1]) == text  # and they have come to rest
