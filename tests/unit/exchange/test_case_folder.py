"""The case folder: whole changes, one writer, damage seen, stale plans marked."""

import json
from datetime import UTC, datetime

import pytest

from vertebloc.case.choices import Choices, LevelChoice
from vertebloc.case.issued_codes import CodeState
from vertebloc.case.short_code import short_code
from vertebloc.errors import InputError
from vertebloc.exchange import atomic
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.choices_file import render_choices

NOW = datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC)


def no_restamp(document):
    del document
    raise AssertionError("nothing was to be stamped again")


def stamp(document):
    return ("sheet " + "; ".join(document["stale"])).encode()


@pytest.fixture
def case(tmp_path):
    case = CaseFolder.create(tmp_path / "case", NOW)
    with case.transaction(now=NOW, what="images imported", restamp=no_restamp) as change:
        change.put_bytes("ct", "ct.nii", b"voxels")
        change.put_bytes("labels", "labels.nii.gz", b"labels")
        change.put_json("names", "names.json", {"labels": []})
        change.put_json(
            "identity", "identity.json", {"name": "A", "birth_date": "", "number": "1"}
        )
        change.put_choices(render_choices(Choices(), {}))
    return case


def put_plan(case, answer="all well"):
    inputs = case.inputs(Choices())
    code = short_code(answer.encode())
    with case.transaction(now=NOW, what="plan computed", restamp=no_restamp) as change:
        change.put_json("plan", "plan.json", {"answer": answer, "code": code, "stale": []})
        change.put_bytes("sheet", "planning-sheet.pdf", b"sheet")
        change.put_bytes("pictures", "a.png", b"picture")
        change.record_plan(inputs, code)
    return code


def test_what_was_put_can_be_read_by_another_opening(case):
    again = CaseFolder.open(case.path)
    assert again.path_of("ct").read_bytes() == b"voxels"
    assert again.identity().number == "1"
    assert again.verify() == []
    assert [c.what for c in again.journal().changes] == ["case made", "images imported"]


def test_a_change_that_fails_leaves_nothing(case):
    before = sorted(p.name for p in case.path.rglob("*"))
    with (
        pytest.raises(RuntimeError),
        case.transaction(now=NOW, what="broken", restamp=no_restamp) as change,
    ):
        change.put_bytes("ct", "ct.nii", b"other voxels")
        raise RuntimeError
    assert sorted(p.name for p in case.path.rglob("*")) == before
    assert CaseFolder.open(case.path).path_of("ct").read_bytes() == b"voxels"


@pytest.mark.parametrize("failing", range(12))
def test_a_disk_that_refuses_at_any_step_leaves_the_old_or_the_new(case, monkeypatch, failing):
    import os

    calls = 0
    true_replace, true_fsync = os.replace, os.fsync

    def count(true, *args, **more):
        nonlocal calls
        calls += 1
        if calls == failing + 1:
            raise OSError(28, "No space left on device")
        return true(*args, **more)

    monkeypatch.setattr(os, "replace", lambda *a, **k: count(true_replace, *a, **k))
    monkeypatch.setattr(os, "fsync", lambda *a, **k: count(true_fsync, *a, **k))
    try:
        with case.transaction(now=NOW, what="images imported", restamp=no_restamp) as change:
            change.put_bytes("ct", "ct.nii", b"second")
            change.put_bytes("labels", "labels.nii.gz", b"second")
    except (InputError, OSError) as error:
        assert "disk is full" in str(error) or "No space left" in str(error)
    monkeypatch.undo()
    again = CaseFolder.open(case.path)
    assert again.verify() == []
    both = {again.path_of("ct").read_bytes(), again.path_of("labels").read_bytes()}
    assert both in ({b"voxels", b"labels"}, {b"second"})


def test_a_second_writer_is_refused(case):
    other = CaseFolder.open(case.path)
    with (
        case.transaction(now=NOW, what="first", restamp=no_restamp),
        pytest.raises(InputError, match="writ"),
        other.transaction(now=NOW, what="second", restamp=no_restamp),
    ):
        pass


def test_damage_is_named(case):
    path = case.path_of("labels")
    path.write_bytes(b"labelz")
    assert any("labels" in line for line in CaseFolder.open(case.path).verify())


def test_a_newer_schema_is_refused(case):
    manifest = case.path / "case.json"
    document = json.loads(manifest.read_text())
    document["schema"] = 99
    manifest.write_text(json.dumps(document))
    with pytest.raises(InputError, match="newer"):
        CaseFolder.open(case.path)


def test_a_torn_last_journal_line_is_tolerated_and_said(case):
    journal = case.path / "journal.jsonl"
    journal.write_bytes(journal.read_bytes() + b'{"number": 3, "ti')
    read = CaseFolder.open(case.path).journal()
    assert len(read.changes) >= 2


def test_a_folder_that_is_no_case_is_left_alone(tmp_path):
    (tmp_path / "letter.txt").write_text("dear")
    with pytest.raises(InputError, match="no case and not empty"):
        CaseFolder.create(tmp_path, NOW)
    assert (tmp_path / "letter.txt").read_text() == "dear"


def test_changed_contours_mark_the_plan_and_its_sheet_in_the_same_change(case):
    put_plan(case)
    with case.transaction(now=NOW, what="images imported", restamp=stamp) as change:
        change.put_bytes("labels", "labels.nii.gz", b"other labels")
    document = json.loads((case.path / "plan.json").read_text())
    assert any("contours were changed" in reason for reason in document["stale"])
    assert b"contours were changed" in (case.path / "planning-sheet.pdf").read_bytes()
    assert CaseFolder.open(case.path).verify() == []


def test_a_changed_setting_makes_the_code_out_of_date_and_back_again(case):
    code = put_plan(case)
    same, other = Choices(), Choices(level=LevelChoice(diseased="T9"))
    assert case.answer_code(code, case.inputs(same)).state is CodeState.CURRENT
    answer = case.answer_code(code.lower().replace("-", " "), case.inputs(other))
    assert answer.state is CodeState.OUT_OF_DATE
    assert "choices were changed" in answer.words


def test_a_code_of_another_case_is_unknown_and_a_typo_is_said(case):
    code = put_plan(case)
    stranger = short_code(b"another plan")
    assert case.answer_code(stranger, case.inputs(Choices())).state is CodeState.UNKNOWN
    wrong = ("B" if code[0] != "B" else "C") + code[1:]
    with pytest.raises(InputError):
        case.answer_code(wrong, case.inputs(Choices()))


def test_a_former_plans_code_is_out_of_date(case):
    first = put_plan(case)
    second = put_plan(case, "other answer")
    inputs = case.inputs(Choices())
    assert "newer plan" in case.answer_code(first, inputs).words
    assert case.answer_code(second, inputs).state is CodeState.CURRENT


def test_choices_are_never_lost(case):
    case.choices_path.write_text("# mine\n" + case.choices_text())
    with case.transaction(now=NOW, what="choices", restamp=no_restamp) as change:
        change.put_choices(render_choices(Choices(wanted_margin_mm=7.0), {}))
    kept = [p for p in case.path.glob("choices-*.toml") if p.read_text().startswith("# mine")]
    assert len(kept) == 1


def test_the_lock_is_gone_after_a_change(case):
    with atomic.only_writer(case.path):
        pass
