"""Nothing stale: whatever a plan was computed from, changing it marks plan and sheet."""

from __future__ import annotations

import json
from datetime import timedelta
from pathlib import Path

import pytest

from vertebloc.case.choices import Choices, LevelChoice
from vertebloc.case.issued_codes import CodeState
from vertebloc.case.provenance import Inputs
from vertebloc.case.short_code import short_code
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.choices_file import read_choices, render_choices

from .case_states import NOW, restamp

CONTOURS = "the contours were changed after this plan was computed"
IDENTITY = "the person's identity was changed after this plan was computed"
CHOICES = "the team's choices were changed after this plan was computed"
LATER = NOW + timedelta(days=1)
T10 = Choices(level=LevelChoice(diseased="T10"))


def _put(case: CaseFolder, step: str, name: str, data: bytes) -> None:
    with case.transaction(now=LATER, what="imported again", restamp=restamp) as change:
        change.put_bytes(step, name, data)


def _plan(case: CaseFolder, generation: int, choices: Choices = T10) -> str:
    inputs = case.inputs(choices)
    code = short_code(str((inputs, generation)).encode())
    document = {"generation": generation, "inputs": inputs.as_dict(), "code": code, "stale": []}
    with case.transaction(now=NOW, what="planned", restamp=restamp) as change:
        change.put_json("plan", "plan.json", document)
        change.put_bytes("sheet", "plan.pdf", restamp(document))
        change.record_plan(inputs, code)
    return code


@pytest.fixture
def case(tmp_path: Path) -> CaseFolder:
    made = CaseFolder.create(tmp_path / "case", NOW)
    with made.transaction(now=NOW, what="imported", restamp=restamp) as change:
        person = {"name": "Doe, Jane", "birth_date": "1960-02-29", "number": "M1"}
        change.put_json("identity", "identity.json", person)
        change.put_bytes("ct", "ct.nii", b"ct")
        change.put_bytes("labels", "labels.nii.gz", b"labels")
        change.put_bytes("names", "names.json", b"{}")
        change.put_choices(render_choices(T10, {}))
    _plan(made, 1)
    return made


def _on_paper(case: CaseFolder) -> str:
    return (case.path / "planning-sheet.pdf").read_text()


def _in_plan(case: CaseFolder) -> list[str]:
    found: list[str] = json.loads((case.path / "plan.json").read_bytes())["stale"]
    return found


def test_a_fresh_plan_is_not_stale(case: CaseFolder) -> None:
    assert case.stale_reasons(case.inputs(T10)) == ()
    assert case.marked_stale == ()
    assert _in_plan(case) == []


@pytest.mark.parametrize(
    ("step", "name", "words"),
    [
        ("ct", "ct.nii", "the CT was changed after this plan was computed"),
        ("labels", "labels.nii.gz", CONTOURS),
        ("names", "names.json", "the names of the contours were changed after this plan was"),
        ("surfaces", "tumour.ply", "the contour surfaces were added after this plan was computed"),
        ("identity", "identity.json", IDENTITY),
    ],
)
def test_an_import_marks_what_used_it_in_the_same_change(
    case: CaseFolder, step: str, name: str, words: str
) -> None:
    before = len(case.journal().changes)
    _put(case, step, name, b'{"new": 1}')
    assert len(case.journal().changes) == before + 1
    reopened = CaseFolder.open(case.path)
    assert len(reopened.marked_stale) == 1
    assert reopened.marked_stale[0].startswith(words)
    assert _in_plan(case) == list(reopened.marked_stale)
    assert words in _on_paper(case)
    assert reopened.stale_reasons(case.inputs(T10)) == reopened.marked_stale
    assert reopened.verify() == []


def test_series_facts_do_not_make_a_plan_stale(case: CaseFolder) -> None:
    _put(case, "series", "series.json", b"{}")
    assert _in_plan(case) == []
    assert case.stale_reasons(case.inputs(T10)) == ()


def test_dropping_contours_marks_the_plan(case: CaseFolder) -> None:
    with case.transaction(now=LATER, what="test", restamp=restamp) as change:
        change.drop("labels")
    assert _in_plan(case) == ["the contours were removed after this plan was computed"]


def test_the_mark_goes_when_the_old_contours_come_back(case: CaseFolder) -> None:
    _put(case, "labels", "labels.nii.gz", b"new")
    case.mark_stale((CONTOURS, CHOICES), now=LATER, restamp=restamp)
    _put(case, "labels", "labels.nii.gz", b"labels")
    assert _in_plan(case) == [CHOICES]  # that reason is not the import's to lift
    case.mark_stale((), now=LATER, restamp=restamp)
    assert _in_plan(case) == []
    assert "stale: []" in _on_paper(case)


def test_a_new_plan_lifts_the_mark(case: CaseFolder) -> None:
    _put(case, "labels", "labels.nii.gz", b"new")
    _plan(case, 2)
    assert _in_plan(case) == []
    assert case.marked_stale == ()
    assert case.stale_reasons(case.inputs(T10)) == ()


def test_only_the_meaning_of_the_choices_counts(case: CaseFolder) -> None:
    text = case.choices_text()
    rows = [row for row in text.splitlines() if row and not row.startswith("#")]
    top = rows.index("[level]")
    shuffled = "# all other words\n\n" + "\n".join([*reversed(rows[:top]), *rows[top:]])
    assert shuffled != text
    same = read_choices(shuffled.replace("kerf_mm = 1.0", "kerf_mm   =   1  # one"))
    assert case.stale_reasons(case.inputs(same)) == ()
    other = read_choices(text.replace("wanted_margin_mm = 5.0", "wanted_margin_mm = 5.5"))
    assert case.stale_reasons(case.inputs(other)) == (CHOICES,)


def test_marking_by_hand_reaches_paper_once(case: CaseFolder) -> None:
    case.mark_stale((CHOICES,), now=LATER, restamp=restamp)
    assert _in_plan(case) == [CHOICES]
    assert CHOICES in _on_paper(case)
    lines = len(case.journal().changes)
    case.mark_stale((CHOICES,), now=LATER, restamp=restamp)
    assert len(case.journal().changes) == lines


def test_another_version_of_the_program_makes_a_plan_stale(case: CaseFolder) -> None:
    now = {**case.inputs(T10).as_dict(), "package_version": "9.0.0"}
    (reason,) = case.stale_reasons(Inputs.of(now))
    assert reason.startswith("the version of vertebloc was changed from ")
    assert "to 9.0.0 after this plan was computed" in reason


def test_a_plan_never_holds_anything_of_the_person(case: CaseFolder) -> None:
    plan = case.path_of("plan").read_text()
    for trace in (
        "Doe",
        "1960-02-29",
        "M1",
        case.hash_of("identity"),
        case.hash_of("identity")[:8],
    ):
        assert trace not in plan


def test_a_restamp_that_fails_leaves_all_as_it_was(case: CaseFolder) -> None:
    def fail(document: dict[str, object]) -> bytes:
        raise RuntimeError(str(document["stale"]))

    before = {p: p.read_bytes() for p in case.path.rglob("*") if p.is_file()}
    with (
        pytest.raises(RuntimeError, match="contours were changed"),
        case.transaction(now=LATER, what="test", restamp=fail) as change,
    ):
        change.put_bytes("labels", "labels.nii.gz", b"new")
    assert {p: p.read_bytes() for p in case.path.rglob("*") if p.is_file()} == before


class TestPlanningWhileOthersImport:
    def test_contours_changed_meanwhile(self, case: CaseFolder) -> None:
        planner = CaseFolder.open(case.path)
        inputs = planner.inputs(T10)
        _put(case, "labels", "labels.nii.gz", b"new")
        with (
            pytest.raises(InputError, match="contours were changed while this plan was computed"),
            planner.transaction(now=LATER, what="planned", restamp=restamp) as change,
        ):
            change.put_json("plan", "plan.json", {"generation": 2, "stale": []})
            change.put_bytes("sheet", "plan.pdf", b"sheet")
            change.record_plan(inputs, short_code(b"2"))
        assert _in_plan(case) == [CONTOURS]

    def test_identity_changed_meanwhile(self, case: CaseFolder) -> None:
        planner = CaseFolder.open(case.path)
        _put(case, "identity", "identity.json", b"{}")
        with pytest.raises(InputError, match="identity was changed while this plan was computed"):
            _plan(planner, 2)
        assert _in_plan(case) == [IDENTITY]

    def test_a_plan_needs_its_origin_and_its_sheet(self, case: CaseFolder) -> None:
        with pytest.raises(InputError, match="record_plan"):
            _put(case, "plan", "plan.json", b"{}")
        with (
            pytest.raises(InputError, match="a new plan needs its new sheet"),
            case.transaction(now=LATER, what="planned", restamp=restamp) as change,
        ):
            change.put_json("plan", "plan.json", {"generation": 2, "stale": []})
            change.record_plan(case.inputs(T10), short_code(b"2"))
        assert case.json_of("plan")["generation"] == 1


class TestCodes:
    def test_current(self, case: CaseFolder) -> None:
        answer = case.answer_code(case.codes[-1].code.lower(), case.inputs(T10))
        assert answer.state is CodeState.CURRENT
        assert answer.words == (
            f"{case.codes[-1].code} was made on 2026-01-02T03:04:05+01:00 "
            "and is the current plan of this case."
        )

    def test_out_of_date_by_inputs_and_identity(self, case: CaseFolder) -> None:
        code = case.codes[-1].code
        _put(case, "labels", "labels.nii.gz", b"new")
        _put(case, "identity", "identity.json", b"{}")
        answer = case.answer_code(code, case.inputs(Choices()))
        assert answer.state is CodeState.OUT_OF_DATE
        assert answer.reasons == (CONTOURS, CHOICES, IDENTITY)
        assert answer.words.startswith(f"{code} was made on 2026-01-02T03:04:05+01:00 and is out")

    def test_former_plan(self, case: CaseFolder) -> None:
        former = case.codes[-1].code
        newest = _plan(case, 2)
        answer = case.answer_code(former, case.inputs(T10))
        assert answer.state is CodeState.OUT_OF_DATE
        assert answer.reasons[0].startswith(f"a newer plan with the code {newest} was computed on")
        assert case.answer_code(newest, case.inputs(T10)).state is CodeState.CURRENT

    def test_a_former_plan_that_is_computed_again_is_current_again(self, case: CaseFolder) -> None:
        first = case.codes[-1].code
        second = _plan(case, 1, Choices())
        assert _plan(case, 1) == first
        assert [one.code for one in case.codes] == [first, second, first]
        assert case.answer_code(first, case.inputs(T10)).state is CodeState.CURRENT
        _plan(case, 1)
        assert len(case.codes) == 3  # the same plan once more is no other plan

    def test_unknown_and_mistyped(self, case: CaseFolder) -> None:
        stranger = short_code(b"another case")
        answer = case.answer_code(stranger, case.inputs(T10))
        assert answer.state is CodeState.UNKNOWN
        assert "unknown to this case" in answer.words
        typo = ("0" if stranger[0] != "0" else "1") + stranger[1:]
        with pytest.raises(InputError, match="is mistyped"):
            case.answer_code(typo, case.inputs(T10))

    def test_stale_needs_a_plan(self, tmp_path: Path) -> None:
        empty = CaseFolder.create(tmp_path / "empty", NOW)
        with pytest.raises(InputError, match="holds no plan yet"):
            empty.stale_reasons(empty.inputs(T10))
        assert empty.answer_code(short_code(b"1"), empty.inputs(T10)).state is CodeState.UNKNOWN
