"""Sectors are side and region; numbers are a named way of showing them."""

import pytest

from vertebloc.errors import InputError
from vertebloc.space.frames import Side
from vertebloc.staging.sectors import (
    POSTERIOR,
    SECTORS,
    Numbering,
    Region,
    Sector,
    find_sector,
    number_sector,
)

# Textbook figure of the counter-clockwise variant: 1 = left half of the spinous process, then
# on over the left; pedicles 4 and 9, body 5 to 8, halves of the spinous process 1 and 12.
BY_HAND = {
    1: (Side.LEFT, "spinous process"),
    2: (Side.LEFT, "lamina"),
    3: (Side.LEFT, "facet and transverse process"),
    4: (Side.LEFT, "pedicle"),
    5: (Side.LEFT, "side of the body"),
    6: (Side.LEFT, "middle of the body"),
    7: (Side.RIGHT, "middle of the body"),
    8: (Side.RIGHT, "side of the body"),
    9: (Side.RIGHT, "pedicle"),
    10: (Side.RIGHT, "facet and transverse process"),
    11: (Side.RIGHT, "lamina"),
    12: (Side.RIGHT, "spinous process"),
}


@pytest.mark.parametrize(("number", "expected"), BY_HAND.items())
def test_counter_clockwise_numbers_are_those_of_the_figure(number, expected):
    side, region = expected
    sector = find_sector(number)
    assert sector == Sector(side, Region(region))
    assert number_sector(sector) == number


@pytest.mark.parametrize("sector", SECTORS, ids=lambda one: one.words)
def test_swapping_sides_maps_a_number_to_thirteen_minus_it(sector):
    for numbering in Numbering:
        z = number_sector(sector, numbering)
        assert number_sector(sector.mirrored, numbering) == 13 - z


@pytest.mark.parametrize("sector", SECTORS, ids=lambda one: one.words)
def test_clockwise_numbers_mirror_the_counter_clockwise_ones(sector):
    assert number_sector(sector, Numbering.CLOCKWISE) == 13 - number_sector(sector)
    number = number_sector(sector, Numbering.CLOCKWISE)
    assert find_sector(number, Numbering.CLOCKWISE) == sector


def test_clockwise_numbering_warns_that_its_sides_are_in_doubt():
    assert "side" in Numbering.CLOCKWISE.caution
    assert Numbering.COUNTER_CLOCKWISE.caution == ""


def test_posterior_sectors_are_ten_to_three():
    assert {number_sector(sector) for sector in POSTERIOR} == {10, 11, 12, 1, 2, 3}


def test_sectors_are_named_in_words():
    assert find_sector(1).words == "left half of the spinous process"
    assert find_sector(9).words == "right pedicle"


@pytest.mark.parametrize("number", [0, 13, -1])
def test_a_number_that_is_no_sector_is_refused(number):
    with pytest.raises(InputError, match="numbered 1 to 12"):
        find_sector(number)
