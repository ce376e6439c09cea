"""A published number that nobody could check cannot be made."""

import math

import pytest

from vertebloc.errors import InputError
from vertebloc.published import Published
from vertebloc.published.staging import SectorRule

GOOD = {
    "value": 5.0,
    "unit": "mm",
    "what": "width of a test",
    "population": "one test",
    "source": "tests2020",
    "place": "table 1",
    "grade": "measured",
    "known": "seen",
}
RULE = {
    "name": "half",
    "within": (frozenset((1, 2)),),
    "layers": frozenset("AB"),
    "what": "sectors 1 and 2",
    "source": "tests2020",
    "place": "table 1",
    "grade": "consensus",
    "known": "seen",
}


def test_a_value_with_all_it_needs_can_be_made():
    found = Published(**GOOD, low=4.0, high=7.5, range_is="95 % interval")
    assert found.in_words == "5 mm (4 to 7.5 mm, 95 % interval)"
    assert Published(**GOOD).in_words == "5 mm"
    assert Published(**{**GOOD, "unit": "-"}).in_words == "5"


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"source": ""}, "has no source"),
        ({"place": ""}, "has no source"),
        ({"what": " "}, "must say what it is"),
        ({"unit": ""}, "has no unit"),
        ({"grade": "guessed"}, "'guessed' is none of definition"),
        ({"known": "somewhere"}, "'somewhere' is none of seen"),
        ({"value": math.nan}, "must be finite"),
        ({"low": 1.0}, "half a range"),
        ({"high": 9.0}, "half a range"),
        ({"low": 6.0, "high": 9.0}, "is not in"),
        ({"low": 1.0, "high": 4.0}, "is not in"),
        ({"low": -math.inf, "high": 9.0}, "must be finite"),
    ],
)
def test_a_value_that_nobody_could_check_is_refused(changes, message):
    with pytest.raises(InputError, match=message):
        Published(**{**GOOD, **changes})


def test_how_it_is_known_must_be_said():
    without = {name: value for name, value in GOOD.items() if name != "known"}
    with pytest.raises(TypeError, match="known"):
        Published(**without)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"source": ""}, "has no source"),
        ({"within": ()}, "at least one set"),
        ({"within": (frozenset((12, 13)),)}, "sectors from 1 to 12"),
        ({"free": frozenset((0,))}, "sectors from 1 to 12"),
        ({"layers": frozenset("AF")}, "layers out of A to E"),
        ({"layers": frozenset()}, "layers out of A to E"),
    ],
)
def test_a_rule_about_what_does_not_exist_is_refused(changes, message):
    assert SectorRule(**RULE).within == (frozenset((1, 2)),)
    with pytest.raises(InputError, match=message):
        SectorRule(**{**RULE, **changes})
