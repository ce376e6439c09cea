"""The sheet's further pages come from the saved plan and its saved drawings alone."""

from __future__ import annotations

import pytest

from vertebloc.reports import page_words as words
from vertebloc.reports.theatre_pages import CARTON, DEPTHS, further_pages


@pytest.fixture
def document(made_up):
    return made_up.document()


SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 400"></svg>'


def test_pages_come_in_the_order_in_which_they_are_needed(document):
    pages = further_pages(document, {CARTON: SVG, DEPTHS: SVG})
    assert [page.title for page in pages] == [
        words.CARTON, words.DEPTHS, words.DEPTHS_BY_ANGLE, words.ACTS, words.BAIL_OUTS,
    ]  # fmt: skip
    assert len(pages[0].table.rows) == len(document["resection"]["faces"])
    assert len(pages[3].table.rows) == len(document["resection"]["acts"]["order"])


def test_a_tall_drawing_is_printed_as_high_as_a_page_holds_and_keeps_its_shape(document):
    (first, *_) = further_pages(document, {CARTON: SVG, DEPTHS: SVG})
    assert first.picture.height_mm <= 170.0
    assert first.picture.height_mm == pytest.approx(4.0 * first.picture.width_mm)


def test_a_plan_of_before_has_no_further_pages_and_a_lost_drawing_no_picture(document):
    old = {**document, "resection": {**document["resection"]}}
    del old["resection"]["acts"]
    assert further_pages(old, {CARTON: SVG}) == ()
    assert further_pages(document, {})[0].picture is None


def test_each_act_says_what_it_needs_to_stop_after_it(document):
    acts = further_pages(document, {})[3]
    order = document["resection"]["acts"]["order"]
    for row, one in zip(acts.table.rows, order, strict=True):
        assert row[0] == str(one["number"])
        assert row[1] == one["stop"]
        if one["stop"] == "only with" and one["act"] != "signal run":
            assert one["stop_in_words"] in row[2]
