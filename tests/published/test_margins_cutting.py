"""Figures on cutting accuracy: those computed are computed again, with scipy."""

import pytest
from scipy.stats import norm

from vertebloc.published import margins

SHARE = margins.WITHIN_5_MM_FREE_HAND


def spread_mm(percent):
    """Standard deviation of one unbiased normal with this share within 5 mm."""
    return 5.0 / norm.ppf(0.5 + percent / 200.0)


@pytest.mark.published(source="cartiaux2008", place="abstract, results")
def test_share_within_five_millimetres_is_as_printed(record_published):
    for end, ours, theirs in (
        ("", SHARE.value, 52.0), (", low", SHARE.low, 37.0), (", high", SHARE.high, 67.0),
    ):  # fmt: skip
        record_published(ours, theirs, "%", f"share of free-hand cuts within 5 mm{end}")
    assert (SHARE.value, SHARE.low, SHARE.high, SHARE.unit) == (52.0, 37.0, 67.0, "%")


def test_spread_is_the_share_read_as_a_normal():
    found = margins.SPREAD_AS_PLAIN_NORMAL_MM
    # Printed to 0.01 mm. A larger share is a smaller spread: the ends swap.
    assert found.value == pytest.approx(spread_mm(SHARE.value), abs=0.005)
    assert found.low == pytest.approx(spread_mm(SHARE.high), abs=0.005)
    assert found.high == pytest.approx(spread_mm(SHARE.low), abs=0.005)


def test_chance_of_a_clean_cut_at_ten_millimetres_has_the_studys_own_interval():
    found = margins.CLEAN_AT_10_MM_AS_PLAIN_NORMAL
    for printed, percent in (
        (found.value, SHARE.value),
        (found.low, SHARE.low),
        (found.high, SHARE.high),
    ):
        assert printed == pytest.approx(norm.cdf(10.0 / spread_mm(percent)), abs=0.005)
    assert (found.low, found.high) == (0.83, 0.97)


def test_the_plain_normal_reading_is_marked_assumed_and_cautioned():
    for found in (margins.SPREAD_AS_PLAIN_NORMAL_MM, margins.CLEAN_AT_10_MM_AS_PLAIN_NORMAL):
        assert (found.grade, found.known) == ("assumed", "computed")
    assert "bias" in margins.PLAIN_NORMAL_CAUTION
    assert "largest distance" in margins.PLAIN_NORMAL_CAUTION


def test_one_unbiased_normal_does_not_fit_free_hand_cuts_but_a_biased_one_does():
    # Why the caution is printed (sacroiliac sawbones, free-hand, 22 cuts).
    within_5 = margins.SACROILIAC_WITHIN_5_MM_FREE_HAND.value
    within_2 = margins.SACROILIAC_WITHIN_2_MM_FREE_HAND.value
    sigma = spread_mm(within_5)
    plain = 100.0 * (2.0 * norm.cdf(2.0 / sigma) - 1.0)
    assert plain == pytest.approx(30.3, abs=0.05) and plain > within_2 + 4.0

    def biased(within):
        return 100.0 * (norm.cdf((within - 3.7) / 3.0) - norm.cdf((-within - 3.7) / 3.0))

    assert biased(5.0) == pytest.approx(within_5, abs=0.5)
    assert biased(2.0) == pytest.approx(within_2, abs=0.5)


@pytest.mark.published(source="cartiaux2010", place="abstract, results")
def test_location_errors_are_as_printed_and_fall_with_guidance(record_published):
    found = [
        one.value
        for one in (
            margins.LOCATION_FREE_HAND_MM,
            margins.LOCATION_NAVIGATED_MM,
            margins.LOCATION_ROBOT_MM,
        )
    ]
    printed = [5.2, 2.8, 1.7]
    for ours, theirs, how in zip(found, printed, ("free hand", "navigated", "robot"), strict=True):
        record_published(ours, theirs, "mm", f"location error, {how}")
    assert found == printed


def test_kerfs_lie_in_their_ranges_and_no_wire_takes_more_than_a_saw():
    saw, wire, gigli = (
        margins.KERF_OSCILLATING_SAW_MM,
        margins.KERF_WIRE_MM,
        margins.KERF_GIGLI_MM,
    )
    assert (saw.low, saw.high) == (0.9, 1.6)
    assert (gigli.low, gigli.high) == (1.2, 1.5)
    assert wire.value == 0.54 < saw.low
    assert margins.KERF_ULTRASONIC_MM.value == 0.7
