"""Bars of the allowances: the length is the room, the number always beside it."""

import re
import time
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from vertebloc.published import margins
from vertebloc.reports.allowance_bars_svg import LONGEST_MM, bars_svg
from vertebloc.reports.scene import published_hand_error

from .conftest import bone_face, made_plan, soft_face

SVG = "{http://www.w3.org/2000/svg}"
HAND = published_hand_error()


def rows_of(svg):
    return {group.get("data-face"): group for group in ElementTree.fromstring(svg).iter(f"{SVG}g")}


def words_of(element):
    return [one.text for one in element.iter(f"{SVG}text")]


def first_x(element, kind):
    path = next(one for one in element.iter(f"{SVG}path") if one.get("class") == kind)
    return [float(x) for x in re.findall(r"M([\d.]+) ", path.get("d"))]


def bar_of(element):
    return next(one for one in element.iter(f"{SVG}rect") if one.get("class") == "room")


def test_each_bone_face_has_a_bar_thinnest_first_and_soft_ones_none():
    rows = rows_of(bars_svg(made_plan().faces, HAND, 5.0))
    assert list(rows) == [
        "caudal cut, left half", "right pedicle base", "cranial cut, left half",
        "caudal cut, right half", "cranial cut, right half",
    ]  # fmt: skip


def test_length_number_offset_and_tilt_of_a_row():
    row = rows_of(bars_svg([bone_face("a cut", 5.0, 9.0)], HAND, 5.0))["a cut"]
    full = next(one for one in row.iter(f"{SVG}rect") if one.get("class") is None)
    share = float(bar_of(row).get("width")) / float(full.get("width"))
    assert share == pytest.approx(5.0 / LONGEST_MM, abs=1e-3)
    assert words_of(row) == ["a cut", "5.0 mm", "5.0 mm or 9°"]


def test_offset_and_tilt_are_never_said_to_go_together():
    said = words_of(ElementTree.fromstring(bars_svg(made_plan().faces, HAND, 5.0)))
    assert any("NOT BOTH" in words for words in said)
    assert not any(" / " in words or " and " in words for words in said if "°" in words)


def test_bracket_and_tick_stand_at_the_published_error_and_the_wanted_margin():
    row = rows_of(bars_svg([bone_face("a cut", 12.0, 9.0)], HAND, 5.0))["a cut"]
    per_mm = float(bar_of(row).get("width")) / 12.0
    mean = margins.LOCATION_FREE_HAND_MM.value  # cartiaux2010: 5.2 mm
    assert max(first_x(row, "hand")) == pytest.approx(mean * per_mm, abs=0.1)
    assert first_x(row, "wanted") == pytest.approx([5.0 * per_mm], abs=0.1)


def test_a_cut_in_tumour_is_hatched_and_may_not_err():
    row = rows_of(bars_svg([bone_face("a cut", -3.2, 0.0)], HAND, 5.0))["a cut"]
    assert bar_of(row).get("fill") == "url(#bars-hatch)"
    assert words_of(row) == ["a cut", "-3.2 mm", "in tumour, 3.2 mm deep"]


def test_room_beyond_the_bar_ends_in_an_arrow_and_a_search_that_ended_says_so():
    far = bone_face("a cut", 24.0, 20.0)
    far = replace(far, allowance=replace(far.allowance, offset_mm=15.0, tilt_deg=20.0))
    svg = bars_svg([far], HAND, 5.0)
    assert 'class="longer"' in svg
    assert words_of(rows_of(svg)["a cut"])[2] == "≥ 15 mm or ≥ 20°"
    assert 'class="longer"' not in bars_svg([bone_face("a cut", 19.9, 9.0)], HAND, 5.0)


def test_a_face_is_named_as_it_is_and_no_name_acts_as_markup():
    svg = bars_svg([bone_face('a <b> & "c"', 4.0, 3.0)], HAND, 5.0)
    assert words_of(ElementTree.fromstring(svg))[2] == 'a <b> & "c"'


def test_no_bone_face_is_said():
    svg = bars_svg([soft_face("sac", 0.0, "there")], HAND, 5.0)
    assert "no bone cut" in words_of(ElementTree.fromstring(svg))


def test_it_is_fast_enough_for_a_drag():
    faces = [bone_face(f"cut {n}", n + 0.5, 9.0) for n in range(8)]
    took = []
    for _ in range(20):
        start = time.perf_counter()
        bars_svg(faces, HAND, 5.0)
        took.append(time.perf_counter() - start)
    assert min(took) < 0.002  # asked: under 2 ms for 8 faces
