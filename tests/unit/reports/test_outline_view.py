"""Outlines that nobody confirmed are said in the answer, on pages and on paper."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vertebloc.anatomy.model import LevelConfirmation
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.outlining.model import OutlineMask
from vertebloc.outlining.record import DrawnOutline, OutlineRecord, Signature
from vertebloc.reports.outline_view import outline_bytes, outline_middle, outlines_view
from vertebloc.reports.page_views import cuts_view, spread_view
from vertebloc.reports.paper import Paper
from vertebloc.reports.sheet_content import sheet_content
from vertebloc.space.grids import Grid

GRID = Grid.from_matrix((30, 20, 10), np.diag([0.5, 0.5, 2.0, 1.0]))
SAID = (
    "The outlines of tumour and sac are DRAFTS that nobody has confirmed: every number that "
    "stands on them is UNCONFIRMED."
)


def outline(structure, count=20, **record):
    mask = (
        OutlineMask.of((2, 3, 4), np.ones((count, 10, 2), bool)) if count else OutlineMask.empty()
    )
    return DrawnOutline(contour=Contour(structure), mask=mask, record=OutlineRecord(**record))


ANNA, BEN = (Signature(name, "2026-03-14T15:09:26+01:00") for name in ("Anna", "Ben"))


def test_a_plan_on_drafts_says_so_before_the_level_and_on_paper(made_up):
    made_up.drafts, made_up.confirmation = ("tumour", "sac"), LevelConfirmation()
    document = made_up.document()
    answer = document["answer"]
    assert SAID in answer
    assert answer.index("DRAFTS") < answer.index("Level T10") < answer.index("Cut through")
    for view in (cuts_view(document), spread_view(document)):
        said = [one for one in view.answer if one.words == SAID]
        assert said and said[0].must_not_be_overlooked
    facts = sheet_content(document, None, Paper.A4)["facts"]
    assert any(fact["words"].endswith("outline UNCONFIRMED") for fact in facts)
    parts = sheet_content(document, None, Paper.A4)["answer"]
    assert [part for part in parts if part["words"] == SAID]


def test_a_plan_on_confirmed_outlines_says_nothing_of_drafts(made_up):
    document = made_up.document()
    assert "DRAFT" not in document["answer"]
    facts = sheet_content(document, None, Paper.A4)["facts"]
    assert not any("UNCONFIRMED" in fact["words"] for fact in facts)


@pytest.mark.parametrize(
    ("record", "said", "must"),
    [
        ({"is_imported": True}, "Tumour: 0.20 ml, as imported.", False),
        ({"drawn_by": (ANNA, BEN)},
         "Tumour: 0.20 ml, DRAFT, drawn by Anna and Ben and confirmed by nobody.", True),
        ({"drawn_by": (replace(ANNA, name=""),)},
         "Tumour: 0.20 ml, DRAFT, drawn by nobody named and confirmed by nobody.", True),
        ({"drawn_by": (ANNA,), "confirmed_by": BEN},
         "Tumour: 0.20 ml, confirmed by Ben, 2026-03-14 15:09.", False),
    ],
)  # fmt: skip
def test_the_answer_says_how_far_an_outline_can_be_relied_on(record, said, must):
    """20 x 10 x 2 voxels of 0.5 x 0.5 x 2 mm: 400 times 0.5 mm3."""
    active = outline(Structure.TUMOUR, **record)
    first = outlines_view(active, (active,), GRID, moved_on=False, is_measured=True).answer[0]
    assert (first.words, first.must_not_be_overlooked) == (said, must)


def test_other_drafts_and_an_old_plan_are_not_overlooked():
    active, sac = outline(Structure.CORD, 0), outline(Structure.SAC, drawn_by=(ANNA,))
    view = outlines_view(active, (sac,), GRID, moved_on=True, is_measured=True)
    assert view.answer[0].words == "Spinal cord: not drawn yet."
    assert [one.must_not_be_overlooked for one in view.answer] == [False, True, True]
    assert view.answer[1].words == "Also drafts: sac."
    assert "OUT OF DATE" in view.answer[2].words
    assert view.cards[0].rows == (("sac", "0.20 ml, draft"),)


def test_that_slices_will_turn_is_said_before_the_canal_is_known():
    active = outline(Structure.TUMOUR, 0)
    before, after = (
        outlines_view(active, (), GRID, moved_on=False, is_measured=known)
        for known in (False, True)
    )
    assert "draft canal and vertebrae first" in before.answer[1].words
    assert len(after.answer) == 1


def test_voxels_travel_a_bit_each_i_first():
    inside = np.zeros((3, 2, 2), bool)
    inside[0, 0, 0] = inside[2, 1, 1] = True
    sent = outline_bytes(OutlineMask.of((5, 6, 7), inside))
    assert np.frombuffer(sent[:24], "<u4").tolist() == [5, 6, 7, 3, 2, 2]
    assert sent[24:] == bytes([0b00000001, 0b00001000])  # the first and the twelfth bit
    middle = outline_middle(OutlineMask.of((5, 6, 7), inside), GRID)
    assert middle == [2.5, 3.0, 14.0]


def test_the_cuts_page_leaves_to_other_pages_what_they_tell(made_up):
    """The arch patient's answer took seven lines: who reads it in a hurry sees no verdict."""
    document = made_up.document()
    rest = (
        "left: from the lamina to the body; within the error of the outlines. Planned margin: x."
    )
    document["answer_parts"] = [
        {"about": "ring", "words": f"It cannot be told: {rest}", "must_not_be_overlooked": True},
        {"about": "way out", "words": f"There is none. {rest}", "must_not_be_overlooked": True},
        {"about": "bone margins", "words": f"Nearest: {rest}", "must_not_be_overlooked": False},
    ]
    ring, way_out, nearest = cuts_view(document).answer[:3]
    assert ring.words == "It cannot be told: see \u201cWhere can the ring be opened?\u201d"
    assert way_out.words == "There is none: see \u201cWhich way out, and what is given up?\u201d"
    assert ring.must_not_be_overlooked and way_out.must_not_be_overlooked
    assert nearest.words == f"Nearest: {rest}"
