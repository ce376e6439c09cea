"""The team's text file: every mistake names its line; what is written is read back."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vertebloc.case.choice_words import (
    ArchPart,
    BoneChoice,
    CountedFrom,
    DeliverySide,
    OpenSide,
    Placement,
    RibFateChoice,
    StandingSide,
)
from vertebloc.case.choices import (
    ArchChoice,
    Choices,
    CutChoice,
    HalfPlacement,
    LevelChoice,
    RibChoice,
)
from vertebloc.case.provenance import hash_of_meaning
from vertebloc.errors import InputError
from vertebloc.exchange.choices_file import read_choices, render_choices
from vertebloc.space.frames import Side

NAMES = ["", "A. Name", 'with "quotes" # and hash', "\u0410\u043d\u043d\u0430"]
number = st.floats(0.0, 20.0).map(lambda x: round(x, 2))
half = st.builds(
    HalfPlacement,
    height_mm=st.floats(-40, 40).map(lambda x: round(x, 2)),
    tilt_deg=st.floats(-20, 20).map(lambda x: round(x, 1)),
    roll_deg=st.floats(-20, 20).map(lambda x: round(x, 1)),
)
cut = st.one_of(
    st.just(CutChoice()),
    st.builds(
        lambda left, right: CutChoice(
            placed=Placement.BY_HAND, halves={Side.LEFT: left, Side.RIGHT: right}
        ),
        half,
        half,
    ),
)
choices = st.builds(
    Choices,
    level=st.builds(
        LevelChoice,
        diseased=st.sampled_from(["T10", "L3", "T4"]),
        confirmed_by=st.sampled_from(NAMES),
        counted_from=st.sampled_from(CountedFrom),
    ),
    wanted_margin_mm=number,
    standing_side=st.sampled_from(StandingSide),
    delivery_side=st.sampled_from(DeliverySide),
    cranial_cut=cut,
    caudal_cut=cut,
    arch=st.builds(
        ArchChoice,
        open_side=st.sampled_from(OpenSide),
        parts=st.dictionaries(st.sampled_from(ArchPart), st.sampled_from(BoneChoice), max_size=4),
    ),
    ribs=st.dictionaries(
        st.tuples(st.sampled_from(["T9", "T10"]), st.sampled_from(Side)),
        st.one_of(
            st.builds(RibChoice, fate=st.just(RibFateChoice.REMOVED), length_mm=number),
            st.builds(RibChoice, fate=st.just(RibFateChoice.KEPT)),
        ),
        max_size=3,
    ),
)


@settings(max_examples=60, deadline=None)
@given(choices)
def test_what_is_written_is_read_back(value):
    text = render_choices(value, {})
    assert read_choices(text) == value
    assert hash_of_meaning(read_choices(text + "\n# a remark\n")) == hash_of_meaning(value)


TEXT = render_choices(
    Choices(level=LevelChoice(diseased="T10")), {"level.diseased": "most tumour"}
)


def line_number(part):
    return next(i for i, line in enumerate(TEXT.splitlines(), 1) if line.startswith(part))


def test_every_entry_has_its_meaning_and_reason_before_it():
    assert "most tumour" in TEXT
    assert 'diseased = "T10"' in TEXT


@pytest.mark.parametrize(
    ("old", "new", "parts"),
    [
        ('diseased = "T10"', 'diseased = "T99"', ["diseased", "T99"]),
        ("wanted_margin_mm = 5.0", 'wanted_margin_mm = "wide"', ["wanted_margin_mm", "wide"]),
        ("wanted_margin_mm = 5.0", "wanted_margin_mm = 500.0", ["wanted_margin_mm", "500"]),
        ('standing_side = "left"', 'standing_side = "lift"', ["standing_side", "lift", "right"]),
        ("kerf_mm = 1.0", "kerv_mm = 1.0", ["kerv_mm", "kerf_mm"]),
        ("kerf_mm = 1.0", "kerf_mm = ", []),
    ],
)
def test_a_mistake_names_line_value_and_what_is_allowed(old, new, parts):
    assert old in TEXT
    with pytest.raises(InputError) as caught:
        read_choices(TEXT.replace(old, new))
    message = str(caught.value)
    assert f"line {line_number(old)}" in message, message
    assert "\n" not in message
    for part in parts:
        assert part in message


def test_ribs_by_name_and_a_wrong_one():
    text = TEXT.replace(
        "[ribs]\n", '[ribs]\n"T10 left" = { fate = "removed", length_mm = 35.0 }\n'
    )
    rib = read_choices(text).rib("T10", Side.LEFT)
    assert (rib.fate, rib.length_mm) == (RibFateChoice.REMOVED, 35.0)
    with pytest.raises(InputError, match="up"):
        read_choices(TEXT.replace("[ribs]\n", '[ribs]\n"T10 up" = "removed"\n'))
