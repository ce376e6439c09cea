"""A distraction that the team set: beside none, never instead of it, never put forward."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from vertebloc.case.way_out_choice import Spared
from vertebloc.errors import InputError
from vertebloc.reports.travel_data import scene_of, travel_data
from vertebloc.reports.way_out_choosing import with_ranking
from vertebloc.reports.way_out_distraction import distraction_document
from vertebloc.reports.way_out_document import way_out_document
from vertebloc.reports.way_out_pages import way_out_pages
from vertebloc.reports.way_out_views import way_out_view
from vertebloc.space.frames import Frame
from vertebloc.space.transforms import Transform
from vertebloc.way_out import Answer, Bracket
from vertebloc.way_out.distraction import Part, Pull, pulled_room
from vertebloc.way_out.with_pull import with_pull
from vertebloc.workflow.way_out_pulled import Found, scenes_of

PULL = Pull(
    by_mm=4.0, bridge_holds=True, bridge_y_mm=-6.0, sac_y_mm=14.0, head_z_mm=8.0, feet_z_mm=-8.0
)


def found_both(hand, plain=Answer.YES, pulled=Answer.YES):
    """The way known by hand, and beside it one with 0.5 mm more room."""
    one, other = hand.hand_way_out(answer=plain), hand.hand_way_out(answer=pulled)
    wider = {
        e: replace(
            e, model=Bracket(e.model.lower_mm + 0.5, e.model.upper_mm + 0.5),
            with_errors=Bracket(e.with_errors.lower_mm + 0.5, e.with_errors.upper_mm + 0.5),
        )
        for e in other.ledger
    }  # fmt: skip
    other = replace(other, best=wider[other.best], ledger=tuple(wider.values()))
    room = hand.hand_room()
    return Found(
        way_out=with_pull(one, other, 4.0), room=room, pull=PULL,
        pulled=pulled_room(room, (hand.T10,), PULL, hand.SETTINGS),
    )  # fmt: skip


def kept_of(both, hand):
    scene, ways = scenes_of(both, {})
    written = way_out_document(both.way_out, both.room, (hand.T10,)) | distraction_document(
        both.way_out, both.pull
    )
    return {"way_out": written | {"settings": {"least_mm": 2.0}}, "ways": ways, "scene": scene}


def test_a_yes_without_it_is_the_answer_and_says_what_it_would_gain(way_out_by_hand):
    both = found_both(way_out_by_hand)
    assert both.way_out.answer is Answer.YES and both.way_out.best.distraction_mm == 0.0
    kept = kept_of(both, way_out_by_hand)
    way = with_ranking(kept["way_out"], kept["ways"], (Spared.ROOM,))
    assert "DISTRACTION" not in way["words"]  # though it would bring more room
    chosen = [line for line in way["ledger"] if line["chosen"]]
    assert len(chosen) == 1 and chosen[0]["distraction_mm"] == 0.0
    least = way_out_by_hand.hand_way_out().best.model.lower_mm
    said = way["distraction"]["words"]
    assert "It is NOT NEEDED for a yes" in said and not way["distraction"]["needed"]
    with_it, without = (np.floor(10.0 * v) / 10.0 for v in (least + 0.5, least))
    assert f"at best {with_it:.1f} mm with it, {without:.1f} mm without" in said


def test_needed_it_stands_in_the_first_sentence_with_harm_line_and_hold_point(way_out_by_hand):
    both = found_both(way_out_by_hand, plain=Answer.CANNOT_TELL)
    kept = kept_of(both, way_out_by_hand)
    way = with_ranking(kept["way_out"], kept["ways"], ())
    assert way["answer"] == "yes" and way["distraction"]["needed"]
    assert "ONLY WITH DISTRACTION of 4.0 mm, set by the team" in way["words"]
    page = way_out_view({"way_out": way})
    said = [s for s in page.answer if "DISTRACTION" in s.words]
    assert len(said) == 2 and any(s.must_not_be_overlooked for s in said)
    first, ledger, *_ = way_out_pages({"way_out": way}, lambda *_: None)
    assert first.must_not_be_overlooked and "Without it there is no yes" in first.sentence
    assert "HARM LINE" in ledger.sentence and "HOLD POINT" in ledger.sentence
    assert ledger.table is not None
    given = {row[-1] for row in ledger.table.rows if "DISTRACTION of 4.0 mm" in row[-1]}
    assert given and len(ledger.table.rows) == 6


@pytest.mark.parametrize(
    ("plain", "pulled", "answer"),
    [
        (Answer.NO, Answer.NO, Answer.NO),
        (Answer.NO, Answer.CANNOT_TELL, Answer.CANNOT_TELL),
        (Answer.CANNOT_TELL, Answer.NO, Answer.CANNOT_TELL),
        (Answer.NO, Answer.YES, Answer.YES),
    ],
)
def test_a_no_must_hold_for_both(way_out_by_hand, plain, pulled, answer):
    found = found_both(way_out_by_hand, plain, pulled).way_out
    assert found.answer is answer and found.best in found.ledger
    assert found.best.answer is answer
    assert "pulled apart by 4.0 mm" in found.family


def test_a_way_found_so_is_drawn_among_what_was_pulled(way_out_by_hand):
    """The bone of T9 has no level by hand and stays; the sac is stretched."""
    both = found_both(way_out_by_hand)
    kept = kept_of(both, way_out_by_hand)
    assert [way.get("pulled", False) for way in kept["ways"]] == [False] * 3 + [True] * 3
    places = {}
    for way in (0, 3):
        mesh = next(m for m in scene_of(kept, way)["meshes"] if m["kind"] == "sac")
        places[way] = np.array(mesh["places"]).reshape(-1, 3) / 100.0
    assert np.abs(PULL.moved(places[0], Part.STRETCHED) - places[3]).max() < 0.02
    assert np.abs(places[0] - places[3]).max() > 1.0
    frame = Transform(np.eye(4), target=Frame.PATIENT_LPS, source=Frame.VERTEBRA)
    assert (
        travel_data(kept, 3, "left", frame)["meshes"]
        != travel_data(kept, 0, "left", frame)["meshes"]
    )


def test_none_set_nothing_is_said(way_out_by_hand):
    hand = way_out_by_hand
    assert distraction_document(hand.hand_way_out(), None) == {}
    with pytest.raises(InputError, match="is not pulled"):
        with_pull(hand.hand_way_out(), hand.hand_way_out(), 0.0)
