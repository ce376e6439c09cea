"""What a result was computed from: told in one order, compared in words, hashed by meaning."""

from __future__ import annotations

import hashlib
import math
from dataclasses import replace

import numpy as np
import pytest

from vertebloc.case.choice_words import ArchPart, BoneChoice, RibFateChoice, StandingSide
from vertebloc.case.choices import ArchChoice, Choices, LevelChoice, RibChoice
from vertebloc.case.issued_codes import CodeState, IssuedCode, answer_code
from vertebloc.case.provenance import (
    INPUT_WORDS,
    Inputs,
    canonical_bytes,
    hash_of_meaning,
    what_changed,
)
from vertebloc.errors import InputError
from vertebloc.space.frames import Side

BEFORE = Inputs.of({"ct": "a", "labels": "b", "names": "c", "choices": "d", "schema": "1"})


def test_order_does_not_matter() -> None:
    turned = Inputs.of(dict(reversed(BEFORE.as_dict().items())))
    assert turned == BEFORE
    assert list(turned.as_dict()) == ["ct", "labels", "names", "choices", "schema"]


@pytest.mark.parametrize(
    ("entries", "says"),
    [
        ((("identity", "a"),), "is no input of a plan"),
        ((("ct", ""),), "has no hash"),
        ((("ct", "a"), ("ct", "b")), "named twice"),
    ],
)
def test_wrong_inputs_are_refused(entries: tuple[tuple[str, str], ...], says: str) -> None:
    with pytest.raises(InputError, match=says):
        Inputs(entries)


def test_changes_are_told_in_words() -> None:
    assert what_changed(BEFORE, BEFORE) == ()
    for name in ("ct", "labels", "names", "choices"):
        now = Inputs.of({**BEFORE.as_dict(), name: "new"})
        assert what_changed(BEFORE, now) == (
            f"{INPUT_WORDS[name]} changed after this plan was computed",
        )
    assert what_changed(BEFORE, Inputs.of({**BEFORE.as_dict(), "labels": "new"})) == (
        "the contours were changed after this plan was computed",
    )


def test_several_changes_are_told_in_one_order() -> None:
    now = Inputs.of({"schema": "2", "choices": "new", "surfaces": "s", "ct": "a", "names": "c"})
    assert what_changed(BEFORE, now) == (
        "the contours were removed after this plan was computed",
        "the contour surfaces were added after this plan was computed",
        "the team's choices were changed after this plan was computed",
        "the schema of the case folder was changed from 1 to 2 after this plan was computed",
    )


def test_canonical_bytes_are_those_of_the_value() -> None:
    value = {"b": [1, 2.5, "x"], "a": {"n": None, "t": True}}
    same = {"a": {"t": True, "n": None}, "b": (1.0, 2.5, "x")}
    assert canonical_bytes(value) == canonical_bytes(same)
    assert canonical_bytes({"z": -0.0}) == canonical_bytes({"z": 0})
    assert canonical_bytes(np.float64(0.1)) == canonical_bytes(0.1)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (1, True),
        (1, "1"),
        (None, "None"),
        ("", None),
        (0, None),
        (["a", "b"], ["ab"]),
        (["a,text 1:b"], ["a", "b"]),
        (["a,text b"], ["a", "b"]),
        ([[1], 2], [1, [2]]),
        ({"a": "b"}, [["a", "b"]]),
        ({"a": 1, "b": 2}, {"a": 2, "b": 1}),
        (0.1 + 0.2, 0.3),
        (2**53, 2**53 + 1),
        (Side.LEFT, StandingSide.LEFT),
        (Side.LEFT, "left"),
    ],
)
def test_different_values_have_different_bytes(one: object, other: object) -> None:
    assert canonical_bytes(one) != canonical_bytes(other)


def test_keys_that_do_not_count_are_left_out_at_the_top_only() -> None:
    plan = {"margin_mm": 2.0, "stale": ["old"], "in": {"stale": 1}}
    bare = canonical_bytes(plan, leave_out=("stale",))
    assert bare == canonical_bytes({"margin_mm": 2.0, "in": {"stale": 1}})
    assert bare != canonical_bytes({"margin_mm": 2.0, "in": {}})


@pytest.mark.parametrize("value", [math.nan, math.inf, [1, -math.inf], object(), {1, 2}, b"x"])
def test_what_has_no_one_way_to_be_written_is_refused(value: object) -> None:
    with pytest.raises(InputError, match="cannot be hashed"):
        canonical_bytes(value)


def test_meaning_is_hashed_and_nothing_else() -> None:
    choices = Choices(level=LevelChoice(diseased="T10"))
    same = Choices(
        level=LevelChoice(diseased=" T10 "),
        arch=ArchChoice(parts={ArchPart.LEFT_FACETS: BoneChoice.BY_RULE}),
        ribs={("T9", Side.LEFT): RibChoice(fate=RibFateChoice.BY_RULE)},
    )
    digest = hash_of_meaning(choices)
    assert len(digest) == len(hashlib.sha256().hexdigest())
    assert hash_of_meaning(same) == digest
    others = [
        Choices(),
        replace(choices, kerf_mm=1.1),
        replace(choices, standing_side=StandingSide.RIGHT),
        replace(choices, ribs={("T9", Side.LEFT): RibChoice(fate=RibFateChoice.KEPT)}),
        replace(choices, ribs={("T9", Side.RIGHT): RibChoice(fate=RibFateChoice.KEPT)}),
        replace(choices, level=LevelChoice(diseased="T10", confirmed_by="A. Ward")),
    ]
    assert len({digest, *map(hash_of_meaning, others)}) == 1 + len(others)


class TestCodes:
    FIRST = IssuedCode(code="AAAA-AAAA", made_at="2026-01-02", what="sheet", inputs=BEFORE)
    SECOND = IssuedCode(
        code="BBBB-BBBB",
        made_at="2026-01-03",
        what="sheet",
        inputs=Inputs.of({**BEFORE.as_dict(), "ct": "new"}),
    )

    def test_three_answers(self) -> None:
        issued = (self.FIRST, self.SECOND)
        current = answer_code("BBBB-BBBB", issued, self.SECOND.inputs)
        assert (current.state, current.reasons) == (CodeState.CURRENT, ())
        former = answer_code("AAAA-AAAA", issued, self.SECOND.inputs)
        assert former.state is CodeState.OUT_OF_DATE
        assert former.words == (
            "AAAA-AAAA was made on 2026-01-02 and is out of date, because a newer plan with the "
            "code BBBB-BBBB was computed on 2026-01-03; the CT was changed after this plan was "
            "computed."
        )
        assert answer_code("CCCC-CCCC", issued, BEFORE).state is CodeState.UNKNOWN
        assert answer_code("AAAA-AAAA", (), BEFORE).state is CodeState.UNKNOWN

    def test_further_reasons_count_once(self) -> None:
        reason = "the CT was changed after this plan was computed"
        answer = answer_code("AAAA-AAAA", (self.FIRST,), self.SECOND.inputs, (reason, "another"))
        assert answer.reasons == (reason, "another")
