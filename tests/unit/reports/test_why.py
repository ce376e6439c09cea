"""What stands behind the numbers: each kind of number is there, with the figures that are used."""

from dataclasses import fields
from itertools import chain

import pytest

from vertebloc.published import margins
from vertebloc.reports.page_words import Question
from vertebloc.reports.why import why_of
from vertebloc.resection.cuts import CUT_RULE
from vertebloc.space.accuracy import MEASURED
from vertebloc.staging.model import StagingSettings

EVERY = list(chain.from_iterable(why_of(question) for question in Question))


def titled(title):
    return next(why for why in EVERY if why.title == title)


@pytest.mark.parametrize("why", EVERY, ids=lambda why: why.title)
def test_formula_source_and_limits_are_said_in_sentences(why):
    for field in fields(why):
        said = getattr(why, field.name)
        assert said.strip() == said and said
        assert field.name == "title" or said.endswith(".")


def test_every_kind_of_number_of_the_cuts_page_is_explained():
    titles = [why.title for why in why_of(Question.CUTS)]
    assert titles == [
        "Where the cuts lie", "Margin of a face", "The piece, opened out", "How far a cut may err",
        "The bracket: what hands were found to do", "How far distances may be wrong",
        "Tumour left behind", "Keystone",
    ]  # fmt: skip
    assert len({why.title for why in EVERY}) == len(EVERY)


def test_figures_are_those_that_are_used():
    mean = margins.LOCATION_FREE_HAND_MM
    hand = titled("The bracket: what hands were found to do").source
    assert mean.source in hand and mean.place in hand and mean.population in hand
    assert CUT_RULE in titled("Where the cuts lie").formula
    distances = titled("How far distances may be wrong").formula
    for case in (MEASURED[0], MEASURED[-1]):
        assert f"{case.most_of_them_mm:.2f} mm" in distances
    share = 100 * StagingSettings().involved_fraction
    assert f"{share:.0f} %" in titled("Sectors").formula


def test_offset_tilt_and_pivot_are_told_apart_and_never_allowed_together():
    said = titled("How far a cut may err").formula
    for word in ("moved", "tilted", "pivot", "NOT allowed together"):
        assert word in said
