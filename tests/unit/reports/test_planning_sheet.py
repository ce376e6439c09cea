"""What the printed sheet says, read back from the PDF by another library."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import pypdf
import pytest

from vertebloc.anatomy.model import LevelConfirmation
from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.reports import Paper, Scene, mark_stale, planning_pictures, planning_sheet
from vertebloc.reports.planning_sheet import printable
from vertebloc.resection.model import TumourLeft


def pages(pdf: bytes) -> list[str]:
    """Text of each page with all blanks and line ends made single blanks."""
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    return [" ".join(page.extract_text().split()) for page in reader.pages]


def squeezed(words: str) -> str:
    """Letters only: a text reader may break a line anywhere."""
    return "".join(words.split()).replace("-", "").replace("\u00ad", "")


def test_one_page_with_person_code_level_answer_tables(
    made_up: Any, pictures: dict[str, bytes]
) -> None:
    document = made_up.document()
    (text,) = pages(planning_sheet(document, pictures, made_up.identity))
    for words in (
        "Example, Person Q",
        "born 1961-04-30 · number MU-0042",
        "K7QM-2R",
        "2026-03-14 15:09:26+00:00",
        "T10",
        "Bone faces (cut)",
        "Soft faces (dissected)",
        "4.2 mm or 9°",
        "Tumour left outside the piece: 0.0 ml",
        "confirmed by Dr A. Example",
        "not a medical device",
        "taken supine",
        "responsible surgeon",
        "Involved: left pedicle 31 %",
        "ct ababababab",
        "vertebloc 0.1.0",
    ):
        assert squeezed(words) in squeezed(text), words
    assert squeezed(document["answer"]) in squeezed(text)
    assert squeezed(document["assumptions"][0]) in squeezed(text)
    assert "UNCONFIRMED" not in text
    assert "OUT OF DATE" not in text


def test_answer_stands_above_everything_but_the_head(
    made_up: Any, pictures: dict[str, bytes]
) -> None:
    (text,) = pages(planning_sheet(made_up.document(), pictures, made_up.identity))
    order = [text.index(words) for words in ("Cut through T9", "Bone faces", "Assumed")]
    assert order == sorted(order)


def test_copy_without_identity_holds_none(made_up: Any, pictures: dict[str, bytes]) -> None:
    pdf = planning_sheet(made_up.document(), pictures, None)
    (text,) = pages(pdf)
    assert "copy without identity" in text
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    for hidden in (text, str(reader.metadata), pdf.decode("latin-1")):
        for secret in ("Example, Person", "1961", "MU-0042"):
            assert secret not in hidden


def test_person_is_not_in_the_files_metadata(made_up: Any, pictures: dict[str, bytes]) -> None:
    pdf = planning_sheet(made_up.document(), pictures, made_up.identity)
    reader = pypdf.PdfReader(io.BytesIO(pdf))
    assert "Example" not in str(reader.metadata)
    assert reader.metadata is not None
    assert reader.metadata.title == "Planning sheet K7QM-2R"


def test_long_small_print_runs_on_and_names_the_person_on_every_page(
    made_up: Any, pictures: dict[str, bytes]
) -> None:
    many = tuple(
        f"Assumption {number} of a long list is said in so many words." for number in range(80)
    )
    made_up.replan(assumptions=many)
    found = pages(planning_sheet(made_up.document(), pictures, made_up.identity))
    assert len(found) >= 2
    for text in found:
        for words in ("Example, Person Q", "1961-04-30", "MU-0042", "K7QM-2R", "T10"):
            assert words in text
        assert "not a medical device" in text
    whole = squeezed(" ".join(found))
    assert all(squeezed(words) in whole for words in (many[0], many[40], many[79]))


def test_unconfirmed_level_is_printed_at_its_name(
    made_up: Any, pictures: dict[str, bytes]
) -> None:
    made_up.confirmation = LevelConfirmation()
    (text,) = pages(planning_sheet(made_up.document(), pictures, made_up.identity))
    head = text[: text.index("Level T10 is UNCONFIRMED")]
    assert "UNCONFIRMED" in head
    assert "nobody has signed it" in text


def test_stale_sheet_says_so_in_a_band_and_across(
    made_up: Any, pictures: dict[str, bytes]
) -> None:
    reasons = ("the contours were changed after this plan was computed",)
    document = mark_stale(made_up.document(), reasons)
    found = pages(planning_sheet(document, pictures, made_up.identity))
    assert found[0].count("OUT OF DATE") == 2  # in the band, and across the page
    assert "OUT OF DATE: the contours were changed" in found[0]


def test_tumour_left_is_the_first_thing_read(made_up: Any, pictures: dict[str, bytes]) -> None:
    made_up.replan(
        tumour_left=TumourLeft(by_place_ml={"behind the caudal cut": 1.4}, total_ml=1.4)
    )
    (text,) = pages(planning_sheet(made_up.document(), pictures, made_up.identity))
    assert text.index("1.4 ml of tumour stays behind the caudal cut") < text.index("Cut through")
    assert squeezed("Tumour left outside the piece: 1.4 ml · 1.4 ml behind") in squeezed(text)


@pytest.mark.parametrize(
    "name",
    [
        "Иванова, Мария",
        'Ω\'Brien #1 $x$ *bold* _it_ \\ "quoted" <b> @ref [x] // ~',
        "Łukasiewicz, Zażółć",
        'O\'Neil & Sons; #panic("no")',
    ],
)
def test_names_are_printed_letter_by_letter_and_never_run_as_markup(
    made_up: Any, pictures: dict[str, bytes], name: str
) -> None:
    identity = replace(made_up.identity, name=name)
    (text,) = pages(planning_sheet(made_up.document(), pictures, identity))
    assert squeezed(name) in squeezed(text)
    assert "cannot print" not in text


def test_arabic_name_is_printed(made_up: Any, pictures: dict[str, bytes]) -> None:
    identity = replace(made_up.identity, name="أحمد")
    (text,) = pages(planning_sheet(made_up.document(), pictures, identity))
    assert "cannot print" not in text
    # Readers give right-to-left words back in either order, and shaped or plain.
    assert (
        sum("\u0600" <= letter <= "\u06ff" or "\ufb50" <= letter <= "\ufeff" for letter in text)
        >= 4
    )


def test_name_without_glyphs_is_said_not_boxed(made_up: Any, pictures: dict[str, bytes]) -> None:
    identity = Identity("王, 小東 Wang", "1961-04-30", "MU-0042")
    (text,) = pages(planning_sheet(made_up.document(), pictures, identity))
    assert squeezed(
        "[1 character this sheet cannot print], [2 characters this sheet cannot print] Wang"
    ) in squeezed(text)
    assert squeezed("match the person by birth date and number") in squeezed(text)
    assert "MU-0042" in text


def test_unprintable_letters_are_counted_anywhere() -> None:
    assert printable({"a": ["x王小y", 3, True]}) == {
        "a": ["x[2 characters this sheet cannot print]y", 3, True]
    }
    assert printable("two\nlines\tand  blanks") == "two lines and blanks"


def test_blank_identity_says_what_is_not_given(made_up: Any, pictures: dict[str, bytes]) -> None:
    (text,) = pages(planning_sheet(made_up.document(), pictures, Identity()))
    assert "name not given" in text
    assert "born date not given · number not given" in text


def test_same_input_same_bytes(made_up: Any, pictures: dict[str, bytes]) -> None:
    first, second = (
        planning_sheet(made_up.document(), pictures, made_up.identity) for _ in range(2)
    )
    assert first == second


@pytest.mark.slow
def test_letter_paper_has_its_size_and_still_one_page(made_up: Any, scene: Scene) -> None:
    pictures = planning_pictures(scene, made_up.staging, Paper.LETTER)
    pdf = planning_sheet(made_up.document(), pictures, made_up.identity, Paper.LETTER)
    (page,) = pypdf.PdfReader(io.BytesIO(pdf)).pages
    assert [float(side) for side in page.mediabox[2:]] == [612.0, 792.0]  # 8.5 x 11 in


def test_missing_picture_is_named(made_up: Any, pictures: dict[str, bytes]) -> None:
    fewer = {name: png for name, png in pictures.items() if name != "behind"}
    with pytest.raises(InputError, match="lacks its pictures behind"):
        planning_sheet(made_up.document(), fewer, made_up.identity)


def test_no_text_below_nine_points(made_up: Any, pictures: dict[str, bytes]) -> None:
    pdf = planning_sheet(made_up.document(), pictures, made_up.identity)
    sizes: set[float] = set()

    def note(text: str, _cm: Any, tm: Any, _font: Any, size: float) -> None:
        if text.strip():
            sizes.add(abs(size * tm[3]))

    for page in pypdf.PdfReader(io.BytesIO(pdf)).pages:
        page.extract_text(visitor_text=note)
    assert sizes and min(sizes) >= 9.0 - 1e-6
