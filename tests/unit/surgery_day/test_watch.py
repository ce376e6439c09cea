"""Runs tied to acts, and roots with their muscles; expected by hand from the lists."""

from __future__ import annotations

from vertebloc.anatomy.levels import Level
from vertebloc.case.choice_words import Act
from vertebloc.resection.acts_model import PlannedAct, StopAnswer
from vertebloc.surgery_day import signal_runs, watched_roots
from vertebloc.surgery_day.watch import control_words

RUN = Act.SIGNAL_RUN


def acts(*order, dangerous=(Act.SCREWS, Act.OPEN_ARCH)):
    return [
        PlannedAct(act=act, parts=(), needs=(), dangerous=act in dangerous, stop=StopAnswer.YES,
                   stop_in_words="", troubles=())
        for act in order
    ]  # fmt: skip


def test_each_run_names_the_acts_around_it():
    runs = signal_runs(acts(Act.INCISION, RUN, Act.SCREWS, RUN, Act.OPEN_ARCH, RUN))
    assert [(run.number, run.after, run.before, run.is_baseline) for run in runs] == [
        (1, "incision", "screws", True),
        (2, "screws", "open the arch", False),
        (3, "open the arch", "", False),
    ]
    assert signal_runs(acts(Act.INCISION, Act.CLOSE)) == ()


def test_roots_beside_the_piece_and_of_the_legs_are_watched():
    roots = watched_roots([Level("T10")], {}, [])
    assert [root.root for root in roots] == ["T9", "T10", "T11", "L3", "L5", "S1"]
    assert [root.root for root in roots if root.at_piece] == ["T9", "T10", "T11"]
    assert not any(root.given_up or root.expected or root.by_team for root in roots)


def test_a_root_that_is_given_up_says_what_is_expected_and_from_where():
    roots = {r.root: r for r in watched_roots([Level("L2")], {}, [("L2", "left"), ("L4", "left")])}
    assert roots["L2"].given_up == ("left",)
    assert "11 of 13" in roots["L2"].expected and roots["L2"].expected_source == "l2-roots"
    assert "kept by that institute" in roots["L4"].expected
    assert roots["L3"].expected == ""


def test_the_team_s_own_muscles_replace_common_practice():
    roots = {r.root: r for r in watched_roots([Level("T10")], {"L3": "vastus medialis"}, [])}
    assert roots["L3"].muscle == "vastus medialis" and roots["L3"].by_team
    assert not roots["L5"].by_team


def test_high_levels_need_another_control_than_the_hands():
    assert "hands (above the level)" in control_words([Level("T10")])
    assert "another control" in control_words([Level("T2"), Level("T3")])
