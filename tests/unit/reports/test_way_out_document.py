"""What plan.json says about the way out never promises more than was shown."""

import json
from pathlib import Path

import jsonschema
import numpy as np

from vertebloc.reports.way_out_document import bracket_list
from vertebloc.way_out import Bracket

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
