"""Depths and the order of acts on page and paper; expected words by hand from conftest.py."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from typing import Any

import jsonschema
import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.case.choice_words import Act
from vertebloc.case.choices import Override
from vertebloc.reports import theatre_text
from vertebloc.reports.acts_page import acts_rows, acts_sentence, acts_warnings, bail_out_rows
from vertebloc.reports.depth_picture import (
    LETTER_MM,
    WIDTH_MM,
    depth_picture,
    depth_rows,
    depth_sentence,
)
from vertebloc.reports.paper import Paper
from vertebloc.space.frames import Side

from .conftest import made_acts, made_depths, made_vertebra
from .test_plan_document import validator

MM_PER_POINT = 25.4 / 72.0
SVG = "{http://www.w3.org/2000/svg}"


def drawn(fans: Any = None) -> ET.Element:
    fans = made_depths() if fans is None else fans
    return ET.fromstring(depth_picture(fans, made_vertebra(Level("T10"))))


def words_in(picture: ET.Element) -> list[str]:
    return [one.text or "" for one in picture.iter(f"{SVG}text")]


def test_depths_in_plan_json(made_up: Any) -> None:
    document = made_up.document()
    validator().validate(document)
    fans = document["resection"]["depths"]
    assert [fan["cut"] for fan in fans] == [
        "left half of the cranial cut",
        "right half of the cranial cut",
        "left half of the caudal cut",
        "right half of the caudal cut",
    ]
    first = fans[0]
    assert first["planned"]["entry_lps_mm"] == [21.0, -17.0, 264.0]
    assert first["planned"]["far_lps_mm"] == [21.0, -53.0, 264.0]
    assert (first["planned"]["depth_mm"], first["stop_mm"]) == (36.0, 28.7)
    assert first["most_mm"] == pytest.approx(36.56)  # 36 / cos 10 degrees = 36.555
    straight = {"angle_deg": 0.0, "least_mm": 36.0, "most_mm": 36.0, "stop_mm": 28.7}
    assert first["by_angle"][1] == straight | {"vessel": "aorta", "gap_mm": 4.6}
    assert fans[1]["by_angle"][1] == straight


@pytest.mark.parametrize("key", ["depths", "acts"])
def test_schema_demands_depths_and_acts(made_up: Any, key: str) -> None:
    document = made_up.document()
    del document["resection"][key]
    assert not validator().is_valid(document)


def test_schema_refuses_a_gap_called_something_else(made_up: Any) -> None:
    """A gap without its vessel, or without the words that it is information only."""
    document = made_up.document()
    document["resection"]["depths"][0]["vessels_are"] = "permitted overshoot"
    with pytest.raises(jsonschema.ValidationError, match="supine CT"):
        validator().validate(document)
    document = made_up.document()
    del document["resection"]["depths"][0]["by_angle"][1]["vessel"]
    assert not validator().is_valid(document)


def test_schema_wants_a_name_for_a_warning_set_aside(made_up: Any) -> None:
    document = made_up.document()
    warnings = document["resection"]["acts"]["warnings"]
    warnings.append({"words": "x", "open": False})
    assert not validator().is_valid(document)
    warnings[0] |= {"set_aside_by": "Dr A. Example", "reason": "why"}
    validator().validate(document)


def test_rows_of_depths(made_up: Any) -> None:
    rows = depth_rows(made_up.document())
    assert len(rows) == 4 * 3
    assert rows[0] == {
        "cut": "Left half of the cranial cut",
        "held": "10° to the side",
        "far": "36.6 mm",
        "stop": "no first pass",
        "vessel": "aorta 4.6 mm beyond",
        "protector": "in front of the body of T9",
    }
    assert (rows[1]["cut"], rows[1]["held"], rows[1]["stop"]) == ("", "as planned", "28.7 mm")
    assert rows[2]["held"] == "10° to the midline"
    assert rows[2]["vessel"] == "no outlined vessel on this line within 50 mm"


def test_depth_sentence(made_up: Any) -> None:
    said = depth_sentence(made_up.document())
    assert "stop after 28.7 mm (left half of the cranial cut)" in said
    assert "5.0 mm (assumed) short of the far cortex" in said
    assert "may lie 1.2 mm further in" in said  # 1.25, to 0.1 mm
    assert said.endswith("information, never room for the blade.")
    made_up.replan(depths=())
    assert depth_sentence(made_up.document()) == ""
    assert depth_rows(made_up.document()) == []


def test_nothing_calls_a_gap_permitted(made_up: Any) -> None:
    """Depth trusted beyond the cortex: the danger, tried on every text."""
    document = made_up.document()
    said = [depth_sentence(document), *words_in(drawn())]
    said += [value for row in depth_rows(document) for value in row.values()]
    for words in said:
        assert not re.search(r"overshoot|permitted|allowed|may go on|safe", words, re.I)


def test_picture_fits_the_paper_and_reads_from_two_metres() -> None:
    """No letter under 18 pt; upright A4 (210 mm) and Letter (216 x 279 mm) hold it."""
    picture = drawn()
    assert picture.get("width") == f"{WIDTH_MM:g}mm"
    assert picture.get("viewBox", "").split()[2] == f"{WIDTH_MM:g}"
    tall = float(picture.get("height", "").removesuffix("mm"))
    assert WIDTH_MM <= 210 - 2 * 12 and tall <= 279 - 2 * 12
    sizes = [one.get("font-size") for one in picture.iter() if one.get("font-size")]
    assert len(sizes) > 10
    assert min(map(float, filter(None, sizes))) >= 18 * MM_PER_POINT
    assert LETTER_MM >= 18 * MM_PER_POINT
    assert set(Paper) == {Paper.A4, Paper.LETTER}
    inner = picture.find(f"{SVG}svg")
    assert inner is not None  # a sketch: as many millimetres on paper as in the patient
    assert inner.get("viewBox", "").split()[2:] == [inner.get("width"), inner.get("height")]


def test_picture_says_stop_far_cortex_and_vessel_rounded_down() -> None:
    words = words_in(drawn())
    assert words.count("STOP 28 mm") == 4  # 28.7
    assert words.count("far cortex 36 mm") == 4
    assert words.count("aorta 4 mm beyond") == 2  # 4.6
    assert words.count("no outlined vessel in 50 mm") == 2
    for side in ("LEFT", "RIGHT"):
        assert f"cranial cut, patient's {side}" in words
        assert f"caudal cut, patient's {side}" in words
    assert {"L", "R", "BACK", "through the body of T9", "through the body of T11"} <= set(words)


def test_rulers_are_as_long_as_the_depths() -> None:
    """Teal ends at the stop, ivory at the far cortex, slate begins at the vessel."""
    bars = [one for one in drawn().findall(f"{SVG}rect")]
    by_colour: dict[str, list[ET.Element]] = {}
    for bar in bars:
        by_colour.setdefault(bar.get("fill", ""), []).append(bar)
    scale = (WIDTH_MM - 66.0) / (36.0 + 14.0)
    stops = [float(bar.get("width", "")) for bar in by_colour["#0b6e69"]]
    assert stops == pytest.approx([28.7 * scale] * 4, abs=0.01)
    bone = [float(bar.get("width", "")) for bar in by_colour["#e2d8c2"]]
    assert bone == pytest.approx([36.0 * scale] * 4, abs=0.01)
    vessel = [float(bar.get("x", "")) for bar in by_colour["#476a78"]]
    assert vessel == pytest.approx([66.0 + 40.6 * scale] * 2, abs=0.01)


def test_sketch_has_the_patients_left_at_the_left_and_the_back_up() -> None:
    fans = tuple(fan for fan in made_depths() if fan.side is Side.LEFT)
    lines = [
        np.array([pair.split(",") for pair in one.get("points", "").split()], float)
        for one in drawn(fans).iter(f"{SVG}polyline")
        if one.get("stroke-width") == "1.6"
    ]
    assert len(lines) == 2
    for line in lines:
        assert np.all(line[:, 0] < 0.0)  # left half
        assert line[0, 1] < line[1, 1]  # the blade comes from the back, from above
        assert line[1, 1] - line[0, 1] == pytest.approx(28.7 + 6.0, abs=0.01)  # true to scale


def test_picture_without_first_pass_or_outlined_vessel_says_so() -> None:
    fans = tuple(
        replace(fan, stop_mm=0.4, vessels_outlined=(), rays=fan.rays[1:])
        for fan in made_depths()
        if fan.side is Side.RIGHT
    )
    words = words_in(drawn(fans))
    assert words.count("NO FIRST PASS") == 2
    assert words.count("no vessel outlined") == 2
    assert depth_picture((), made_vertebra(Level("T10"))) == ""


def test_rows_of_acts(made_up: Any) -> None:
    document = made_up.document()
    rows = acts_rows(document)
    assert [row["number"] for row in rows] == [str(n + 1) for n in range(len(rows))]
    by_id = {row["id"]: row for row in rows}
    assert by_id["open the arch"]["parts"] == "on the right; right pedicle"
    assert by_id["ribs left"]["parts"] == "left rib of T10: removed with its head"
    assert "ribs right" not in by_id and "mark the tract" not in by_id
    assert by_id["first passes cranial"]["parts"] == (
        "left half of the cranial cut: 28.7 mm; right half of the cranial cut: 28.7 mm"
    )
    assert by_id["last passes caudal"]["parts"].startswith("left half of the caudal cut: 36.0 mm")
    assert by_id["last passes cranial"]["needs"] == (
        "first passes cranial, protector and temporary rod"
    )
    assert by_id["last passes caudal"]["stop_words"].startswith("no: the column is divided")
    assert by_id["turn out"]["signals"] == "signals before and after"
    assert by_id["incision"]["signals"] == ""
    assert acts_sentence(document) == (
        f"{len(rows)} acts, in the usual order; from no. {by_id['last passes caudal']['number']} "
        "on one cannot stop until the column is rebuilt."
    )


def test_a_broken_order_is_said_on_the_sheet_until_somebody_answers_for_it(made_up: Any) -> None:
    rule = [one.act for one in made_acts().acts]
    rule.remove(Act.PROTECTOR)
    rule.insert(rule.index(Act.FRONT_RIGHT), Act.PROTECTOR)
    made_up.replan(acts=made_acts(*rule))
    document = made_up.document()
    (warning,) = acts_warnings(document)
    assert warning["open"]
    assert warning["words"] in document["warnings"]
    assert "1 precondition is broken and wants a name and a reason" in acts_sentence(document)
    aside = Override(what=warning["what"], who="Dr A. Example", reason="freed from the left")
    made_up.replan(acts=made_acts(*rule, overrides=(aside,)))
    document = made_up.document()
    validator().validate(document)
    (answered,) = acts_warnings(document)
    assert not answered["open"]
    assert answered["words"].endswith("Set aside by Dr A. Example: freed from the left.")
    assert answered["words"] in document["warnings"]
    assert "broken" not in acts_sentence(document)


def test_bail_outs_for_every_trouble_with_their_source(made_up: Any) -> None:
    rows = {row["trouble"]: row for row in bail_out_rows(made_up.document())}
    assert set(rows) == {
        "tumour entered", "sac torn", "vessel torn", "signals lost", "piece will not move"
    }  # fmt: skip
    assert rows["signals lost"]["source"] == "vitale2014"
    assert rows["sac torn"]["source"] == "common practice, no source"
    assert all(len(row["steps"]) >= 4 for row in rows.values())


def test_every_act_has_its_words() -> None:
    assert set(theatre_text.ACT_WORDS) == {act.value for act in Act}
