"""The answer says what is found, gravest first, and ends with what is not known."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import CountedFrom, LevelConfirmation
from vertebloc.errors import InputError
from vertebloc.resection.model import BoneFate, FaceKind, TumourLeft

END = "whether the piece can be turned around the sac is not yet computed."


def test_a_split_half_of_the_arch_is_nibbled_behind_its_cut(made_up: Any) -> None:
    parts = ("left lamina", "left transverse process")
    fates = {"right pedicle": BoneFate.PIECEMEAL, **dict.fromkeys(parts, BoneFate.SPLIT)}
    made_up.plan = replace(made_up.plan, bone_fates=fates)
    words = made_up.document()["answer"]
    assert "nibble away the right pedicle and the bone behind the left arch cut." in words


def test_whole_answer_of_a_plain_plan(made_up: Any) -> None:
    # Written out by hand from the made-up person's numbers in conftest.py.
    assert made_up.document()["answer"] == (
        "Cut through T9 6.0 mm above its lower endplate and T11 5.5 mm below its upper endplate; "
        "open the arch of T10 on the right and nibble away the right pedicle and both laminae. "
        "Left rib of T10: removed with its head; left rib of T11: cut to the side, head left on "
        "the piece. "
        "The bone cut nearest to tumour is the caudal cut, left half, 4.2 mm away, left front "
        "corner, 12 mm left of the midline; it may err 4.2 mm, or 9 degrees, not both, before it "
        "touches tumour. "
        "Against the sac the tumour is bare: no margin there. "
        "Distances are right to 0.25 mm if the outlines are. "
        "Still open: " + END
    )


def test_tumour_left_comes_first_even_before_stale_and_level(made_up: Any) -> None:
    left = TumourLeft(by_place_ml={"behind the caudal cut": 1.4}, total_ml=1.4)
    made_up.replan(tumour_left=left)
    made_up.stale = ("the contours were changed after this plan was computed",)
    made_up.confirmation = LevelConfirmation()
    answer = made_up.document()["answer"]
    assert answer.startswith("1.4 ml of tumour stays behind the caudal cut.")
    assert "no margin of this plan is clean" in answer
    order = [answer.index(words) for words in ("stays", "OUT OF DATE", "UNCONFIRMED", "Cut")]
    assert order == sorted(order)
    assert answer.endswith(END)


def test_tumour_left_in_several_places_names_each_largest_first(made_up: Any) -> None:
    places = {"in piecemeal bone": 0.2, "in bone that stays": 0.0, "behind the caudal cut": 1.2}
    made_up.replan(tumour_left=TumourLeft(by_place_ml=places, total_ml=1.4))
    assert made_up.document()["answer"].startswith(
        "1.4 ml of tumour stays: 1.2 ml behind the caudal cut and 0.2 ml in piecemeal bone."
    )


def test_a_trace_of_tumour_left_is_never_called_zero(made_up: Any) -> None:
    trace = TumourLeft(by_place_ml={"behind the caudal cut": 0.002}, total_ml=0.002)
    made_up.replan(tumour_left=trace)
    answer = made_up.document()["answer"]
    assert answer.startswith("Less than 0.01 ml of tumour stays behind the caudal cut.")


@pytest.mark.parametrize(
    ("confirmation", "reason"),
    [
        (LevelConfirmation(), "nobody has signed it and no end to count from is named"),
        (
            LevelConfirmation(confirmed_by="Dr A", counted_from=CountedFrom.SACRUM),
            "the sacrum, from which it is counted, is not in the images",
        ),
        (
            LevelConfirmation(counted_from=CountedFrom.LAST_RIB, end_in_view=True),
            "nobody has signed it",
        ),
        (
            LevelConfirmation(conflicts=("two counts differ",), doubts=("a", "b", "c")),
            "two counts differ, nobody has signed it and 4 more things are open in its count",
        ),
    ],
)
def test_unconfirmed_level_says_why(
    made_up: Any, confirmation: LevelConfirmation, reason: str
) -> None:
    made_up.confirmation = confirmation
    assert f"Level T10 is UNCONFIRMED: {reason}." in made_up.document()["answer"]


def test_a_cut_in_tumour_says_so_and_offers_no_allowance(made_up: Any) -> None:
    faces = list(made_up.plan.faces)
    faces[2] = replace(faces[2], margin_mm=-2.1, tumour_crossed_mm2=12.4)
    made_up.replan(faces=tuple(faces))
    answer = made_up.document()["answer"]
    assert "The caudal cut, left half: the cut passes through tumour over 12 mm²" in answer
    assert "up to 2.1 mm deep" in answer
    assert "may err" not in answer


def test_wanted_margin_is_what_an_error_may_not_touch(made_up: Any) -> None:
    made_up.replan(wanted_margin_mm=2.0)
    assert "not both, before it touches tumour." in made_up.document()["answer"]


def test_a_face_short_of_the_wanted_margin_is_marked(made_up: Any) -> None:
    faces = list(made_up.plan.faces)
    assert faces[2].allowance is not None
    spent = replace(faces[2].allowance, offset_mm=-0.8, tilt_deg=0.0)
    faces[2] = replace(faces[2], allowance=spent)
    made_up.replan(wanted_margin_mm=5.0, faces=tuple(faces))
    document = made_up.document()
    assert "short of the wanted 5.0 mm; so it has no room to err." in document["answer"]
    (bone,) = [part for part in document["answer_parts"] if part["about"] == "bone margins"]
    assert bone["must_not_be_overlooked"]


def test_an_allowance_at_the_end_of_its_search_is_at_least(made_up: Any) -> None:
    faces = list(made_up.plan.faces)
    assert faces[2].allowance is not None
    end = replace(faces[2].allowance, offset_mm=15.0, tilt_deg=20.0)
    faces[2] = replace(faces[2], allowance=end)
    made_up.replan(faces=tuple(faces))
    answer = made_up.document()["answer"]
    assert "it may err at least 15.0 mm, or at least 20 degrees, not both" in answer


def test_soft_face_crossed_is_not_called_bare(made_up: Any) -> None:
    faces = list(made_up.plan.faces)
    assert faces[5].kind is FaceKind.SOFT
    faces[5] = replace(faces[5], margin_mm=-1.5)
    made_up.replan(faces=tuple(faces))
    answer = made_up.document()["answer"]
    assert "At the sac tumour reaches 1.5 mm through the face." in answer
    assert "bare" not in answer


def test_half_cuts_of_different_height_give_both(made_up: Any) -> None:
    cuts = list(made_up.plan.cuts)
    moved = replace(cuts[0].plane, point=cuts[0].plane.point + np.array((0.0, 0.0, 1.5)))
    cuts[0] = replace(cuts[0], plane=moved)
    made_up.replan(cuts=tuple(cuts))
    assert "T9 6.0 to 7.5 mm above its lower endplate" in made_up.document()["answer"]


def test_a_plan_without_bone_face_is_refused(made_up: Any) -> None:
    soft = tuple(face for face in made_up.plan.faces if face.kind is FaceKind.SOFT)
    made_up.replan(faces=soft)
    with pytest.raises(InputError, match="no bone face"):
        made_up.document()


def test_a_cut_vertebra_that_nobody_outlined_is_named(made_up: Any) -> None:
    known = {k: v for k, v in made_up.anatomy.vertebrae.items() if k != Level("T11")}
    made_up.anatomy = replace(made_up.anatomy, vertebrae=known)
    with pytest.raises(InputError, match=r"passes through T11.*outline T11"):
        made_up.document()
