"""Whatever the team can choose comes back from the file as it was written."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from enum import Enum
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from vertebloc.case.choice_words import (
    Act,
    ArchPart,
    BoneChoice,
    CountedFrom,
    CuffSurface,
    DeliverySide,
    KindChoice,
    OpenSide,
    Placement,
    RibFateChoice,
    RibPairs,
    SoftFace,
    StandingSide,
    TractChoice,
    Transitional,
)
from vertebloc.case.choices import (
    LIMITS,
    ArchChoice,
    Choices,
    CuffChoice,
    CutChoice,
    HalfPlacement,
    LevelChoice,
    OtherCount,
    Override,
    RibChoice,
    SidesChoice,
)
from vertebloc.case.provenance import hash_of_meaning
from vertebloc.exchange.choices_entries import ENTRIES
from vertebloc.exchange.choices_file import read_choices, render_choices
from vertebloc.space.frames import Side

LINES = st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"]), max_size=30)
NAMES = LINES.filter(lambda text: text.strip() != "")


def _word(words: type[Enum]) -> st.SearchStrategy[Any]:
    return st.sampled_from(list(words))


def _number(name: str) -> st.SearchStrategy[float]:
    low, high = LIMITS[name]
    return st.floats(low, high)


HALVES = st.builds(
    HalfPlacement,
    height_mm=_number("height_mm"),
    tilt_deg=_number("tilt_deg"),
    roll_deg=_number("roll_deg"),
)
CUTS = st.just(CutChoice()) | st.builds(
    CutChoice,
    placed=st.just(Placement.BY_HAND),
    halves=st.fixed_dictionaries({Side.LEFT: HALVES, Side.RIGHT: HALVES}),
)
TAKEN = st.sampled_from([RibFateChoice.REMOVED, RibFateChoice.HEAD_ON_PIECE])
RIBS = st.builds(RibChoice, fate=_word(RibFateChoice)) | st.builds(
    RibChoice, fate=TAKEN, length_mm=_number("length_mm")
)
CUFFS = st.just(CuffChoice()) | st.builds(
    CuffChoice,
    surface=st.sampled_from([CuffSurface.PLEURA, CuffSurface.MUSCLE]),
    thickness_mm=_number("thickness_mm"),
)
THORACIC = st.sampled_from([f"T{n}" for n in range(1, 14)])
MOMENTS = st.sampled_from(["", "2026-03-02T14:05:00+01:00", "2026-12-31T23:59:59-09:30"])
OTHER_COUNTS = st.builds(OtherCount, series=NAMES, level=THORACIC, who=NAMES) | st.builds(
    OtherCount, series=NAMES, level=THORACIC, who=NAMES, count=st.integers(1, 26),
    counted_from=st.sampled_from([end for end in CountedFrom if end.value]),
)  # fmt: skip
PLAIN_CHOICES = st.builds(
    Choices,
    level=st.builds(LevelChoice, counted_from=_word(CountedFrom))
    | st.builds(
        LevelChoice,
        diseased=THORACIC | st.sampled_from(["C7", "L1", "L6"]),
        confirmed_by=LINES,
        counted_from=_word(CountedFrom),
        confirmed_at=MOMENTS,
        count=st.integers(0, 26),
        marker_at=THORACIC,
        rib_pairs=_word(RibPairs),
        transitional=_word(Transitional),
    ),
    wanted_margin_mm=_number("wanted_margin_mm"),
    standing_side=_word(StandingSide),
    delivery_side=_word(DeliverySide),
    contour_error_mm=_number("contour_error_mm"),
    kerf_mm=_number("kerf_mm"),
    cranial_cut=CUTS,
    caudal_cut=CUTS,
    arch=st.builds(
        ArchChoice,
        open_side=_word(OpenSide),
        parts=st.dictionaries(_word(ArchPart), _word(BoneChoice)),
    ),
    ribs=st.dictionaries(st.tuples(THORACIC, _word(Side)), RIBS, max_size=5),
    cuffs=st.dictionaries(_word(SoftFace), CUFFS),
    tract=_word(TractChoice),
    acts_order=st.lists(_word(Act), unique=True).map(tuple)
    | st.just((Act.SIGNAL_RUN, Act.INCISION, Act.SIGNAL_RUN)),
    sides=st.just(SidesChoice()) | st.builds(SidesChoice, confirmed_by=NAMES, reason=NAMES),
    overrides=st.lists(
        st.builds(Override, what=NAMES, who=NAMES, reason=NAMES), max_size=3
    ).map(tuple),
    other_counts=st.lists(OTHER_COUNTS, max_size=2).map(tuple),
)  # fmt: skip


def _with_kind(plain: Choices, kind: KindChoice, sagittal_mm: float, several: bool) -> Choices:
    """The same choices for another kind, as far as the diseased vertebra allows it."""
    if kind is KindChoice.HALF_BODY:
        return replace(plain, kind=kind, sagittal_cut_mm=sagittal_mm)
    if kind is KindChoice.ARCH_ONLY or not several:
        return replace(plain, kind=kind)
    beside = {"T13": ("T12", "T13"), "C7": ("C7", "T1"), "L6": ("L5", "L6"), "": ("T9", "T10")}
    name = plain.level.diseased
    return replace(plain, levels=beside.get(name) or (name, f"{name[0]}{int(name[1:]) + 1}"))


CHOICES = st.builds(
    _with_kind, PLAIN_CHOICES, _word(KindChoice), _number("sagittal_cut_mm"), st.booleans()
)
REASONS = st.dictionaries(st.sampled_from([entry.key for entry in ENTRIES]), LINES, max_size=4)


@settings(max_examples=150, deadline=None)
@given(choices=CHOICES, reasons=REASONS)
def test_what_is_written_is_read(choices: Choices, reasons: dict[str, str]) -> None:
    text = render_choices(choices, reasons)
    found = read_choices(text)
    assert found == choices
    assert hash_of_meaning(found) == hash_of_meaning(choices)
    assert render_choices(found, reasons) == text


@settings(max_examples=100, deadline=None)
@given(one=CHOICES, other=CHOICES)
def test_meanings_have_the_same_hash_only_if_they_are_equal(one: Choices, other: Choices) -> None:
    assert (hash_of_meaning(one) == hash_of_meaning(other)) == (one == other)


@settings(max_examples=60, deadline=None)
@given(choices=CHOICES)
def test_comments_blank_lines_and_line_ends_do_not_count(choices: Choices) -> None:
    text = render_choices(choices, {})
    bare = "\r\n".join(row for row in text.split("\n") if not row.startswith("#") and row.strip())
    assert read_choices(bare) == choices
    assert tomllib.loads(bare.replace("\r\n", "\n"))["schema"] == 1
