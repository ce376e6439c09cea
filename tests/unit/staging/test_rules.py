"""Sector rules give three answers, and say what decides."""

import pytest

from vertebloc.errors import InputError
from vertebloc.published import staging as published
from vertebloc.space.frames import Side
from vertebloc.space.solids import Box, Union
from vertebloc.staging import Answer, Layer, rule_verdict
from vertebloc.staging.rules import longest_free_posterior_run, rule_verdict_for
from vertebloc.staging.sectors import find_sector


def sectors(*numbers):
    return frozenset(find_sector(number) for number in numbers)


def layers(letters):
    return frozenset(Layer(letter) for letter in letters)


def verdict(numbers, letters="BC"):
    return rule_verdict_for(sectors(*numbers), layers(letters))


@pytest.mark.parametrize(
    ("numbers", "rule", "allowed"),
    [
        ((4, 5, 6, 7, 8), published.WHOLE_BODY, Answer.YES),
        ((5, 6, 7, 8, 9), published.WHOLE_BODY, Answer.YES),
        ((6,), published.WHOLE_BODY, Answer.YES),
        ((3, 4, 5), published.WHOLE_BODY, Answer.NO),
        ((5, 6, 12), published.WHOLE_BODY, Answer.NO),
        ((3, 4, 5), published.HALF_BODY, Answer.YES),
        ((8, 9, 10), published.HALF_BODY, Answer.YES),
        ((2, 3, 4, 5), published.HALF_BODY, Answer.NO),
        ((5, 6), published.HALF_BODY, Answer.NO),
        ((10, 11, 12, 1, 2, 3), published.ARCH, Answer.YES),
        ((12, 1), published.ARCH, Answer.YES),
        ((3, 4), published.ARCH, Answer.NO),
        ((9, 10), published.ARCH, Answer.NO),
    ],
)
def test_rules_allow_the_sectors_of_the_published_sets(numbers, rule, allowed):
    assert verdict(numbers).family(rule).allowed is allowed


@pytest.mark.parametrize(
    ("letters", "allowed"), [("A", Answer.YES), ("AB", Answer.YES), ("ABC", Answer.NO)]
)
def test_from_the_front_only_needs_layers_a_and_b(letters, allowed):
    found = verdict((5, 6, 7, 8), letters).family(published.FRONT_ONLY)
    assert found.allowed is allowed
    if allowed is Answer.NO:
        assert found.reasons == ("tumour in layer C (in bone, deep)",)


def test_swapping_sides_changes_no_answer_but_the_side():
    for numbers in ((5, 6, 7, 8, 9), (3, 4, 5), (1, 2, 3), (4, 5, 6, 7, 8, 9), (6, 2)):
        one = verdict(numbers)
        other = verdict(tuple(13 - number for number in numbers))
        assert [f.allowed for f in one.families] == [f.allowed for f in other.families]
        assert {side.other for side in one.open_sides} == set(other.open_sides)


def test_with_both_pedicles_free_either_side_can_be_opened():
    found = verdict((6, 7))
    assert found.open_sides == (Side.LEFT, Side.RIGHT)
    assert "through the left or right side" in found.sentence


@pytest.mark.parametrize(
    ("numbers", "run"), [((5, 6), 6), ((1,), 3), ((11, 2), 2), ((10, 11, 12, 1, 2, 3), 0)]
)
def test_free_posterior_sectors_are_counted_across_the_midline(numbers, run):
    assert longest_free_posterior_run(sectors(*numbers)) == run


def test_too_few_free_posterior_sectors_are_cautioned():
    assert any("neighbouring posterior" in one for one in verdict((11, 2)).cautions)
    assert not any("neighbouring posterior" in one for one in verdict((5, 6)).cautions)


def test_poor_agreement_between_readers_is_always_said():
    assert any("0.31" in one and "0.54" in one for one in verdict((6,)).cautions)


@pytest.mark.parametrize(
    ("letters", "start"),
    [("BC", "not threatened"), ("BCD", "marginal or intralesional"), ("CDE", "tumour inside")],
)
def test_the_margin_at_the_dura_follows_the_layers(letters, start):
    assert verdict((6,), letters).dura_margin.startswith(start)


def test_no_sector_or_no_layer_is_nothing_to_rule_on():
    with pytest.raises(InputError, match="at least one"):
        verdict((), "B")
    with pytest.raises(InputError, match="at least one"):
        verdict((6,), "")


BODY = (5, 8)


def test_a_pedicle_is_free_only_if_it_stays_free_with_the_outline_grown(ring):
    # A wedge that fills the body ends on the borders of both pedicles' sectors.
    scene = ring.Scene()
    far = rule_verdict(scene.stage(ring.wedge(*BODY)))
    assert far.pedicle_free == {Side.LEFT: Answer.CANNOT_TELL, Side.RIGHT: Answer.CANNOT_TELL}
    assert far.family(published.WHOLE_BODY).allowed is Answer.CANNOT_TELL
    assert "cannot be told" in far.sentence and "pedicle" in far.sentence
    # Eccentric to the right, and well off both pedicles' sectors.
    middle = Box((-4.0, -26.0, 0.0), (3.0, 6.0, 6.0))
    inside = rule_verdict(scene.stage(middle))
    assert inside.open_sides == (Side.LEFT, Side.RIGHT)
    assert inside.family(published.WHOLE_BODY).allowed is Answer.YES
    # Deep in the right pedicle: not free, whatever the outline's error.
    both = Union((middle, Box((-22.0, -6.0, 0.0), (8.0, 3.0, 6.0))))
    right = rule_verdict(scene.stage(both))
    assert right.pedicle_free == {Side.LEFT: Answer.YES, Side.RIGHT: Answer.NO}
    assert right.open_sides == (Side.LEFT,)


def test_without_a_sac_epidural_tumour_leaves_the_dura_marginal_and_says_so(ring):
    scene = ring.Scene()
    staging = scene.stage(ring.wedge(6, 6, inner=3.0), sac=None)
    assert rule_verdict(staging).dura_margin.startswith("marginal or intralesional")


def test_tumour_near_the_canal_leaves_the_dura_untold(ring):
    staging = ring.Scene().stage(ring.wedge(6, 7, inner=8.3))
    assert rule_verdict(staging).dura_margin.startswith("cannot tell")


def test_worked_example_built_from_solids(ring):
    # Tumour of the whole body and the right pedicle, epidural on the right front, well short of
    # the left pedicle and of the right facet: sectors 5 to 9, layers B, C, D.
    right = ring.wedge(6, 8.6, inner=6.5, outer=38.0)
    left = Box((10.0, -21.0, 0.0), (7.0, 7.0, 6.0))
    staging = ring.Scene().stage(Union((right, left)))
    assert ring.numbers(staging) == {5, 6, 7, 8, 9}
    assert staging.layer_letters == ("B", "C", "D")
    found = rule_verdict(staging)
    assert found.family(published.WHOLE_BODY).allowed is Answer.YES
    assert found.pedicle_free == {Side.LEFT: Answer.YES, Side.RIGHT: Answer.NO}
    assert found.open_sides == (Side.LEFT,)
    assert found.dura_margin.startswith("marginal or intralesional")


def test_tumour_of_both_pedicles_built_from_solids_allows_no_whole_body(ring):
    staging = ring.Scene().stage(Union((ring.wedge(4.4, 6), ring.wedge(7, 8.6))))
    assert ring.numbers(staging) == {4, 5, 6, 7, 8, 9}
    found = rule_verdict(staging)
    whole = found.family(published.WHOLE_BODY)
    assert whole.allowed is Answer.NO
    assert whole.reasons == ("tumour in the left pedicle", "tumour in the right pedicle")
    assert found.open_sides == ()
