"""What people decided stands in the plan with their names."""

from types import SimpleNamespace

import pytest

from vertebloc.anatomy import Contour, ContourSet, Structure
from vertebloc.anatomy.model import SideVerdict
from vertebloc.case.choice_words import StandingSide, TractChoice
from vertebloc.case.choices import Choices, Override, SidesChoice
from vertebloc.errors import InputError
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.workflow.plan_case import _STANDING
from vertebloc.workflow.team_words import has_tract, team_assumptions

TETRAHEDRON = TriangleSurface(
    [[0, 0, 0], [9, 0, 0], [0, 9, 0], [0, 0, 9]], [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]
)
NOTHING = ContourSet(surfaces={Contour(Structure.TUMOUR, None, None, None): TETRAHEDRON})


def anatomy(verdict):
    words = "Left and right CONTRADICT each other."
    return SimpleNamespace(handedness=SimpleNamespace(verdict=verdict, words=words))


@pytest.mark.parametrize(
    "verdict", [verdict for verdict in SideVerdict if verdict is not SideVerdict.CONTRADICTS]
)
def test_nothing_decided_nothing_said(verdict):
    assert team_assumptions(anatomy(verdict), Choices(), tract=has_tract(NOTHING)) == ()


def test_contradicting_sides_need_a_named_person():
    found = anatomy(SideVerdict.CONTRADICTS)
    with pytest.raises(InputError, match=r"CONTRADICT.*\[sides\]"):
        team_assumptions(found, Choices(), tract=False)
    sides = SidesChoice(confirmed_by="Dr Example", reason="marker on the skin")
    (line,) = team_assumptions(found, Choices(sides=sides), tract=False)
    assert "Dr Example answers for them: marker on the skin" in line


def test_a_warning_set_aside_is_printed_with_who_and_why():
    override = Override(what="T12 is cut by the edge", who="Dr Example", reason="not needed")
    (line,) = team_assumptions(
        anatomy(SideVerdict.CONTRADICTS),
        Choices(overrides=(override,), sides=SidesChoice(confirmed_by="a", reason="b")),
        tract=False,
    )[1:]
    assert line == "warning set aside by Dr Example: 'T12 is cut by the edge'; reason: not needed"


@pytest.mark.parametrize("choice", list(TractChoice))
def test_the_chosen_fate_of_an_outlined_tract_is_printed(choice):
    tract = ContourSet(surfaces={Contour(Structure.TRACT, None, None, None): TETRAHEDRON})
    sides = SidesChoice(confirmed_by="a", reason="b")
    lines = team_assumptions(
        anatomy(SideVerdict.CONTRADICTS),
        Choices(tract=choice, sides=sides),
        tract=has_tract(tract),
    )
    assert f"biopsy tract in soft tissue: {choice.value} (the team's choice)" in lines[-1]


def test_every_way_of_standing_has_a_picture_of_its_own():
    assert set(_STANDING) == set(StandingSide)
    assert len(set(_STANDING.values())) == len(_STANDING)
