"""Planned contamination in the answer and in plan.json."""

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from vertebloc.resection.model import Contamination, OpensTumour

SCHEMA = json.loads((Path(__file__).parents[3] / "docs" / "plan.schema.json").read_text())


def opened(how, name, area, volume):
    return Contamination(
        how=how,
        name=name,
        deepest=np.array([8.0, 3.0, 1.0]),
        deepest_in_words="8 mm left of the midline",
        area_mm2=area,
        volume_ml=volume,
        triangles=np.zeros((1, 3, 3)),
    )


def test_no_contamination_is_no_sentence(made_up):
    document = made_up.document()
    assert "contamination" not in document["answer"]
    assert document["resection"]["contamination"] == []


def test_each_way_is_said_with_its_amount(made_up):
    made_up.replan(
        contamination=(
            opened(OpensTumour.CUT, "left half of the caudal cut", 38.4, 0.038),
            opened(OpensTumour.NIBBLED, "left lamina", 21.0, 0.41),
            opened(OpensTumour.TOUCHED, "right lamina", 3.0, 0.0),
        )
    )
    document = made_up.document()
    jsonschema.validate(document, SCHEMA)
    part = next(p for p in document["answer_parts"] if p["about"] == "contamination")
    assert part["must_not_be_overlooked"]
    assert part["words"] == (
        "Planned contamination: 38 mm² of tumour are cut by the left half of the caudal cut; "
        "left lamina holds 0.41 ml of tumour; tumour touches right lamina."
    )
    written = document["resection"]["contamination"]
    assert [one["area_mm2"] for one in written] == pytest.approx([38.4, 21.0, 3.0])


def test_the_schema_refuses_another_way(made_up):
    made_up.replan(contamination=(opened(OpensTumour.CUT, "a cut", 38.4, 0.038),))
    document = made_up.document()
    document["resection"]["contamination"][0]["how"] = "by chance"
    with pytest.raises(jsonschema.ValidationError, match="by chance"):
        jsonschema.validate(document, SCHEMA)
