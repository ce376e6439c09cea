"""plan.json keeps the agreed keys, its schema, finite numbers, and no identity."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from vertebloc.errors import InputError
from vertebloc.reports import PlanOrigin, mark_stale, plan_json
from vertebloc.resection.model import TumourLeft

SCHEMA = json.loads(
    (Path(__file__).parents[3] / "docs" / "plan.schema.json").read_text(encoding="utf-8")
)

#: The keys that the project has promised to keep, as paths.
PROMISED = [
    ("answer",),
    ("level",),
    ("tumour", "side"),
    ("tumour", "volume_ml"),
    ("staging", "sectors"),
    ("staging", "sectors", 0, "side"),
    ("staging", "sectors", 0, "region"),
    ("staging", "sectors", 0, "area_fraction"),
    ("staging", "sectors", 0, "involved"),
    ("staging", "layers"),
    ("resection", "faces"),
    ("resection", "faces", 0, "name"),
    ("resection", "faces", 0, "kind"),
    ("resection", "faces", 0, "margin_mm"),
    ("resection", "faces", 0, "weakest_lps_mm"),
    ("resection", "faces", 0, "weakest_in_words"),
    ("resection", "faces", 0, "allowance_offset_mm"),
    ("resection", "faces", 0, "allowance_tilt_deg"),
    ("resection", "piece", "volume_ml"),
    ("resection", "tumour_left_ml"),
    ("inputs",),
    ("assumptions",),
    ("stale",),
]


def validator() -> jsonschema.Draft202012Validator:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    return jsonschema.Draft202012Validator(SCHEMA)


def parent_of(document: Any, path: tuple[Any, ...]) -> Any:
    for step in path[:-1]:
        document = document[step]
    return document


def test_document_follows_the_schema_and_survives_the_file(made_up: Any) -> None:
    document = made_up.document()
    validator().validate(document)
    assert json.loads(plan_json(document)) == document


@pytest.mark.parametrize("path", PROMISED, ids=lambda path: ".".join(map(str, path)))
def test_schema_demands_every_promised_key(made_up: Any, path: tuple[Any, ...]) -> None:
    document = made_up.document()
    del parent_of(document, path)[path[-1]]
    assert not validator().is_valid(document)


def test_schema_refuses_an_allowance_on_a_soft_face(made_up: Any) -> None:
    document = made_up.document()
    soft = [face for face in document["resection"]["faces"] if face["kind"] == "soft"]
    assert soft and not [key for face in soft for key in face if key.startswith("allowance")]
    soft[0]["allowance_offset_mm"] = 3.0
    assert not validator().is_valid(document)


def test_schema_allows_later_keys(made_up: Any) -> None:
    document = made_up.document()
    document["rebuilt"] = {"answer": "cannot tell"}
    document["resection"]["faces"][0]["ink"] = "blue"
    validator().validate(document)


def test_promised_values(made_up: Any) -> None:
    # By hand from conftest.py.
    document = made_up.document()
    assert document["level"] == "T10"
    assert document["tumour"] == {"side": "left", "left_share": 0.93, "volume_ml": 4.4}
    assert document["staging"]["layers"] == ["B", "C", "D"]
    involved = [s["words"] for s in document["staging"]["sectors"] if s["involved"]]
    assert involved == ["left pedicle", "left side of the body", "left middle of the body"]
    caudal = document["resection"]["faces"][2]
    assert caudal["weakest_lps_mm"] == [24.0, -41.0, 216.0]
    assert (caudal["margin_mm"], caudal["allowance_tilt_deg"]) == (4.2, 9.0)
    first = document["resection"]["cuts"][0]
    assert first["entry_lps_mm"] == [31.0, -29.0, 264.0]
    assert first["height_mm"] == 6.0
    assert first["height_in_words"] == "T9 6.0 mm above its lower endplate"
    assert document["resection"]["cuts"][2]["height_in_words"] == (
        "T11 5.5 mm below its upper endplate"
    )
    assert "height_mm" not in document["resection"]["cuts"][4]
    # A prism 47.5 mm high on a regular 24-gon with corners on a circle of radius 18 mm.
    volume_ml = 47.5 * 12 * 18**2 * math.sin(math.radians(15)) / 1000
    assert document["resection"]["piece"]["volume_ml"] == pytest.approx(volume_ml, abs=0.005)
    assert document["made_at"] == "2026-03-14T15:09:26+00:00"


def test_the_answer_is_its_parts(made_up: Any) -> None:
    document = made_up.document()
    assert document["answer"] == " ".join(part["words"] for part in document["answer_parts"])


def test_same_plan_same_bytes(made_up: Any) -> None:
    assert plan_json(made_up.document()) == plan_json(made_up.document())


def test_no_identity_in_the_file(made_up: Any) -> None:
    written = plan_json(made_up.document()).decode()
    for secret in (made_up.identity.name, "Example, Person", "1961", "MU-0042"):
        assert secret not in written


def leaves(value: Any) -> Iterator[Any]:
    if isinstance(value, dict):
        for item in value.values():
            yield from leaves(item)
    elif isinstance(value, list):
        for item in value:
            yield from leaves(item)
    else:
        yield value


def test_numbers_are_finite_short_and_never_minus_zero(made_up: Any) -> None:
    faces = list(made_up.plan.faces)
    faces[5] = replace(faces[5], margin_mm=-0.0001)
    faces[6] = replace(faces[6], margin_mm=2.99999)
    made_up.replan(faces=tuple(faces))
    document = made_up.document()
    numbers = [leaf for leaf in leaves(document) if isinstance(leaf, float)]
    assert len(numbers) > 50
    for number in numbers:
        assert math.isfinite(number) and round(number, 4) == number
        assert math.copysign(1.0, number) > 0 or number < 0
    assert document["resection"]["faces"][6]["margin_mm"] == 3.0


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_numbers_that_are_not_finite_are_refused_by_name(made_up: Any, bad: float) -> None:
    faces = list(made_up.plan.faces)
    faces[3] = replace(faces[3], margin_mm=bad)
    made_up.replan(faces=tuple(faces))
    with pytest.raises(InputError, match="caudal cut, right half is"):
        made_up.document()


def numbers_of_schema(schema: dict[str, Any], name: str = "") -> Iterator[str]:
    """Names of all numbers that the schema describes."""
    if schema.get("type") == "number":
        yield name
    for key, below in schema.get("properties", {}).items():
        yield from numbers_of_schema(below, key)
    if isinstance(schema.get("items"), dict):
        yield from numbers_of_schema(schema["items"], name)


def test_every_number_has_its_unit_in_its_name_or_is_a_share_or_direction() -> None:
    without = {"normal", "blade", "entry_edge", "area_fraction", "left_share"}
    without |= {"lps_from_travel", "lps_from_vertebra"}  # maps
    without.add("second_from_ct")
    names = set(numbers_of_schema(SCHEMA))
    assert len(names) > 15
    assert {name for name in names if not name.endswith(("_mm", "_mm2", "_ml", "_deg"))} == without


def test_a_time_without_its_offset_is_refused() -> None:
    naive = datetime.fromisoformat("2026-03-14T15:09:26")
    with pytest.raises(InputError, match="no offset"):
        PlanOrigin(made_at=naive, code="K7QM-2R", inputs={"ct": "ab"})


def test_marking_stale_equals_computing_with_the_same_reason(made_up: Any) -> None:
    """Both ways of saying it, with tumour left (which must stay first) and without."""
    reasons = ("the contours were changed after this plan was computed",)
    for left in (0.0, 1.4):
        made_up.replan(tumour_left=TumourLeft(by_place_ml={"x": left}, total_ml=left))
        made_up.stale = ()
        fresh = made_up.document()
        made_up.stale = reasons
        stale = made_up.document()
        assert mark_stale(fresh, reasons) == stale
        assert mark_stale(stale, ()) == fresh
        assert "OUT OF DATE: the contours were changed" in stale["answer"]
