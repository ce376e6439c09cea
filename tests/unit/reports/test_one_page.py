"""What the theatre needs stands on page 1, one line a row, on A4 and Letter.

The made-up case here is as full as the lead made-up patient: eight bone and four soft faces,
places in long words, level unconfirmed, tumour left. Read back by another library.
"""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import numpy as np
import pypdf
import pytest

from vertebloc.anatomy.model import Handedness, LevelConfirmation, SideVerdict
from vertebloc.reports import Paper, Scene, mark_stale, planning_pictures, planning_sheet
from vertebloc.reports import text as words
from vertebloc.reports.sheet_content import sheet_content
from vertebloc.reports.sheet_text import short_barrier, short_face, short_place
from vertebloc.resection.model import TumourLeft
from vertebloc.resection.places import place_in_words

from .conftest import allowance, at, bone_face, made_vertebra, soft_face
from .test_planning_sheet import squeezed

LONG = "17 mm left of the midline, 14 mm in front of the back wall, 18 mm below mid-body"
NAMES = (
    "left half of the cranial cut",
    "right half of the cranial cut",
    "left half of the caudal cut",
    "right half of the caudal cut",
    "left pedicle base",
    "right pedicle base",
    "left arch cut",
    "midline arch cut",
)
SOFT = ("sac", "left side", "right side", "front")
ASSUMED = tuple(
    f"assumption {number} of the plan is said in about as many words as the lead's are"
    for number in range(12)
)


def fill(made_up: Any) -> None:
    """As many faces and as long words as the lead made-up patient has."""
    bone = tuple(
        bone_face(
            name,
            4.2 + place,
            12.0,
            weakest_in_words=LONG,
            barrier="both endplates and disc" if "half" in name else "",
            allowance=allowance(30.0, 30.0) if "arch" in name else allowance(4.0 + place, 12.0),
        )
        for place, name in enumerate(NAMES)
    )
    soft = tuple(soft_face(name, 0.0, LONG) for name in SOFT)
    left = TumourLeft(by_place_ml={"behind the caudal cut": 1.4}, total_ml=1.4)
    made_up.replan(faces=bone + soft, assumptions=ASSUMED, tumour_left=left)
    made_up.confirmation = LevelConfirmation()


@pytest.fixture(scope="module")
def drawn(scene: Scene) -> dict[Paper, dict[str, bytes]]:
    from .conftest import made_staging

    return {paper: planning_pictures(scene, made_staging(), paper) for paper in Paper}


def lines_of(page: pypdf.PageObject) -> list[str]:
    """The page's lines from left to right, single blanks."""
    laid_out = page.extract_text(extraction_mode="layout")
    return [" ".join(line.split()) for line in laid_out.splitlines()]


@pytest.mark.parametrize("paper", list(Paper))
def test_a_full_case_is_one_page_with_each_row_on_one_line(
    made_up: Any, drawn: dict[Paper, dict[str, bytes]], paper: Paper
) -> None:
    fill(made_up)
    document = made_up.document()
    pdf = planning_sheet(document, drawn[paper], made_up.identity, paper)
    (page,) = pypdf.PdfReader(io.BytesIO(pdf)).pages
    lines = lines_of(page)
    for face in document["resection"]["faces"]:
        name = short_face(face["name"])
        (row,) = [line for line in lines if line.startswith(f"{name} ")]
        assert words.mm(face["margin_mm"]) in row
        assert "17 left, 14 in front of back wall, 18 below" in row
        assert short_barrier(face["barrier"]) in row
    whole = squeezed(page.extract_text())
    for part in (document["answer"], *ASSUMED, "page 1 of 1", "tumour LEFT", "ct ababababab"):
        assert squeezed(part).lower() in whole.lower(), part


@pytest.mark.parametrize("paper", list(Paper))
def test_when_the_small_print_runs_on_page_1_keeps_what_theatre_needs(
    made_up: Any, drawn: dict[Paper, dict[str, bytes]], paper: Paper
) -> None:
    fill(made_up)
    made_up.replan(assumptions=tuple(f"{words}; again {n}" for n in range(5) for words in ASSUMED))
    document = mark_stale(made_up.document(), ("the contours were changed",))
    pdf = planning_sheet(document, drawn[paper], made_up.identity, paper)
    first, second = pypdf.PdfReader(io.BytesIO(pdf)).pages
    lines = lines_of(first)
    for face in document["resection"]["faces"]:
        assert any(line.startswith(f"{short_face(face['name'])} ") for line in lines)
    shown = squeezed(first.extract_text())
    answer = [p["words"] for p in document["answer_parts"] if p["about"] != "stale"]
    needed = ("OUT OF DATE: the contours", "UNCONFIRMED", "1.4 ml of tumour stays", "page 1 of 2")
    for part in (*answer, *needed, "Assumed", "not a medical device"):
        assert squeezed(part) in shown, part
    assert "continued" not in shown
    overleaf = squeezed(second.extract_text())
    for part in ("Planning sheet, continued", "page 2 of 2", "K7QM-2R", "Example, Person Q",
                 "T10", "tumour LEFT", "UNCONFIRMED", "Made from"):  # fmt: skip
        assert squeezed(part) in overleaf, part


def test_a_contradiction_of_sides_comes_first_in_the_small_print_once_and_washed(
    made_up: Any,
) -> None:
    said = "LEFT AND RIGHT CONTRADICT: the aorta lies on the right"
    made_up.anatomy = replace(
        made_up.anatomy,
        warnings=(said,),
        handedness=Handedness(verdict=SideVerdict.CONTRADICTS, evidence=(said,), words=said),
    )
    notes = sheet_content(made_up.document(), made_up.identity, Paper.A4)["notes"]
    assert notes[0]["title"] == "Left and right"
    assert notes[0]["must_not_be_overlooked"] is True
    assert sum(said in note["words"] for note in notes) == 1
    made_up.anatomy = replace(made_up.anatomy, warnings=(), handedness=MADE_SIDES)
    notes = sheet_content(made_up.document(), made_up.identity, Paper.A4)["notes"]
    assert not any(note["must_not_be_overlooked"] for note in notes)


MADE_SIDES = Handedness(verdict=SideVerdict.AGREES, evidence=(), words="they agree")


def test_a_bone_margin_short_of_the_wanted_one_is_washed_in_the_table(made_up: Any) -> None:
    made_up.replan(wanted_margin_mm=5.0)
    rows = sheet_content(made_up.document(), None, Paper.A4)["bone"]
    assert {row["name"]: row["bad"] for row in rows} == {
        "caudal cut, left half": True,  # 4.2 mm
        "right pedicle base": False,  # 6.1 mm
        "cranial cut, left half": False,
        "caudal cut, right half": False,
        "cranial cut, right half": False,
    }


@pytest.mark.parametrize(
    ("place", "short"),
    [
        ((-6.6, 20.0, 3.2), "7 right, 2 behind back wall, 3 above"),
        ((0.2, -16.0, -9.0), "midline, 2 behind front wall, 9 below"),
        ((17.0, 15.0, -18.0), "17 left, 3 in front of back wall, 18 below"),
        ((1.2, -22.0, 0.4), "1 left, 4 in front of front wall, 0 above"),
    ],
)
def test_places_are_said_in_short_without_loss(place: Any, short: str) -> None:
    """From what the plan itself says; walls 18 mm from the made-up body's middle."""
    vertebra = made_vertebra(made_up_level())
    assert short_place(place_in_words(vertebra, at(*place))) == short


def made_up_level() -> Any:
    from vertebloc.anatomy.levels import Level

    return Level("T10")


def test_a_place_in_other_words_is_left_whole() -> None:
    assert short_place("left front corner, 12 mm left of the midline") == (
        "left front corner, 12 mm left of the midline"
    )


@pytest.mark.parametrize("value", [8.6484, 8.6449, 8.6451, 9.9496, 0.0449, -0.0451, 9.9451])
def test_unrounded_and_saved_numbers_print_the_same_digits(value: float) -> None:
    """The answer is made from the plan, the table from plan.json, which holds 0.01."""
    assert words.mm(value) == words.mm(round(value, 2))
    assert words.degrees(value) == words.degrees(round(value, 2))


def test_answer_ring_and_table_name_the_same_nearest_cut(made_up: Any, scene: Scene) -> None:
    """Two margins that print alike: all three go on to what may err least."""
    faces = list(made_up.plan.faces)
    faces[2] = replace(faces[2], margin_mm=4.16, allowance=allowance(9.0, 9.0))
    faces[4] = replace(faces[4], margin_mm=4.24, allowance=allowance(3.0, 9.0))
    made_up.replan(faces=tuple(faces))
    name = faces[4].name
    document = made_up.document()
    assert f"nearest to tumour is the {name}, 4.2 mm away" in document["answer"]
    weakest = replace(scene, plan=made_up.plan).weakest_bone_face
    assert weakest is not None and weakest.name == name
    assert sheet_content(document, None, Paper.A4)["bone"][0]["name"] == name


def test_bars_are_as_long_as_the_margin_and_full_at_ten(made_up: Any) -> None:
    faces = list(made_up.plan.faces)
    for place, margin in enumerate((-1.0, 0.0, 4.2, 10.0, 17.0)):
        faces[place] = replace(faces[place], margin_mm=margin)
    made_up.replan(faces=tuple(faces))
    content = sheet_content(made_up.document(), None, Paper.A4)
    assert [row["bar"] for row in content["bone"]] == pytest.approx([0.0, 0.0, 0.42, 1.0, 1.0])
    # Cartiaux 2010: mean location error of free-hand cuts 5.2 mm; the bar ends at 10 mm.
    assert content["hand"] == pytest.approx([0.0, 0.52])
    assert np.all(np.diff(content["hand"]) >= 0)
