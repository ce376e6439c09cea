"""Further pages: a made-up one on both papers carries all that the first page's head does."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import pypdf
import pytest

from vertebloc.anatomy.model import LevelConfirmation
from vertebloc.errors import InputError
from vertebloc.reports import Paper, planning_sheet
from vertebloc.reports.sheet_pages import SheetPage, SheetPicture, SheetTable

from .test_planning_sheet import pages, squeezed

#: A square of 40 x 40 mm, drawn by hand, with one word in 9 pt (3.175 mm).
SQUARE = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="40mm" height="40mm" viewBox="0 0 40 40">'
    b'<rect x="1" y="1" width="38" height="38" fill="#e2d8c2" stroke="#1d2a32"/>'
    b'<text x="8" y="22" font-family="DejaVu Sans" font-size="3.175">unfolded</text></svg>'
)


def carton(**how: Any) -> SheetPage:
    values: dict[str, Any] = {
        "title": "The piece unfolded",
        "sentence": "Six faces; ink the one towards the sac first.",
        "picture": SheetPicture(
            drawing=SQUARE, width_mm=40.0, height_mm=40.0, words="the piece, unfolded"
        ),
        "table": SheetTable(
            headings=("face", "ink", "what pathology should look at"),
            rows=(
                ("sac", "blue", "no margin there"),
                ("front", "black", "5.2 mm at its thinnest"),
            ),
        ),
    }
    return SheetPage(**(values | how))


@pytest.mark.parametrize("paper", list(Paper))
def test_a_further_page_carries_person_level_side_code_cautions_and_its_number(
    made_up: Any, pictures: dict[str, bytes], paper: Paper
) -> None:
    made_up.confirmation = LevelConfirmation()
    pdf = planning_sheet(
        made_up.document(), pictures, made_up.identity, paper, further=(carton(), carton())
    )
    found = pages(pdf)
    assert len(found) == 3
    for number, text in enumerate(found, start=1):
        for words in (
            "Example, Person Q",
            "born 1961-04-30 · number MU-0042",
            "T10",
            "UNCONFIRMED",
            "tumour LEFT",
            "K7QM-2R",
            "2026-03-14 15:09:26+00:00",
            "not a medical device",
            f"page {number} of 3",
        ):
            assert squeezed(words) in squeezed(text), (number, words)
        assert "continued" not in text
    for words in (
        "The piece unfolded",
        "ink the one towards the sac first",
        "what pathology should look at",
        "5.2 mm at its thinnest",
        "unfolded",
    ):
        assert words in found[1], words
        assert words not in found[0] or words == "unfolded"
    sizes = [page.mediabox[2:] for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    assert all(size == sizes[0] for size in sizes)


def test_a_table_that_runs_on_repeats_its_headings_on_a_page_marked_continued(
    made_up: Any, pictures: dict[str, bytes]
) -> None:
    rows = tuple((f"act {n}", "long" * 3, "said in words") for n in range(90))
    acts = SheetTable(headings=("act", "how", "stop possible"), rows=rows)
    pdf = planning_sheet(
        made_up.document(), pictures, made_up.identity, further=(carton(table=acts),)
    )
    _, second, third, *_ = pages(pdf)
    assert "stop possible" in second and "continued" not in second
    assert "stop possible" in third and "Planning sheet, continued" in third
    assert "Example, Person Q" in third and "K7QM-2R" in third


def test_without_picture_or_table_and_without_identity(
    made_up: Any, pictures: dict[str, bytes]
) -> None:
    plain = carton(picture=None, table=None)
    _, second = pages(planning_sheet(made_up.document(), pictures, None, further=(plain,)))
    assert "copy without identity" in second
    assert "The piece unfolded" in second
    assert "Example" not in second


def test_what_is_typed_is_never_markup_and_unprintable_letters_are_counted(
    made_up: Any, pictures: dict[str, bytes]
) -> None:
    words = '#panic("no") *x* 王'
    page = carton(sentence=words, table=SheetTable(headings=(words,), rows=((words,),)))
    _, second = pages(planning_sheet(made_up.document(), pictures, None, further=(page,)))
    shown = squeezed('#panic("no") *x* [1 character this sheet cannot print]')
    assert squeezed(second).count(shown) == 3


def test_a_png_is_printed_at_its_size(made_up: Any, pictures: dict[str, bytes]) -> None:
    """The drawing's matrix on the page: 83 mm = 235.3 pt."""
    picture = SheetPicture(
        drawing=pictures["behind"], width_mm=83.0, height_mm=48.07, words="from behind"
    )
    pdf = planning_sheet(
        made_up.document(), pictures, None, further=(carton(picture=picture, table=None),)
    )
    widths = drawn_widths(pypdf.PdfReader(io.BytesIO(pdf)).pages[1])
    assert any(width == pytest.approx(83.0, abs=0.5) for width in widths), widths


def drawn_widths(page: Any) -> list[float]:
    """Widths of all images on a page, mm, from the matrix at each drawing act."""
    found: list[float] = []

    def walk(contents: Any, resources: Any, scale: float) -> None:
        stack = [scale]
        for operands, operator in contents.operations:
            if operator == b"q":
                stack.append(stack[-1])
            elif operator == b"Q":
                stack.pop()
            elif operator == b"cm":
                stack[-1] *= abs(float(operands[0]))
            elif operator == b"Do":
                thing = resources["/XObject"][operands[0]].get_object()
                if thing["/Subtype"] == "/Image":
                    found.append(stack[-1] * 25.4 / 72.0)
                else:
                    inner = pypdf.generic.ContentStream(thing, page.pdf)
                    own = float(thing.get("/Matrix", [1.0])[0])
                    walk(inner, thing.get("/Resources", {}), stack[-1] * own)

    walk(page.get_contents(), page["/Resources"], 1.0)
    return found


@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"width_mm": 191.0}, "at most 190 x 212 mm"),
        ({"height_mm": 213.0}, "at most 190 x 212 mm"),
        ({"height_mm": 0.0}, "more than 0"),
        ({"words": " "}, "needs words"),
        ({"drawing": b"GIF89a"}, "give a PNG, or an SVG"),
        ({"drawing": b"\xff\xfe<svg"}, "give a PNG, or an SVG"),
    ],
)
def test_a_picture_that_cannot_be_printed_is_refused(how: dict[str, Any], words: str) -> None:
    good = SheetPicture(drawing=SQUARE, width_mm=40.0, height_mm=40.0, words="a square")
    with pytest.raises(InputError, match=words):
        replace(good, **how)


def test_rows_must_match_their_headings_and_pages_need_title_and_sentence() -> None:
    with pytest.raises(InputError, match="2 headings, but the row 'a' has 1 cells"):
        SheetTable(headings=("x", "y"), rows=(("a",),))
    with pytest.raises(InputError, match="needs headings"):
        SheetTable(headings=(), rows=())
    for how in ({"title": ""}, {"sentence": " "}):
        with pytest.raises(InputError, match="title and a sentence"):
            carton(**how)
