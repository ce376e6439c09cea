"""Role sheets: whose, which side, what is open, nothing about doses, nothing over its edge.

The document is that of conftest's made-up person, tumour LEFT at T10, with landmarks found on its
boxes. The twin is that document with left and right exchanged in every word: a sheet with a side
of its own would then say it on the wrong one.
"""

from __future__ import annotations

import io
import re
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pypdf
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import LevelConfirmation
from vertebloc.case.choice_words import StandingSide
from vertebloc.case.theatre_choice import TheatreChoice
from vertebloc.errors import InputError
from vertebloc.reports import cut_card_picture, mark_stale, role_family
from vertebloc.reports.cut_card_picture import PRINTED_MM, bare_view, on_paper
from vertebloc.reports.day_document import day_document
from vertebloc.reports.operation_note import note_text
from vertebloc.reports.role_family import english, read_family_words
from vertebloc.reports.role_printing import print_role_sheets
from vertebloc.reports.role_sheet import Role, RoleSheet
from vertebloc.reports.role_sheets import role_sheets
from vertebloc.reports.role_text import CAUTIONS
from vertebloc.surgery_day import describe_entries, find_landmarks, signal_runs, watched_roots
from vertebloc.surgery_day.watch import control_words

from .conftest import MadeUp, arch_of, ball, box, height_of, made_vertebra, rod, surface_of
from .test_c_arm import views
from .test_plan_document import validator

T9, T10, T11 = Level("T9"), Level("T10"), Level("T11")


def bone_of(level: Level) -> Any:
    z = height_of(level)
    return surface_of(
        rod((0, 0, z - 12), (0, 0, z + 12), 18.0), *arch_of(z, 1), *arch_of(z, -1),
        box((-2.5, 38.0, z - 16.0), (2.5, 58.0, z - 6.0)),
    )  # fmt: skip


def with_day(made: MadeUp, said: TheatreChoice | None = None, standing: Any = None) -> Any:
    document = made.document()
    said = said or TheatreChoice()
    bones = {level: made_vertebra(level) for level in (T9, T10, T11)}
    marks = find_landmarks(
        bones, {level: bone_of(level) for level in bones}, {},
        surface_of(ball((9.0, 3.0, -6.0), 10.0)),
    )  # fmt: skip
    document["theatre"] = day_document(
        vertebra=bones[T10],
        landmarks=marks,
        entries=describe_entries(made.plan.cuts, bones[T10], marks, [T10]),
        outline_error_mm=1.25,
        watched=(
            signal_runs(made.plan.acts.acts),
            watched_roots([T10], said.muscles, said.roots),
            control_words([T10]),
        ),
        said=(said, standing or StandingSide.LEFT),
    )
    return document


SAID = TheatreChoice(roots_given_up="T10 left, L2 left", muscles={"L3": "vastus medialis"})
_SIDES = re.compile(r"\b(left|right)\b", re.I)
OF_ALL_PEOPLE = "taterra2019"  #: on which side the great artery of the cord mostly lies
_OTHER = {"left": "right", "right": "left"}


def swapped(words: str) -> str:
    def other(found: re.Match[str]) -> str:
        word = _OTHER[found[0].lower()]
        return word.upper() if found[0].isupper() else word.capitalize() if found[0][
            0].isupper() else word  # fmt: skip

    return _SIDES.sub(other, words)


def mirrored(value: Any, key: str = "") -> Any:
    """A plan's document of the mirror twin."""
    if isinstance(value, str):
        return swapped(value)
    if isinstance(value, dict):
        return {
            name: -part if name in ("leftward_mm", "leftward") else mirrored(part, name)
            for name, part in value.items()
        }
    if isinstance(value, list):
        return [mirrored(part, key) for part in value]
    return value


@pytest.fixture
def document(made_up: MadeUp) -> Any:
    return with_day(made_up, SAID)


def every(sheets: dict[Role, tuple[RoleSheet, ...]]) -> Iterator[RoleSheet]:
    for made in sheets.values():
        yield from made


def printed(document: Any, identity: Any) -> Iterator[tuple[RoleSheet, str]]:
    """Each sheet with the words of its page; those of one paper and language in one print."""
    sheets = role_sheets(document, {}, identity)
    team = [s for s in every(sheets) if s.role not in (Role.CUT_CARDS, Role.FAMILY)]
    for pack in (list(sheets[Role.CUT_CARDS]), team, list(sheets[Role.FAMILY])):
        pdf = pypdf.PdfReader(io.BytesIO(print_role_sheets(pack, document, identity)))
        assert len(pdf.pages) == len(pack), pack[0].title  # one page each
        for sheet, page in zip(pack, pdf.pages, strict=True):
            yield sheet, " ".join(page.extract_text().split())


def test_the_day_s_part_of_plan_json_fits_the_schema(document: Any) -> None:
    validator().validate(document)
    del document["theatre"]["landmarks"]
    assert not validator().is_valid(document)


def test_each_role_has_one_page_with_name_level_side_and_code(
    made_up: MadeUp, document: Any
) -> None:
    sheets = role_sheets(document, {}, made_up.identity)
    assert set(sheets) == set(Role)
    assert len(sheets[Role.CUT_CARDS]) == 4  # four half cuts; a nibbled pedicle has no card
    for sheet, said in printed(document, made_up.identity):
        for wanted in ("Example, Person Q", "MU-0042", "T10", "K7QM-2R"):
            assert wanted in said, (sheet.title, wanted)
        assert ("tumour on your left" if sheet.role is Role.FAMILY else "tumour LEFT") in said
        assert "clinician" in said
        assert "UNCONFIRMED" not in said


def test_what_nobody_confirmed_stands_on_every_sheet(made_up: MadeUp) -> None:
    made_up.confirmation = LevelConfirmation()
    made_up.drafts = ("tumour",)
    document = with_day(made_up)
    for sheet, said in printed(document, made_up.identity):
        if sheet.role is Role.FAMILY:
            assert "NOT YET CONFIRMED" in said and "Do not rely on it" in said
        else:
            assert "Level T10 is UNCONFIRMED" in said, sheet.title
            assert "tumour" in said and "draft" in said.lower(), sheet.title


def test_an_old_plan_says_so_on_every_sheet(made_up: MadeUp, document: Any) -> None:
    old = mark_stale(document, ["the team's choices were changed after this plan was computed"])
    for sheet, said in printed(old, made_up.identity):
        assert said.count("OUT OF DATE") >= 2, sheet.title  # the band, and across the page
    assert "OUT OF DATE" in note_text(old, made_up.identity)


def test_the_twin_s_sheets_say_the_other_side_everywhere(document: Any) -> None:
    plain, twin = document, mirrored(document)
    here, there = (
        {role: sorted(w for s in made for w in s.words if OF_ALL_PEOPLE not in w)
         for role, made in role_sheets(one, {}, None).items()}
        for one in (plain, twin)
    )  # fmt: skip
    sides = 0
    for role, words in here.items():
        assert sorted(map(swapped, words)) == there[role], role
        sides += sum(len(_SIDES.findall(word)) for word in words)
    assert sides > 60
    both = [" ".join(note_text(one, None).split()) for one in (plain, twin)]
    flat = [sorted(words.replace(" ".join(CAUTIONS.split()), "").split()) for words in both]
    assert sorted(map(swapped, flat[0])) == flat[1]


DOSES = re.compile(
    r"\d[\d.,]*\s*(?:mg|mcg|µg|ug|ng|g|IE|IU|ml|mmol|units?)\s*(?:/|per)\s*kg|/\s*kg\s*/\s*(?:h|min)"
    r"|\b\d[\d.,]*\s*(?:mg|mcg|µg|μg|mmol)\b"
    r"|\b(?:propofol|remifentanil|sufentanil|ketamine|tranexamic|TXA|heparin|cefazolin|steroid"
    r"|methylprednisolone|dexamethasone|noradrenaline|norepinephrine|ephedrine|denosumab|Gy)\b",
    re.I,
)


@pytest.mark.parametrize(
    "words", ["30 mg/kg then 5.4 mg/kg/h", "give 2 mg", "5 ml/kg", "heparin", "40 Gy", "1.5 µg"]
)
def test_the_pattern_sees_a_dose(words: str) -> None:
    assert DOSES.search(words)


def test_no_sheet_names_a_dose_or_a_drug(made_up: MadeUp, document: Any) -> None:
    for sheet in every(role_sheets(document, {}, made_up.identity)):
        for words in sheet.words:
            assert not DOSES.search(words), (sheet.title, words)
    assert not DOSES.search(note_text(document, made_up.identity))


def test_nothing_is_made_up_in_the_draft_note(document: Any) -> None:
    """What the plan cannot know is blank; every number in it stands in plan.json."""
    note = note_text(document, None)
    assert note.startswith("DRAFT OF AN OPERATION NOTE - NOT A RECORD")
    for label in ("surgeon, assistants", "blood lost, given back, given", "signature, date",
                  "diagnosis (by whom)"):  # fmt: skip
        assert f"{label}: ____" in note
    assert max(map(len, note.splitlines())) <= 88
    known = set(re.findall(r"\d+(?:\.\d+)?", str(document)))
    known |= {f"{float(number):.1f}" for number in known} | {"0042", "0.1.0"}
    said = re.findall(r"\d+(?:\.\d+)?", note)
    assert not [number for number in said if number not in known and not _is_floor(number, known)]


def _is_floor(number: str, known: set[str]) -> bool:
    return any(abs(float(number) - float(one)) < 0.051 for one in known if one.count(".") < 2)


def test_the_team_s_words_reach_the_neurophysiologist(made_up: MadeUp, document: Any) -> None:
    sheet = role_sheets(document, {}, made_up.identity)[Role.NEUROPHYSIOLOGIST][0]
    said = " ".join(sheet.words)
    assert "roots given up: T10 left and L2 left" in said
    assert "vastus medialis" in said and "the team" in said
    assert "11 of 13 (l2-roots)" in said
    bare = with_day(made_up)
    said = " ".join(role_sheets(bare, {}, None)[Role.NEUROPHYSIOLOGIST][0].words)
    assert "No root is named as given up" in said


def test_what_the_chosen_way_out_gives_up_is_said_to_whom_it_concerns(document: Any) -> None:
    line = {"chosen": True, "roots": ["left T10 root", "left T11 root"],
            "arteries": ["T10 left", "T10 right"], "bilateral_levels_in_a_row": 1}  # fmt: skip
    document["way_out"] = {"ledger": [line | {"chosen": False, "roots": []}, line]}
    sheets = role_sheets(document, {}, None)
    said = " ".join(sheets[Role.NEUROPHYSIOLOGIST][0].words)
    assert "gives up the left T11 root: to be confirmed" in said  # the team named T10 itself
    assert "a band of numb skin" in said
    assert "lost at 1 neighbouring level" in said
    said = " ".join(sheets[Role.RADIOLOGIST][0].words)
    assert "gives up the segmental arteries T10 left and T10 right" in said


def test_a_stage_before_stands_before_the_acts(document: Any) -> None:
    acts = " ".join(role_sheets(document, {}, None)[Role.ACTS][0].words)
    assert "One stage, from behind" in acts
    stage = {"approach": "from the left side of the chest", "acts": ["open the chest", "tie"],
             "frees": ["aorta"], "chosen": False}  # fmt: skip
    document["front"] = {"stage": stage}
    sheet = role_sheets(document, {}, None)[Role.ACTS][0]
    assert "NOT chosen" in sheet.answer and sheet.sections[0].must
    assert sheet.sections[0].lines[0] == "From the left side of the chest. Frees: aorta."
    stage["chosen"] = True
    sheet = role_sheets(document, {}, None)[Role.ACTS][0]
    assert sheet.answer.startswith("Two stages") and not sheet.sections[0].must


def test_an_entry_is_said_from_its_landmark(document: Any) -> None:
    """By hand: spinous tip of T9 at (0, 58, 19), the left cranial cut enters at (19, 6, 24)."""
    card = role_sheets(document, {}, None)[Role.CUT_CARDS][0]
    said = " ".join(card.words)
    assert (
        "(1) tip of the spinous process of T9: 5 mm towards the head, 19 mm to the patient's "
        "left, 52 mm deeper." in said
    )
    assert "NO FIRST PASS" not in said


def test_a_card_holds_a_place_for_the_c_arm(document: Any) -> None:
    said = " ".join(role_sheets(document, {}, None)[Role.CUT_CARDS][0].words)
    assert "Not predicted yet" in said
    document["c_arm"] = views()[1]
    document["c_arm"]["cuts"][0]["cut"] = document["resection"]["cuts"][0]["name"]
    sheets = role_sheets(document, {}, None)
    said = " ".join(sheets[Role.CUT_CARDS][0].words)
    assert "Predicted: from the side" in said and "10 degrees" not in said.partition("C-arm")[0]
    assert "Not predicted yet" not in said
    assert "Not predicted yet" in " ".join(sheets[Role.CUT_CARDS][1].words)  # another cut
    assert "not predicted" not in " ".join(sheets[Role.NURSE][0].words)


@pytest.mark.parametrize(
    ("standing", "left_is_low", "head_is_left"),
    [(StandingSide.LEFT, True, True), (StandingSide.RIGHT, False, False)],
)
def test_marks_on_a_card_lie_where_the_surgeon_sees_them(
    made_up: MadeUp, standing: Any, left_is_low: bool, head_is_left: bool
) -> None:
    """Standing at the patient's left: head at the left hand, the patient's left nearest."""
    document = with_day(made_up, standing=standing)
    middle = np.array(document["theatre"]["lps_from_vertebra"])[:, 3]
    steps = np.array(((0, 0, 0), (20, 0, 0), (0, 0, 20)))
    centre, left, head = on_paper(document, middle + steps)
    np.testing.assert_allclose(centre, np.array(PRINTED_MM) / 2)
    assert bool(left[1] > centre[1]) is left_is_low  # y grows downwards
    assert bool(head[0] < centre[0]) is head_is_left


def test_a_family_s_translation_needs_the_same_keys_and_braces() -> None:
    lines = "\n".join(f"{key} = {_toml(words)}" for key, words in english().items())
    assert read_family_words(lines) == english()
    with pytest.raises(InputError, match="'title' is missing"):
        read_family_words(lines.replace("title = ", "titel = ", 1).replace("titel", "x_titel"))
    with pytest.raises(InputError, match="'page_of' needs page, pages braces"):
        read_family_words(lines.replace("page {page} of {pages}", "page {page}"))
    with pytest.raises(InputError, match="no TOML"):
        read_family_words("title = ")


def _toml(words: Any) -> str:
    import json

    return json.dumps(words, ensure_ascii=False)


@pytest.mark.system("pdftotext")
def test_no_words_run_over_an_edge_or_over_each_other(
    made_up: MadeUp, document: Any, scene: Any
) -> None:
    """Boxes of all words, from another program: inside the page, and no two on one another."""
    document["resection"]["wanted_margin_mm"] = 3.5  # a few close faces, in the largest letters
    sheets = role_sheets(
        document,
        {"card-ground": bare_view(scene, cut_card_picture.half_width_mm(document))},
        made_up.identity,
    )
    team = [s for s in every(sheets) if s.role not in (Role.CUT_CARDS, Role.FAMILY)]
    for pack in (sheets[Role.CUT_CARDS], team, sheets[Role.FAMILY]):
        sheet = pack[0]
        pdf = print_role_sheets(pack, document, made_up.identity)
        for wide, high, words in boxes(pdf):
            for x0, y0, x1, y1, word in words:
                edge = 28.3 if wide > 500 else 22.7  # 10 mm on A4, 8 mm on A5; pt
                assert x0 >= edge - 0.8 and x1 <= wide - edge + 0.8, (sheet.title, word)
                assert y0 >= 10 and y1 <= high - 4, (sheet.title, word)
            assert not overlapping(words), (sheet.title, overlapping(words)[:3])


def boxes(pdf: bytes) -> list[tuple[float, float, list[tuple[float, float, float, float, str]]]]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.pdf"
        path.write_bytes(pdf)
        out = subprocess.run(
            ["pdftotext", "-bbox", str(path), "-"], capture_output=True, text=True, check=True
        ).stdout
    pages = []
    for page in re.findall(r'<page width="([\d.]+)" height="([\d.]+)">(.*?)</page>', out, re.S):
        words = re.findall(
            r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">(.*?)<',
            page[2],
        )
        pages.append((float(page[0]), float(page[1]), [(*map(float, w[:4]), w[4]) for w in words]))
    return pages


def overlapping(words: list[Any]) -> list[tuple[str, str]]:
    """Pairs whose boxes share more than a sliver; the word across the page is left out."""
    found = []
    level = [w for w in words if w[4] not in ("DRAFT", "OUT", "OF", "DATE")]
    for place, one in enumerate(level):
        for other in level[place + 1 :]:
            wide = min(one[2], other[2]) - max(one[0], other[0])
            high = min(one[3], other[3]) - max(one[1], other[1])
            least = min(one[3] - one[1], other[3] - other[1])
            if wide > 1.0 and high > 0.55 * least:  # boxes are a line high, letters are not
                found.append((one[4], other[4]))
    return found


@pytest.mark.parametrize("standing", ["left", "right", "head up"])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_names_of_vertebrae_stand_where_no_landmark_is(standing: str, side: float) -> None:
    """A tip 31 mm beside the middle lies among the names of one edge; 40 mm would be cut off.

    By hand: 19.5 of 25 mm are room for a ring; 40 mm within them show 124 / 2 * 40 / 19.5 mm.
    """
    levels = [{"level": f"T{n}", "lps_mm": [0.0, 0.0, 25.0 * (10 - n)]} for n in (9, 10, 11)]
    tip = {"words": "tip", "lps_mm": [31.0 * side, 40.0, 25.0]}
    cut = {"name": "cut", "entry_lps_mm": [0.0, 20.0, 15.0]}
    document = {
        "level": "T10",
        "theatre": {
            "standing": standing, "levels": levels, "landmarks": [tip],
            "lps_from_vertebra": np.eye(4)[:3].tolist(),
            "entries": [{"cut": "cut", "from": [{"landmark": "tip"}]}],
        },
    }  # fmt: skip
    ring = on_paper(document, tip["lps_mm"])[0]
    assert 5.0 < ring[0] < PRINTED_MM[0] - 5.0 and 5.0 < ring[1] < PRINTED_MM[1] - 5.0
    drawn = cut_card_picture._names(document, cut)
    places = [
        (float(x), float(y))
        for one in drawn
        for x, y in re.findall(r'x="([\d.]+)" y="([\d.]+)"', one)
    ]
    assert [re.findall(r">(T\d+)<", one)[0] for one in drawn] == ["T9", "T10", "T11"]
    assert "bold" in drawn[1] and "bold" not in drawn[0]
    assert min(np.hypot(x - ring[0], y - 1.2 - ring[1]) for x, y in places) > 8.0
    tip["lps_mm"][0] *= 40.0 / 31.0
    wide = 40.0 / 19.5 * 62.0 if standing != "head up" else cut_card_picture.HALF_WIDTH_MM
    assert cut_card_picture.half_width_mm(document) == pytest.approx(wide)
    ring = on_paper(document, tip["lps_mm"])[0]
    assert 5.0 < ring[0] < PRINTED_MM[0] - 5.0 and 5.0 < ring[1] < PRINTED_MM[1] - 5.0


@pytest.mark.parametrize(
    ("volume_ml", "said"),
    [(8.5, "less than a"), (16.2, "about a"), (31.0, "about 2")],
)
def test_a_volume_is_told_in_spoons_of_15_ml(volume_ml: float, said: str) -> None:
    words = role_family._spoons(volume_ml / 15.0, english())
    assert words.startswith(said) and "tablespoon" in words
