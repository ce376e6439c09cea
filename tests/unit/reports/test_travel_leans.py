"""A way that is tilted: told in numbers and words, and drawn as the tilted piece lies."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from typing import Any

import numpy as np
import pytest
import trimesh

from vertebloc.case.way_out_choice import Spared
from vertebloc.reports.travel_data import reading, travel_data
from vertebloc.reports.travel_picture import deciding_height, leans_on_plane, plane_svg
from vertebloc.reports.travel_text import TILTED_NOTE, tilted_sentence
from vertebloc.reports.way_out_choosing import add_way_out, with_ranking
from vertebloc.reports.way_out_pages import way_out_pages
from vertebloc.reports.way_out_views import room_card
from vertebloc.space.frames import Frame
from vertebloc.space.transforms import rigid_frame

from .test_plan_document import validator

SVG = "{http://www.w3.org/2000/svg}"
FRAME = rigid_frame(np.zeros(3), np.eye(3), source=Frame.VERTEBRA)


@pytest.fixture(scope="module")
def kept(way_out_by_hand: Any) -> Any:
    return way_out_by_hand.hand_kept(leaning=True)


def test_what_tilts_gained_is_written_and_never_more_than_was_shown(
    made_up: Any, kept: Any
) -> None:
    """Of 12 and 9 degrees about two axes: sqrt(144 + 81) = 15 degrees."""
    told = kept["way_out"]["tilted"]
    assert told == {
        "gained_mm": 0.45, "worth_mm": 1.23, "most_tilt_deg": pytest.approx(15.0, abs=0.011),
        "most_lift_mm": 1.5, "against_errors": True,
    }  # fmt: skip
    assert told["most_tilt_deg"] >= 15.0 - 1e-9
    document = add_way_out(made_up.document(), with_ranking(kept["way_out"], kept["ways"], ()))
    validator().validate(document)
    last = document["way_out"]["path"][-1]
    assert (last["tilt_about_x_deg"], last["tilt_about_y_deg"], last["lift_mm"]) == (12, -9, 1.5)
    for wrong in ({"gained_mm": 0.1}, {**told, "gained_mm": -0.1}, {**told, "more": 1}, 0.4):
        document["way_out"]["tilted"] = wrong
        assert not validator().is_valid(document)


def test_no_way_is_null_and_no_word(made_up: Any, way_out_by_hand: Any) -> None:
    none = way_out_by_hand.hand_kept()["way_out"]
    assert none["tilted"] is None and tilted_sentence(none) == ""
    validator().validate(add_way_out(made_up.document(), none))


def test_the_gain_stands_beside_the_room_and_on_paper_not_in_the_answer(
    made_up: Any, kept: Any
) -> None:
    way_out = with_ranking(kept["way_out"], kept["ways"], ())
    said = room_card(way_out).note
    assert re.search(r"tilting .* 15 degrees .* 1\.5 mm gains 0\.4 mm there, with all", said, re.I)
    assert "of moves in the plane" in said
    page = way_out_pages(add_way_out(made_up.document(), way_out), lambda *_: None)[0]
    assert said in page.notes and TILTED_NOTE in page.notes
    assert "ilt" not in page.sentence


def test_what_is_said_follows_what_was_found(kept: Any) -> None:
    told = kept["way_out"]
    vain = told | {"tilted": told["tilted"] | {"gained_mm": 0.09}}
    assert "gained less than 0.1 mm there" in tilted_sentence(vain)
    little = told | {"tilted": told["tilted"] | {"gained_mm": 0.1}}
    assert "gains 0.1 mm there" in tilted_sentence(little)
    plain = told | {"tilted": told["tilted"] | {"against_errors": False}}
    assert "outlines as they are" in tilted_sentence(plain)
    assert tilted_sentence({"answer": "cannot_tell", "words": "not computed"}) == ""


def test_a_gain_is_not_told_of_another_plan_than_it_was_found_for(kept: Any, made_up: Any) -> None:
    """The way by hand gives up a root; who spares roots first gets the other plan."""
    other = with_ranking(kept["way_out"], kept["ways"], (Spared.ROOTS,))
    assert other["tilted"] == "another plan" and "not for this one" in tilted_sentence(other)
    same = with_ranking(kept["way_out"], kept["ways"], (Spared.RIBS,))
    assert same["ledger"][0]["roots"] and same["tilted"] == kept["way_out"]["tilted"]
    document = add_way_out(made_up.document(), other)
    validator().validate(document)
    assert TILTED_NOTE not in way_out_pages(document, lambda *_: None)[0].notes


def test_a_plan_from_before_is_still_printed_and_says_nothing_of_tilts(
    made_up: Any, kept: Any
) -> None:
    """It is printed anew, as out of date, whenever the case changes."""
    names = ("tilt_about_x_deg", "tilt_about_y_deg", "lift_mm")
    old = {key: value for key, value in kept["way_out"].items() if key != "tilted"}
    old["path"] = [{k: v for k, v in p.items() if k not in names} for p in old["path"]]
    document = add_way_out(made_up.document(), with_ranking(old, kept["ways"], ()))
    assert "ilt" not in way_out_pages(document, lambda *_: None)[0].notes


def test_tilt_and_lift_of_a_pose_are_read(kept: Any) -> None:
    played = kept["ways"][0]["played"]
    last = len(played["x_mm"]) - 1
    assert "turned 30 degrees, tilted 15 degrees, 1.5 mm to the head: " in reading(played, last)
    assert "tilted" not in reading(played, 0) and "to the head" not in reading(played, 0)


def matrix_of(element: ET.Element) -> np.ndarray:
    """SVG 1.1, 7.6: matrix(a b c d e f) takes u to a u + c v + e, and v to b u + d v + f."""
    a, b, c, d, e, f = map(float, re.findall(r"-?\d+\.?\d*", element.get("transform") or ""))
    return np.array([[a, c, e], [b, d, f], [0.0, 0.0, 1.0]])


def planar_of(transform: str) -> np.ndarray:
    """translate(a b) rotate(t x y): turned about (x, y) first, then shifted."""
    a, b, t, x, y = (float(one) for one in re.findall(r"-?\d+\.?\d*", transform))
    cos, sin = math.cos(math.radians(t)), math.sin(math.radians(t))
    to, back = np.array([[1, 0, x], [0, 1, y], [0, 0, 1.0]]), np.eye(3)
    back[:2, 2] = -x, -y
    turn = np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1.0]])
    return np.array([[1, 0, a], [0, 1, b], [0, 0, 1.0]]) @ to @ turn @ back


def drawn_places(path: ET.Element, drawn: ET.Element, *matrices: np.ndarray) -> np.ndarray:
    """Places in mm of an outline after its matrices, innermost first."""
    numbers = [float(one) for one in re.findall(r"-?\d+\.?\d*", path.get("d") or "")]
    places = np.column_stack((numbers[::2], numbers[1::2], np.ones(len(numbers) // 2)))
    for matrix in matrices:
        places = places @ matrix.T
    x0, y0, mm = (float(drawn.get(f"data-{name}") or 0.0) for name in ("x0", "y0", "mm"))
    return np.column_stack((x0 - places[:, 0], y0 - places[:, 1])) / mm


def test_every_thin_line_lies_where_the_tilted_piece_has_it(kept: Any) -> None:
    """Corners (+-6, +-6) at each height, carried by the pose's motion in space."""
    scene, way = kept["scene"], kept["ways"][0]
    for pose in (20, way["played"]["narrowest"], len(way["played"]["moves"]) - 1):
        drawn = ET.fromstring(plane_svg(scene, way, pose))
        group = next(g for g in drawn.iter(f"{SVG}g") if g.get("class") == "moving")
        lines = [p for p in group if p.get("class") == "other leans"]
        heights = scene["heights_mm"][::2]
        assert len(lines) == len(heights) > 3
        assert leans_on_plane(scene, way)[pose][:-1] == [p.get("transform") for p in lines]
        move = np.array(way["played"]["moves"][pose]).reshape(3, 4)
        for line, height in zip(lines, heights, strict=True):
            places = drawn_places(line, drawn, matrix_of(line), planar_of(group.get("transform")))
            if abs(height) == 8.0:  # the block's own end faces
                continue
            for x in (-6.0, 6.0):
                for y in (-6.0, 6.0):
                    true = (move @ [x, y, height, 1.0])[:2]
                    assert np.linalg.norm(places - true, axis=1).min() < 0.05


def test_where_it_decides_the_filled_part_is_a_true_section(
    kept: Any, way_out_by_hand: Any
) -> None:
    """Beside a section of the moved block by trimesh."""
    scene, way = kept["scene"], kept["ways"][0]
    pose, index = way["played"]["narrowest"], deciding_height(scene, way)
    drawn = ET.fromstring(plane_svg(scene, way, pose))
    group = next(g for g in drawn.iter(f"{SVG}g") if g.get("class") == "moving")
    fill = next(g for g in group if g.get("class") == "piece leans")
    moved = planar_of(group.get("transform"))
    places = drawn_places(next(iter(fill)), drawn, matrix_of(fill), moved)
    piece = way_out_by_hand.hand_room().room.piece
    move = np.eye(4)
    move[:3] = np.array(way["played"]["moves"][pose]).reshape(3, 4)
    block = trimesh.Trimesh(piece.vertices, piece.triangles).apply_transform(move)
    height = scene["heights_mm"][index]
    true = np.array(block.section(plane_origin=[0, 0, height], plane_normal=[0, 0, 1]).vertices)
    for one, other in ((places, true[:, :2]), (true[:, :2], places)):
        away = np.linalg.norm(one[:, None] - other[None], axis=2).min(axis=1)
        assert away.max() < 0.05
    assert np.abs(true[:, :2] - (move[:2, :2] @ [6.0, 6.0] + move[:2, 3])).min() > 1e-3


def test_the_page_gets_one_matrix_for_each_outline_and_a_flat_way_none(
    kept: Any, way_out_by_hand: Any
) -> None:
    data = travel_data(kept, 0, "left", FRAME)
    outlines = re.findall(r'class="[a-z]+ leans"', data["plane"])
    assert {len(leans) for leans in data["played"]["leans"]} == {len(outlines)} != {0}
    assert data["note"] == TILTED_NOTE
    flat = travel_data(way_out_by_hand.hand_kept(), 0, "left", FRAME)
    assert flat["note"] == "" and not any(flat["played"]["leans"])
    assert "leans" not in flat["plane"]
