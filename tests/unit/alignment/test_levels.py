"""One level off: never accepted in silence. The answer is another level, or *cannot tell*."""

from __future__ import annotations

from collections import Counter
from types import ModuleType

import numpy as np
import pytest

from vertebloc.alignment import Trust
from vertebloc.alignment.level_check import LevelAnswer, LevelCheck, Rival, _decide
from vertebloc.errors import VertBlocError

FEW = (0, pytest.param(6, marks=pytest.mark.full))  #: the lead patient, and a curved spine


def outcome(scenes: ModuleType, number: int, *, right: bool):
    """A trial's result; None if the pair was refused: hardly any overlap, points on a line."""
    try:
        return scenes.run_trial(number, right=right)
    except VertBlocError:
        return None


@pytest.mark.slow
@pytest.mark.parametrize("number", FEW)
def test_a_pair_one_level_off_is_noticed(scenes: ModuleType, number: int) -> None:
    trial = scenes.run_trial(number, right=False)
    assert abs(trial.offset) == 1
    assert not trial.is_silent_accept
    assert trial.answer is Trust.NO and trial.level is LevelAnswer.OTHER


@pytest.mark.slow
@pytest.mark.parametrize("number", [0, 1], ids=["lead", "lumbar"])
def test_the_right_pair_is_placed_and_trusted(scenes: ModuleType, number: int) -> None:
    """Nothing is wrong with these pairs: *cannot tell* would be a search that failed."""
    trial = scenes.run_trial(number, right=True)
    assert trial.level is LevelAnswer.SAME
    assert trial.off_mm < 0.5
    assert trial.answer is Trust.YES


@pytest.mark.full
@pytest.mark.parametrize("right", [True, False])
def test_levels_that_are_all_alike_cannot_be_told(scenes: ModuleType, right: bool) -> None:
    """By construction every level is the same: any other answer would be a guess."""
    trial = scenes.run_trial(9, right=right)
    assert trial.name == scenes.ALIKE
    assert trial.level is LevelAnswer.CANNOT_TELL and trial.answer is Trust.CANNOT_TELL


@pytest.mark.full
@pytest.mark.slow
@pytest.mark.timeout(7200)
def test_a_hundred_pairs_one_level_off(scenes: ModuleType, record_property) -> None:
    """Any patient, contrast, field of view, noise, bend; half start from clicked points."""
    trials = [outcome(scenes, number, right=False) for number in range(100)]
    told = Counter("refused" if one is None else one.answer.value for one in trials)
    record_property("one level off: answers of 100", dict(told))
    accepted = [one for one in trials if one is not None and one.is_silent_accept]
    assert accepted == []
    assert told["refused"] <= 5, told
    assert told["cannot tell"] <= 50, told  # or it would answer nothing


@pytest.mark.full
@pytest.mark.slow
@pytest.mark.timeout(7200)
def test_a_hundred_right_pairs(scenes: ModuleType, record_property) -> None:
    """The other side: a check that never says yes would be as useless."""
    trials = [outcome(scenes, number, right=True) for number in range(100)]
    told = Counter("refused" if one is None else one.answer.value for one in trials)
    record_property("right level: answers of 100", dict(told))
    assert told["no"] == 0, told
    assert told["yes"] >= 30, told  # of the 90 that are not all alike; nobody asked for a share
    good = [one for one in trials if one is not None and one.answer is Trust.YES]
    assert not [one for one in good if one.is_silent_accept]
    # what is told covers what is true in most: the largest of twelve searches and two neighbours
    covered = np.mean([one.off_mm <= one.within_mm + 0.1 for one in good])
    record_property("right level: error told covers the true one", float(covered))
    assert covered >= 0.9


def rival(offset: int, clear: float, share: float = 0.3) -> Rival:
    return Rival(offset=offset, tested=True, gain=0.01 * clear, error=0.01, share=share)


def untested(offset: int) -> Rival:
    return Rival(offset=offset, tested=False, why_not="too little is seen by both")


@pytest.mark.parametrize(
    ("rivals", "answer", "better"),
    [
        ((rival(-1, 9.0), rival(1, 5.0), untested(2)), LevelAnswer.SAME, 0),
        ((rival(-1, 9.0), rival(1, 3.0)), LevelAnswer.CANNOT_TELL, 0),  # not clear
        ((rival(-1, 9.0), rival(1, 9.0, 0.05)), LevelAnswer.CANNOT_TELL, 0),  # hardly better
        ((rival(-1, 9.0), untested(1)), LevelAnswer.CANNOT_TELL, 0),  # not compared
        ((rival(-1, 9.0), rival(1, 9.0), rival(2, 1.0)), LevelAnswer.CANNOT_TELL, 0),
        ((rival(-1, -6.0), rival(1, 9.0)), LevelAnswer.OTHER, -1),
        ((rival(-2, -5.0), rival(-1, -9.0), rival(1, 9.0)), LevelAnswer.OTHER, -1),
    ],
)
def test_the_rule_by_hand(rivals, answer: LevelAnswer, better: int) -> None:
    found: LevelCheck = _decide(rivals)
    assert (found.answer, found.better_offset) == (answer, better)
