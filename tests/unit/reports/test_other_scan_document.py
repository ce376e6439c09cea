"""The other scan on sheet and in plan.json: found, unconfirmed, refused, out of date, absent."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from vertebloc.reports import mark_stale
from vertebloc.reports.other_scan_document import add_other_scan, other_scan_document
from vertebloc.reports.paper import Paper
from vertebloc.reports.second_words import CAUTION
from vertebloc.reports.sheet_content import sheet_content

SCHEMA = json.loads((Path(__file__).parents[3] / "docs" / "plan.schema.json").read_text())
FACTS = {
    "kind": "MR", "series_uid": "1.2.3.12345678", "source": "anna-mr", "description": "T2 ANNA",
}  # fmt: skip
PLACE = {
    "answer": "yes",
    "within_mm": 0.34,
    "level": "T10",
    "reasons": [],
    "second_from_ct": [[1.0, 0, 0, 5], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]],
    "searches": {"tries": 12, "came_back": 11, "largest_mm": 0.34, "rms_mm": 0.2},
    "by_neighbour_mm": {"T9": 0.3},
    "landmarks": {"count": 5, "off_mm": 1.5, "alone_good_to_mm": 1.1},
    "confirmed_by": "",
    "confirmed_at": "",
    "reason": "",
}
SIGNED = {"confirmed_by": "Dr A", "confirmed_at": "2026-03-14T15:09:26+00:00"}
UNSURE = {"answer": "cannot tell", "within_mm": None, "reasons": ["only 3 of 12 came back"]}


@pytest.mark.parametrize(
    ("place", "old", "words", "must"),
    [
        (PLACE, (), "The MR lies on the CT to within 0.3 mm at the tumour of T10; "
         "UNCONFIRMED: nobody has looked.", True),
        (PLACE | SIGNED, (), "The MR lies on the CT to within 0.3 mm at the tumour of T10; "
         "confirmed by Dr A.", False),
        (PLACE | UNSURE, (), "Cannot tell whether the MR lies on T10 of the CT; UNCONFIRMED: "
         "nobody has looked.", True),
        (PLACE | UNSURE | SIGNED | {"reason": "counted twice"}, (), "Cannot tell whether the MR "
         "lies on T10 of the CT; confirmed by Dr A, although: counted twice.", True),
        (PLACE | {"answer": "no"}, (), "The MR does NOT lie on T10 of the CT where it was laid; "
         "UNCONFIRMED: nobody has looked.", True),
        (PLACE | SIGNED, ("the CT changed",), "Where the MR lies on the CT is OUT OF DATE: the "
         "CT changed.", True),
        ({}, (), "The MR of this case does not lie on the CT yet.", True),
    ],
    ids=["open", "signed", "unsure", "used all the same", "no", "old", "not laid"],
)  # fmt: skip
def test_the_sentence_stands_in_answer_data_and_sheet(
    made_up: Any, place: dict[str, Any], old: tuple[str, ...], words: str, must: bool
) -> None:
    other = other_scan_document(FACTS, place, old)
    plain = made_up.document()
    document = add_other_scan(plain, other)
    jsonschema.Draft202012Validator(SCHEMA).validate(document)
    assert words in document["answer"] and document["other_scan"]["words"] == words
    said = document["answer_parts"][-2]
    assert (said["about"], said["must_not_be_overlooked"]) == ("other_scan", must)
    assert document["answer_parts"][-1] == plain["answer_parts"][-1]
    printed = sheet_content(document, None, Paper.A4)
    assert words in [part["words"] for part in printed["answer"]]
    note = next(one["words"] for one in printed["notes"] if one["title"] == "Other scan")
    assert "12345678" in note and (CAUTION in note) == bool(place)
    assert "ANNA" not in json.dumps(document) and "anna-mr" not in json.dumps(document)
    assert words in mark_stale(document, ["the CT was changed"])["answer"]


def test_the_schema_wants_the_map_of_a_scan_that_was_laid(made_up: Any) -> None:
    document = add_other_scan(made_up.document(), other_scan_document(FACTS, PLACE, ()))
    for key in ("second_from_ct", "searches", "landmarks", "answer", "within_mm"):
        broken = json.loads(json.dumps(document))
        del broken["other_scan"][key]
        assert not jsonschema.Draft202012Validator(SCHEMA).is_valid(broken), key


def test_a_case_without_another_scan_says_nothing(made_up: Any) -> None:
    document = made_up.document()
    assert add_other_scan(document, other_scan_document({}, {}, ())) == document
    titles = [one["title"] for one in sheet_content(document, None, Paper.A4)["notes"]]
    assert "Other scan" not in titles
