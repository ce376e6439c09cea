"""The order of acts: every precondition broken once, by hand. Common practice, no source."""

import dataclasses

import pytest

from vertebloc.case.choice_words import Act, DeliverySide, TractChoice
from vertebloc.case.choices import Choices, Override
from vertebloc.errors import InputError
from vertebloc.published.acts import BAIL_OUTS, PRECONDITIONS, STOPPING
from vertebloc.resection.acts_model import StopAnswer, Trouble
from vertebloc.resection.model import RibFate
from vertebloc.resection.order_of_acts import PlannedSteps, order_acts
from vertebloc.space.frames import Side


@pytest.fixture
def steps(lead):
    plan = lead.plan
    return PlannedSteps(
        cuts=plan.cuts,
        depths=plan.depths,
        open_side=plan.open_side,
        bone_fates=plan.bone_fates,
        rib_fates=plan.rib_fates,
        has_tract=True,
    )


def names(order):
    return [one.act for one in order.acts]


def moved(order, act, *, before):
    """The order with one act put right before another."""
    rest = [one for one in order if one is not act]
    rest.insert(rest.index(before), act)
    return tuple(rest)


def test_the_rule_breaks_nothing(steps):
    order = order_acts(steps, Choices())
    assert order.by_rule and not order.warnings and not order.notes
    done = names(order)
    for condition in PRECONDITIONS:
        assert done.index(Act(condition.first)) < done.index(Act(condition.then))


def test_the_rule_given_as_a_list_is_the_rule(steps):
    rule = order_acts(steps, Choices())
    given = order_acts(steps, Choices(acts_order=tuple(names(rule))))
    assert given.acts == rule.acts
    assert not given.by_rule and not given.warnings


def test_signals_run_right_before_and_after_each_dangerous_act(steps):
    """Whatever lies between two runs holds one dangerous act at most."""
    order = order_acts(steps, Choices())
    marks = [one for one in order.acts if one.dangerous or one.act is Act.SIGNAL_RUN]
    assert sum(one.dangerous for one in marks) == 14
    for before, here, after in zip(marks, marks[1:], marks[2:], strict=False):
        if here.dangerous:
            assert before.act is after.act is Act.SIGNAL_RUN


@pytest.mark.parametrize(
    "condition", PRECONDITIONS, ids=lambda c: f"{c.then} needs {c.first}".replace(" ", "-")
)
def test_each_broken_precondition_is_said_or_refused(steps, condition):
    """What is needed is done right after instead; before closing it is left out."""
    rule = names(order_acts(steps, Choices()))
    then, first = Act(condition.then), Act(condition.first)
    if condition.impossible:
        with pytest.raises(InputError) as refused:
            order_acts(steps, Choices(acts_order=moved(rule, then, before=first)))
        assert f"{then.value!r} cannot come before {first.value!r}" in str(refused.value)
        assert f"{condition.why.what}; put {first.value!r} first" in str(refused.value)
        return
    broken = [act for act in rule if act is not first]
    if then is not Act.CLOSE:
        broken.insert(broken.index(then) + 1, first)
    choices = Choices(acts_order=tuple(broken))
    said = [warning.words for warning in order_acts(steps, choices).warnings]
    assert f"{then.value!r} comes before {first.value!r}: {condition.why.what}" in said


def test_only_the_impossible_is_refused(steps):
    rule = tuple(names(order_acts(steps, Choices())))
    no_rod = tuple(act for act in rule if act is not Act.TEMPORARY_ROD)
    said = [w.words for w in order_acts(steps, Choices(acts_order=no_rod)).warnings]
    assert "'temporary rod' is part of this plan, but not in the order of acts" in said
    assert any(words.startswith("'turn out' comes before 'temporary rod'") for words in said)
    undone = tuple(act for act in rule if act is not Act.LAST_CAUDAL)
    with pytest.raises(InputError, match=r"'turn out' cannot come before 'last passes caudal'"):
        order_acts(steps, Choices(acts_order=undone))
    with pytest.raises(InputError, match="'rebuild' comes after 'close'"):
        order_acts(steps, Choices(acts_order=moved(rule, Act.CLOSE, before=Act.REBUILD)))


def test_a_warning_is_set_aside_by_a_name_and_a_reason(steps):
    rule = tuple(names(order_acts(steps, Choices())))
    order = moved(rule, Act.PROTECTOR, before=Act.FRONT_RIGHT)
    (warning,) = order_acts(steps, Choices(acts_order=order)).open_warnings
    override = Override(what=warning.words, who="Dr A. Example", reason="freed from the left")
    found = order_acts(steps, Choices(acts_order=order, overrides=(override,)))
    assert not found.open_warnings
    assert found.warnings[0].override == override
    other = Override(what="another warning", who="Dr A. Example", reason="why")
    assert order_acts(steps, Choices(acts_order=order, overrides=(other,))).open_warnings


def test_missing_signal_runs_are_said_in_one_line(steps):
    rule = tuple(names(order_acts(steps, Choices())))
    bare = tuple(act for act in rule if act is not Act.SIGNAL_RUN)
    (warning,) = order_acts(steps, Choices(acts_order=bare)).warnings
    assert warning.words.startswith("no signal run both before and after: screws, open the arch")
    assert warning.words.count(",") == 13
    at = max(i for i, act in enumerate(rule) if act is Act.SIGNAL_RUN)
    (warning,) = order_acts(steps, Choices(acts_order=rule[:at] + rule[at + 1 :])).warnings
    assert "after: rebuild;" in warning.words


def test_parts_come_from_the_plan(steps):
    order = order_acts(steps, Choices(delivery_side=DeliverySide.LEFT))
    parts = {one.act: one.parts for one in order.acts}
    assert parts[Act.MARK_TRACT] == ("biopsy tract: with the piece",)
    assert parts[Act.OPEN_ARCH][0] == "on the right"
    assert "right pedicle" in parts[Act.OPEN_ARCH]
    assert "left pedicle" not in parts[Act.OPEN_ARCH]
    assert parts[Act.RIBS_LEFT] == ("left rib of T10: removed with its head",)
    assert parts[Act.TEMPORARY_ROD] == ("on the right, away from delivery",)
    assert parts[Act.TURN_OUT] == ("to the left",)
    assert parts[Act.FIRST_CRANIAL] == (
        "left half of the cranial cut",
        "right half of the cranial cut",
    )
    assert parts[Act.CUT_ARCH] == ("left arch cut", "midline arch cut")
    assert len(parts[Act.PROTECTOR]) == 4


def test_acts_follow_the_plan(steps):
    """No tract, or one that is left: nothing to mark. No rib given up: none to take."""
    for plain, choices in (
        (dataclasses.replace(steps, has_tract=False), Choices()),
        (steps, Choices(tract=TractChoice.LEFT)),
    ):
        assert Act.MARK_TRACT not in names(order_acts(plain, choices))
    kept = dataclasses.replace(steps, rib_fates={"left rib of T10": RibFate.KEPT})
    assert Act.RIBS_LEFT not in names(order_acts(kept, Choices()))
    chosen = Choices(acts_order=tuple(names(order_acts(steps, Choices()))))
    (note, _) = order_acts(kept, chosen).notes
    assert note == "'ribs left' is in the order of acts, but not in this plan: left out"


def test_without_cuts_through_bodies_the_column_stays_whole(steps):
    acts = names(order_acts(dataclasses.replace(steps, depths=()), Choices()))
    assert Act.TEMPORARY_ROD not in acts and Act.LAST_CRANIAL not in acts
    assert acts[-1] is Act.CLOSE and Act.TURN_OUT in acts


def test_one_cannot_stop_once_the_column_is_divided(steps):
    order = order_acts(steps, Choices())
    stop = {one.act: one.stop for one in order.acts if one.act is not Act.SIGNAL_RUN}
    assert stop[Act.INCISION] is StopAnswer.YES
    assert stop[Act.FIRST_CAUDAL] is stop[Act.LAST_CRANIAL] is StopAnswer.ONLY_WITH
    assert stop[Act.LAST_CAUDAL] is stop[Act.LIGAMENTS] is StopAnswer.NO
    rule = tuple(names(order))
    swapped = moved(rule, Act.LAST_CAUDAL, before=Act.LAST_CRANIAL)
    found = order_acts(steps, Choices(acts_order=swapped)).acts
    stop = {one.act: one.stop for one in found if one.act is not Act.SIGNAL_RUN}
    assert stop[Act.LAST_CRANIAL] is StopAnswer.NO
    assert stop[Act.LAST_CAUDAL] is StopAnswer.ONLY_WITH
    after = order.acts[names(order).index(Act.LAST_CAUDAL) + 1]
    assert after.act is Act.SIGNAL_RUN and after.stop is StopAnswer.NO


def test_every_word_of_the_published_practice_is_known():
    known = {act.value for act in Act}
    for condition in PRECONDITIONS:
        assert {condition.then, condition.first} <= known
    assert set(STOPPING) - known == {"last passes", "last passes of both cuts"}
    assert {stopping.answer for stopping in STOPPING.values()} == {a.value for a in StopAnswer}
    assert set(BAIL_OUTS) == {trouble.value for trouble in Trouble}


def test_no_drug_and_no_dose_is_named():
    words = " ".join(step.what for steps in BAIL_OUTS.values() for step in steps).lower()
    assert not any(sign in words for sign in ("mg", "steroid", "methylpred", "mmhg", "ml/"))
    assert not any(letter.isdigit() for letter in words)


def test_an_act_given_twice_is_refused():
    with pytest.raises(InputError, match="'incision' twice"):
        Choices(acts_order=(Act.INCISION, Act.SIGNAL_RUN, Act.SIGNAL_RUN, Act.INCISION))


def test_the_lead_carries_its_acts(lead):
    assert lead.plan.acts.by_rule
    assert [one.act for one in lead.plan.acts.acts].count(Act.MARK_TRACT) == 1
    assert lead.plan.open_side is Side.RIGHT
