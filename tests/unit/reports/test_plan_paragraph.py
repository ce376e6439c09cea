"""The plan as a paragraph: what it says is what is planned, what is typed is what is chosen."""

from dataclasses import replace

import pytest

from vertebloc.case.choice_words import (
    OpenSide,
    Placement,
    RibFateChoice,
    StandingSide,
)
from vertebloc.case.choices import Choices, CutChoice, HalfPlacement, RibChoice
from vertebloc.errors import InputError
from vertebloc.reports.plan_paragraph import (
    Choice,
    Number,
    PlanGround,
    Words,
    plan_ground,
    plan_paragraph,
    with_changed_part,
)
from vertebloc.space.frames import Side

from .conftest import LEVELS, made_anatomy, made_plan

#: Bodies 24 mm high, 30 mm apart: T9's lower endplate lies 18 mm above T10's middle.
GROUND = PlanGround(
    level="T10",
    neighbour={"cranial": "T9", "caudal": "T11"},
    endplate_mm={"cranial": 18.0, "caudal": -18.0},
    outermost={"cranial": "T10", "caudal": "T10"},
    own_endplate_mm={"cranial": 12.0, "caudal": -12.0},
)


def placed(cranial=24.0, caudal=-23.5, **left):
    def both(height):
        half = HalfPlacement(height_mm=height)
        return {Side.LEFT: half, Side.RIGHT: half}

    found = {"cranial": both(cranial), "caudal": both(caudal)}
    if left:
        found["cranial"][Side.LEFT] = replace(found["cranial"][Side.LEFT], **left)
    return found


def paragraph(choices=None, placements=None, plan=None):
    return plan_paragraph(
        choices or Choices(), placements or placed(), GROUND, plan or made_plan()
    )


def read(parts):
    """The paragraph as a person reads it."""
    said = []
    for part in parts:
        if isinstance(part, Words):
            said.append(part.words)
        elif isinstance(part, Number):
            said.append("[by rule]" if part.value is None else f"[{part.value:.1f} {part.unit}]")
        else:
            said.append(f"[{dict(part.allowed)[part.value]}]")
    return " ".join(said).replace(" ,", ",").replace(" ;", ";").replace(" .", ".")


def part_of(parts, name):
    return next(one for one in parts if not isinstance(one, Words) and one.part == name)


def test_it_reads_as_the_plan():
    said = read(paragraph())
    assert said.startswith(
        "Cuts through T9 [6.0 mm] above its lower endplate, tilted [0.0 °]; "
        "through T11 [5.5 mm] below its upper endplate, tilted [0.0 °] Arch"
    )
    assert "Arch open T10 on the [right (by rule)]; nibble away" in said
    assert "the right pedicle and both laminae Ribs" in said
    assert "Ribs left T10 [removed with its head (by rule)]; left T11 [" in said
    assert "; give up another: [none] Keep [5.0 mm] to tumour at every bone face" in said
    assert said.endswith("you stand at [the patient's left].")


@pytest.mark.parametrize(
    ("height", "said", "value"),
    [
        (24.0, "through T9", 6.0),
        (15.0, "through the disc T9/T10 at", -3.0),
        (10.0, "through T10 itself at", -8.0),
    ],
)
def test_bone_disc_or_its_own_body_is_said(height, said, value):
    parts = paragraph(placements=placed(cranial=height))
    assert said in read(parts)
    assert part_of(parts, "cranial.both.height").value == pytest.approx(value)
    if value < 0:  # then the sign has to be explained
        assert "from the lower endplate of T9 (minus: towards T10)" in read(parts)


def test_of_several_bodies_the_disc_lies_beside_the_outermost():
    """T9 and T10 come out: the disc above is T8/T9, though T10 is the diseased one."""
    ground = replace(
        GROUND,
        neighbour={"cranial": "T8", "caudal": "T11"},
        outermost={"cranial": "T9", "caudal": "T10"},
        endplate_mm={"cranial": 48.0, "caudal": -18.0},
        own_endplate_mm={"cranial": 42.0, "caudal": -12.0},
    )
    said = {
        height: read(plan_paragraph(Choices(), placed(cranial=height), ground, made_plan()))
        for height in (45.0, 40.0)
    }
    assert "through the disc T8/T9 at [-3.0 mm] from the lower endplate of T8" in said[45.0]
    assert "(minus: towards T9)" in said[45.0]
    assert "through T9 itself at [-8.0 mm]" in said[40.0]


def test_below_it_is_counted_downwards():
    parts = paragraph(placements=placed(caudal=-15.0))
    assert "through the disc T10/T11 at [-3.0 mm] from the upper endplate of T11" in read(parts)


def test_halves_apart_are_said_each_and_can_be_put_together():
    placements = placed(height_mm=26.0, tilt_deg=4.0, roll_deg=-3.0)
    parts = paragraph(placements=placements)
    assert part_of(parts, "cranial.left.height").value == pytest.approx(8.0)
    assert part_of(parts, "cranial.right.height").value == pytest.approx(6.0)
    assert part_of(parts, "cranial.left.roll").value == -3.0
    said = read(parts)
    assert "through T9, left half [8.0 mm]" in said and "through T9, right half [6.0 mm]" in said
    assert "rolled [-3.0 °]" in said and "[halves apart]" in said  # what is unusual is said
    assert "through T11 [5.5 mm]" in said  # the caudal cut is one plane: nothing to say
    choices = with_changed_part(Choices(), placements, GROUND, "cranial.halves", "right")
    halves = choices.cranial_cut.halves
    assert halves[Side.LEFT] == halves[Side.RIGHT] == HalfPlacement(height_mm=24.0)


@pytest.mark.parametrize("typed", ["7.5", " 7.5 mm", "7,5"])
def test_a_typed_height_is_taken_from_the_endplate(typed):
    choices = with_changed_part(Choices(), placed(), GROUND, "cranial.both.height", typed)
    assert choices.cranial_cut.placed is Placement.BY_HAND
    assert {half.height_mm for half in choices.cranial_cut.halves.values()} == {25.5}
    lower = with_changed_part(Choices(), placed(), GROUND, "caudal.both.height", typed)
    assert {half.height_mm for half in lower.caudal_cut.halves.values()} == {-25.5}


def test_a_number_of_one_half_leaves_the_other():
    choices = with_changed_part(Choices(), placed(), GROUND, "caudal.left.tilt", "-4")
    halves = choices.caudal_cut.halves
    assert halves[Side.LEFT] == HalfPlacement(height_mm=-23.5, tilt_deg=-4.0)
    assert halves[Side.RIGHT] == HalfPlacement(height_mm=-23.5)
    assert choices.cranial_cut == CutChoice()


def test_what_is_written_back_unchanged_changes_nothing():
    """Each number, typed as it stands, gives the same places: no drift by reading and writing."""
    placements = placed(height_mm=26.0, tilt_deg=4.0, roll_deg=-3.0)
    for part in paragraph(placements=placements):
        if not isinstance(part, Number) or part.part.partition(".")[0] not in placements:
            continue
        which = part.part.partition(".")[0]
        choices = with_changed_part(Choices(), placements, GROUND, part.part, f"{part.value}")
        cut = choices.cranial_cut if which == "cranial" else choices.caudal_cut
        assert cut.halves == placements[which]


@pytest.mark.parametrize(
    ("part", "typed", "said"),
    [
        ("cranial.both.height", "70", "cranial height is 70 mm: use a number from -60 to 40 mm"),
        ("cranial.both.height", "nan", "cranial height is nan mm: use a number"),
        ("cranial.both.height", "5 cm", "'5 cm' is no number for cranial height"),
        ("cranial.both.tilt", "5 mm", "'5 mm' is no number for cranial tilt"),
        ("caudal.left.tilt", "90°", "caudal left tilt is 90 °: use a number from -45 to 45 °"),
        ("wanted_margin", "-1", "wanted margin is -1 mm: use a number from 0 to 50 mm"),
        ("wanted_margin", "", "'' is no number for wanted margin"),
        ("rib.left.T10.length", "-3", "rib left T10 length is -3 mm: use a number from 0 to 300"),
        ("rib.up.T10.fate", "kept", "'up' is no side"),
        ("rib.left.T10.fate", "eaten", "'eaten' cannot be chosen: use one of 'by rule', 'kept'"),
        ("rib.left", "1", "the plan has no number called 'rib.left'"),
        ("sideways.both.height", "1", "the plan has no number called 'sideways.both.height'"),
        ("cranial.halves", "up", "'up' is no side"),
        ("open_side", "up", "'up' cannot be chosen: use one of 'by rule', 'left', 'right'"),
    ],
)
def test_what_cannot_be_meant_is_refused_in_one_line(part, typed, said):
    with pytest.raises(InputError) as error:
        with_changed_part(Choices(), placed(), GROUND, part, typed)
    assert said in str(error.value) and "\n" not in str(error.value)


def test_margin_side_and_standing_are_chosen():
    changed = Choices()
    for part, typed in (("wanted_margin", "3"), ("open_side", "left"), ("standing", "head up")):
        changed = with_changed_part(changed, placed(), GROUND, part, typed)
    assert changed.wanted_margin_mm == 3.0
    assert changed.arch.open_side is OpenSide.LEFT
    assert changed.standing_side is StandingSide.HEAD_UP


def test_a_rib_is_given_up_with_its_length_and_kept_again():
    def after(choices, part, typed):
        return with_changed_part(choices, placed(), GROUND, part, typed)

    longer = after(Choices(), "rib.left.T10.length", "40")
    assert longer.rib("T10", Side.LEFT) == RibChoice(fate=RibFateChoice.REMOVED, length_mm=40.0)
    by_rule = after(longer, "rib.left.T10.length", "")
    assert by_rule.rib("T10", Side.LEFT) == RibChoice(fate=RibFateChoice.REMOVED)
    kept = after(longer, "rib.left.T10.fate", "kept")
    assert kept.rib("T10", Side.LEFT) == RibChoice(fate=RibFateChoice.KEPT)
    more = after(kept, "rib.add", "right.T11")
    assert more.rib("T11", Side.RIGHT).fate is RibFateChoice.REMOVED
    assert more.rib("T10", Side.LEFT).fate is RibFateChoice.KEPT
    assert after(more, "rib.add", "") == more


def test_ribs_that_could_be_given_up_are_offered_and_a_chosen_length_is_shown():
    choices = Choices(
        ribs={("T10", Side.LEFT): RibChoice(fate=RibFateChoice.REMOVED, length_mm=40.0)}
    )
    parts = paragraph(choices)
    assert part_of(parts, "rib.left.T10.length").value == 40.0
    assert part_of(parts, "rib.left.T10.fate").value == "removed"
    offered = dict(part_of(parts, "rib.add").allowed)
    assert offered == {
        "": "none", "right.T10": "right rib of T10", "right.T11": "right rib of T11",
    }  # fmt: skip


def test_every_choice_shows_what_is_chosen_and_every_part_has_a_name_of_its_own():
    parts = [one for one in paragraph() if not isinstance(one, Words)]
    assert len({one.part for one in parts}) == len(parts)
    for one in parts:
        assert one.label
        if isinstance(one, Choice):
            assert one.value in dict(one.allowed)


def test_endplates_are_those_of_the_neighbours():
    class Solids:
        level, levels, neighbours = LEVELS[2], (LEVELS[2],), (LEVELS[1], LEVELS[3])

    assert plan_ground(made_anatomy(), Solids()) == GROUND
