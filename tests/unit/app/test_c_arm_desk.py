"""Predicted pictures are made when looked at, once a plan, and an old one is never the new one."""

from types import SimpleNamespace

import pytest

from vertebloc.app import c_arm_desk
from vertebloc.app.c_arm_desk import CArmDesk
from vertebloc.errors import InputError


@pytest.fixture
def scene(monkeypatch):
    """A case with a plan; pictures are words that name their plan."""
    made = SimpleNamespace(drawn=[], refused=[], told=0, fails=False)
    made.case = SimpleNamespace(
        planned=SimpleNamespace(plan="first", choices=None),
        prepared=SimpleNamespace(anatomy=None, solids=None),
        ct=None,
    )
    shown = tuple(SimpleNamespace(key=key) for key in ("c-arm-behind", "c-arm-side"))

    def predict(projector, plan, key):
        del projector
        if made.fails:
            raise InputError("crop the CT")
        made.drawn.append((plan, key))
        return f"{plan} {key}"

    def tell():
        made.told += 1

    monkeypatch.setattr(c_arm_desk, "plan_c_arm", lambda *given: given[2])
    monkeypatch.setattr(c_arm_desk, "pictures_of", lambda _: shown)
    monkeypatch.setattr(c_arm_desk, "predict_picture", predict)
    monkeypatch.setattr(c_arm_desk, "Projector", SimpleNamespace(of=lambda ct: ct))
    made.desk = CArmDesk(lambda: made.case, tell, made.refused.append)
    return made


def test_a_picture_is_made_once_and_again_for_a_new_plan(scene, run_apart):
    desk = scene.desk
    assert desk.drawing == "" and not desk.is_current
    run_apart(desk.open())
    run_apart(desk.open())
    assert scene.drawn == [("first", "c-arm-side")] and desk.is_current
    scene.case.planned = SimpleNamespace(plan="second", choices=None)
    same = scene.case.planned
    # the picture before stays to be seen, and says that it is old
    assert desk.drawing == "first c-arm-side" and not desk.is_current
    run_apart(desk.open())
    assert desk.drawing == "second c-arm-side" and desk.is_current
    # ring and front arrive behind the plan: the same plan, so the same pictures
    scene.case.planned = SimpleNamespace(plan=same.plan, choices=same.choices)
    assert desk.is_current


def test_another_picture(scene, run_apart):
    run_apart(scene.desk.open())
    run_apart(scene.desk.choose("c-arm-behind"))
    assert scene.desk.drawing == "first c-arm-behind" and scene.desk.is_current
    run_apart(scene.desk.choose("c-arm-side"))
    assert len(scene.drawn) == 2 and scene.desk.drawing == "first c-arm-side"


def test_what_cannot_be_predicted_says_why_once(scene, run_apart):
    scene.fails = True
    run_apart(scene.desk.open())
    run_apart(scene.desk.open())
    assert scene.refused == ["crop the CT"] and not scene.desk.is_busy
    assert scene.desk.drawing == ""


def test_nothing_is_predicted_before_there_is_a_plan(scene, run_apart):
    scene.case.planned = None
    run_apart(scene.desk.open())
    assert not scene.drawn and scene.told == 0
