"""What plan.json says about the way out never promises more than was shown."""

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.reports.way_out_document import bracket_list, way_out_document
from vertebloc.reports.way_out_text import given_up_words, mm_or_word, plan_label
from vertebloc.way_out import Answer, Bracket

T10 = Level.parse("T10")

SCHEMA = json.loads((Path(__file__).parents[3] / "docs" / "plan.schema.json").read_text())
WAY_OUT = SCHEMA["properties"]["way_out"]


def test_ends_are_rounded_away_from_each_other_and_said_in_words():
    assert bracket_list(Bracket(1.239, 3.001)) == [1.23, 3.01]
    assert bracket_list(Bracket(-np.inf, -np.inf)) == ["none found", "none exists"]
    assert bracket_list(Bracket(-0.001, 8.0)) == [-0.01, 8.0]


def test_schema_takes_words_for_missing_ends_and_no_other():
    bracket = WAY_OUT["properties"]["clearance_bracket_mm"]
    jsonschema.validate(["none found", 3.0], bracket)
    jsonschema.validate(["none found", "none exists"], bracket)
    for wrong in ([None, 3.0], ["none exists", 3.0], [1.0]):
        assert not jsonschema.Draft202012Validator(bracket).is_valid(wrong)


def test_a_line_that_only_asks_whether_a_root_must_go_is_no_list_of_prices(way_out_by_hand):
    """All given up but one root of its own side: said as the question that it is, no plan."""
    room, found = way_out_by_hand.hand_room(), way_out_by_hand.hand_way_out()
    every = {o.name for o in room.room.obstacles if o.sacrifice}
    shut = found.ledger[2]  # on the right
    asks = replace(shut, given_up=frozenset(every - {"right T10 root"}), distraction_mm=4.0)
    spares = replace(shut, given_up=frozenset(every - {"left T10 root"}))
    written = way_out_document(replace(found, ledger=(found.best, asks, spares)), room, (T10,))
    plan, question, other = written["ledger"]
    assert plan["asks_for"] == [] and question["asks_for"] == ["right T10 root"]
    assert other["asks_for"] == []  # the root of the far side is spared: a plan
    assert given_up_words(question) == (
        "DISTRACTION of 4.0 mm",
        "asked whether the right T10 root can be kept, all else that may be given up",
    )
    assert plan_label(question) == (
        "RIGHT, NO: DISTRACTION of 4.0 mm; right T10 root kept, all else given up"
    )


def test_all_given_up_is_named_one_by_one_while_it_is_little(way_out_by_hand):
    room, found = way_out_by_hand.hand_room(), way_out_by_hand.hand_way_out()
    every = frozenset(o.name for o in room.room.obstacles if o.sacrifice)
    entry = replace(found.ledger[2], given_up=every)
    line = way_out_document(replace(found, ledger=(entry,)), room, (T10,))["ledger"][0]
    assert line["all_given_up"] and "the left T10 root" in given_up_words(line)
    line["roots"] = [f"left T{n} root" for n in range(1, 6)]
    assert given_up_words(line) == ("every root and rib in reach that may be given up",)


def test_errors_are_told_in_both_directions_and_apart_from_the_method(way_out_by_hand):
    found = way_out_by_hand.hand_way_out()
    model, errors = found.best.model, found.best.with_errors
    said = way_out_document(found, way_out_by_hand.hand_room(), (T10,))["words"]
    assert f"at least {model.lower_mm:.1f} mm from the sac in the model" in said
    assert f"(at best {model.upper_mm:.1f} mm)" in said
    assert f"at least {errors.lower_mm:.1f} mm with contours 1.0 mm wrong" in said
    assert f"(at best {errors.upper_mm:.1f} mm with both the other way)" in said


def test_a_way_that_may_press_the_sac_is_said_so(way_out_by_hand):
    found = way_out_by_hand.hand_way_out(answer=Answer.CANNOT_TELL)
    best = replace(found.best, model=Bracket(-0.7, 4.0), with_errors=Bracket(-np.inf, 8.0))
    found = replace(found, best=best, ledger=(best, *found.ledger[1:]))
    said = way_out_document(found, way_out_by_hand.hand_room(), (T10,))["words"]
    assert "in the model the best way found may press 0.7 mm into the sac, at best 4.0 mm" in said


def test_a_way_into_the_sac_is_no_room():
    assert mm_or_word(-2.64) == "none, 2.6 mm into the sac"
    assert mm_or_word(2.64) == "2.6 mm"
    assert mm_or_word("none found") == "none found"
