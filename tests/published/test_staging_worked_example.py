"""The worked staging example and the mirror rule, by hand from the published sector sets.

Outside source: the sets themselves (whole body: sectors 4 to 8 or 5 to 9) and a synthetic
example worked out on paper from them; numbers count counter-clockwise, 1 = left half of the
spinous process.
"""

import pytest

from vertebloc.published import staging as published
from vertebloc.space.frames import Side
from vertebloc.staging import Answer, Layer
from vertebloc.staging.rules import rule_verdict_for
from vertebloc.staging.sectors import find_sector


def verdict(numbers, letters):
    return rule_verdict_for(
        frozenset(find_sector(number) for number in numbers),
        frozenset(Layer(letter) for letter in letters),
    )


@pytest.mark.published(source="boriani1997", place="criteria of the three procedures")
def test_sectors_five_to_nine_open_through_sector_four():
    found = verdict(range(5, 10), "BCD")
    assert found.family(published.WHOLE_BODY).allowed is Answer.YES
    assert found.pedicle_free[find_sector(4).side] is Answer.YES
    assert found.pedicle_free[find_sector(9).side] is Answer.NO
    assert found.open_sides == (Side.LEFT,)  # sector 4 is the left pedicle
    assert found.dura_margin.startswith("marginal or intralesional")
    assert "left side" in found.sentence


@pytest.mark.published(source="boriani1997", place="criteria of the three procedures")
def test_sectors_four_to_nine_leave_no_pedicle_free():
    found = verdict(range(4, 10), "BC")
    assert found.family(published.WHOLE_BODY).allowed is Answer.NO
    assert found.open_sides == ()


def test_published_sets_map_onto_themselves_when_sides_are_swapped():
    for rule in published.RULES:
        mirrored = {frozenset(13 - z for z in allowed) for allowed in rule.within}
        assert mirrored == set(rule.within), rule.name
        assert frozenset(13 - z for z in rule.free) == rule.free


def test_the_later_wording_of_the_half_body_is_not_mirror_symmetric():
    # Why the caution is printed: 2 to 5 mirrors to 8 to 11, not to 7 to 11.
    later = {frozenset(range(2, 6)), frozenset(range(7, 12))}
    assert {frozenset(13 - z for z in allowed) for allowed in later} != later
    assert "mirror" in published.HALF_BODY.caution


@pytest.mark.published(source="boriani2018", place="types 1 and 2a")
def test_front_only_and_arch_follow_the_types_of_2018():
    assert verdict(range(5, 9), "AB").family(published.FRONT_ONLY).allowed is Answer.YES
    assert verdict(range(5, 9), "ABC").family(published.FRONT_ONLY).allowed is Answer.NO
    assert verdict((10, 11, 12), "AB").family(published.ARCH).allowed is Answer.YES
    assert verdict((9, 10, 11), "AB").family(published.ARCH).allowed is Answer.NO


@pytest.mark.published(source="chan2009", place="abstract")
def test_agreement_between_readers_is_as_printed(record_published):
    kappas = (published.KAPPA_SECTORS, published.KAPPA_LAYERS, published.KAPPA_PROCEDURE)
    printed = [0.31, 0.58, 0.54]
    for kappa, theirs, of in zip(kappas, printed, ("sectors", "layers", "procedure"), strict=True):
        record_published(kappa.value, theirs, "", f"kappa of {of}")
    assert [kappa.value for kappa in kappas] == printed
