"""What a case folder takes, refuses, finds damaged, and leaves alone."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from vertebloc import __version__
from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange import case_transaction
from vertebloc.exchange.atomic import LOCK, only_writer
from vertebloc.exchange.case_folder import CaseFolder

from .case_states import NOW, content, generation_in, put_generation, restamp


@pytest.fixture
def case(tmp_path: Path) -> CaseFolder:
    made = CaseFolder.create(tmp_path / "case", NOW)
    put_generation(made, 1)
    return made


def _put(case: CaseFolder, step: str, name: str, data: bytes, seconds: int = 0) -> None:
    now = NOW + timedelta(seconds=seconds)
    with case.transaction(now=now, what="test", restamp=restamp) as change:
        change.put_bytes(step, name, data)


def _state(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*") if p.is_file()
    }


def _edit_manifest(case: CaseFolder, **changes: Any) -> None:
    path = case.path / "case.json"
    path.write_text(json.dumps({**json.loads(path.read_bytes()), **changes}))


def _one_line(error: pytest.ExceptionInfo[InputError]) -> str:
    text = str(error.value)
    assert "\n" not in text
    return text


class TestMaking:
    def test_files_lie_where_people_look_and_are_named_by_content(self, case: CaseFolder) -> None:
        digits = r"-[0-9a-f]{8}"
        expected = [
            rf"\{LOCK}",
            r"case\.json",
            r"choices\.toml",
            rf"contours/labels{digits}\.nii\.gz",
            rf"contours/names{digits}\.json",
            rf"contours/surfaces{digits}/sac\.ply",
            rf"contours/surfaces{digits}/tumour\.ply",
            rf"identity{digits}\.json",
            rf"images/ct{digits}\.nii",
            r"journal\.jsonl",
            r"plan\.json",
            r"planning-sheet\.pdf",
            rf"results/plan{digits}\.json",
            rf"series{digits}\.json",
            rf"sheets/plan{digits}\.pdf",
        ]
        found = sorted(_state(case.path))
        assert len(found) == len(expected)
        for path, pattern in zip(found, expected, strict=True):
            assert re.fullmatch(pattern, path), path

    def test_a_used_folder_is_left_alone(self, tmp_path: Path) -> None:
        (tmp_path / "thesis.txt").write_text("years of work")
        with pytest.raises(InputError, match=r"not empty \(it holds 'thesis.txt'\)") as error:
            CaseFolder.create(tmp_path, NOW)
        assert "new or empty folder" in _one_line(error)
        assert list(_state(tmp_path)) == ["thesis.txt"]

    def test_neither_a_file_nor_a_case_becomes_a_case(
        self, case: CaseFolder, tmp_path: Path
    ) -> None:
        with pytest.raises(InputError, match="is a case already"):
            CaseFolder.create(case.path, NOW)
        (tmp_path / "file").touch()
        with pytest.raises(InputError, match="is a file"):
            CaseFolder.create(tmp_path / "file", NOW)
        assert generation_in(case.path) == 1

    def test_time_without_zone_is_refused(self, tmp_path: Path) -> None:
        with pytest.raises(InputError, match="no zone offset"):
            CaseFolder.create(tmp_path / "case", datetime(2026, 1, 2))  # noqa: DTZ001
        assert not (tmp_path / "case").exists()

    def test_what_is_no_case_is_not_opened(self, tmp_path: Path) -> None:
        for path in (tmp_path, tmp_path / "nowhere"):
            with pytest.raises(InputError, match=r"no case folder \(case.json is missing\)"):
                CaseFolder.open(path)


class TestReading:
    def test_steps_come_back(self, case: CaseFolder) -> None:
        assert case.path_of("ct").read_bytes() == content("ct", 1, 200_000)
        assert case.identity() == Identity("generation 1", "", "0")
        assert case.choices_text() == "# choices of generation 1\n"
        assert [p.name for p in sorted(case.path_of("surfaces").iterdir())] == [
            "sac.ply",
            "tumour.ply",
        ]
        assert len(case.hash_of("surfaces")) == 64
        assert not case.has("pictures")
        with pytest.raises(InputError, match="has no pictures"):
            case.path_of("pictures")

    def test_newer_schema_is_refused(self, case: CaseFolder) -> None:
        _edit_manifest(case, schema=2, steps="of a kind nobody here knows")
        with pytest.raises(InputError, match=r"schema 2, this vertebloc reads up to schema 1"):
            CaseFolder.open(case.path)
        with pytest.raises(InputError, match="use the newer vertebloc"):
            put_generation(case, 2)

    @pytest.mark.parametrize("text", [b"", b"{", b"[]", b'{"schema": "1"}', b'{"schema": 1}'])
    def test_damaged_manifest_is_said_in_one_line(self, case: CaseFolder, text: bytes) -> None:
        (case.path / "case.json").write_bytes(text)
        with pytest.raises(InputError, match=r"case\.json") as error:
            CaseFolder.open(case.path)
        _one_line(error)

    @pytest.mark.parametrize("path", ["../secret.json", "/secret.json", "a/../../b.json", ""])
    def test_manifest_cannot_lead_out_of_the_folder(self, case: CaseFolder, path: str) -> None:
        steps = json.loads((case.path / "case.json").read_bytes())["steps"]
        steps["series"]["files"][0]["path"] = path
        _edit_manifest(case, steps=steps)
        with pytest.raises(InputError, match="no path inside a case folder"):
            CaseFolder.open(case.path)


class TestVerify:
    def test_a_whole_case_is_clean(self, case: CaseFolder) -> None:
        assert CaseFolder.open(case.path).verify() == []

    def test_damage_is_found_and_named(self, case: CaseFolder) -> None:
        data = bytearray(case.path_of("ct").read_bytes())
        data[1234] ^= 1  # one bit
        case.path_of("ct").write_bytes(data)
        labels = case.path_of("labels")
        labels.write_bytes(labels.read_bytes()[:-1])
        (case.path_of("surfaces") / "sac.ply").unlink()
        damaged = CaseFolder.open(case.path).verify()
        assert len(damaged) == 3
        assert re.match(r"images/ct-\w+\.nii is damaged: its content", damaged[0])
        assert re.match(r"contours/labels-\w+\.nii\.gz .* has 299 bytes, 300 were", damaged[1])
        assert re.match(r"contours/surfaces-\w+/sac\.ply is missing", damaged[2])

    def test_a_missing_step_is_said_where_it_is_needed(self, case: CaseFolder) -> None:
        case.path_of("ct").unlink()
        with pytest.raises(InputError, match="is missing from the case"):
            CaseFolder.open(case.path).path_of("ct")

    def test_a_manifest_changed_by_hand_is_found(self, case: CaseFolder) -> None:
        _edit_manifest(case, codes=[])
        assert CaseFolder.open(case.path).verify() == ["case.json was changed after it was saved"]

    def test_damage_is_never_copied_to_the_top(self, case: CaseFolder) -> None:
        case.path_of("plan").write_text('{"generation": 7}')
        (case.path / "plan.json").unlink()
        damaged = CaseFolder.open(case.path).verify()
        assert damaged[-1] == "plan.json is missing"
        assert not (case.path / "plan.json").exists()

    def test_an_old_sheet_at_the_top_is_replaced_and_said(self, case: CaseFolder) -> None:
        (case.path / "planning-sheet.pdf").write_bytes(b"an older sheet")
        opened = CaseFolder.open(case.path)
        assert opened.notes == (
            "planning-sheet.pdf was not the last one saved and was written anew",
        )
        assert generation_in(case.path) == 1
        assert CaseFolder.open(case.path).notes == ()


class TestChanging:
    def test_nothing_happens_if_the_block_fails(self, case: CaseFolder) -> None:
        before = _state(case.path)

        def fail(path: Path) -> None:
            path.write_bytes(b"half of it")
            raise KeyboardInterrupt

        with (
            pytest.raises(KeyboardInterrupt),
            case.transaction(now=NOW, what="test", restamp=restamp) as change,
        ):
            change.put_bytes("labels", "labels.nii.gz", b"new")
            change.put_choices("# new\n")
            change.put_file("ct", "ct.nii", fail)
        assert _state(case.path) == before
        put_generation(case, 2)
        assert generation_in(case.path) == 2

    def test_a_writer_that_writes_nothing_is_refused(self, case: CaseFolder) -> None:
        with (
            pytest.raises(InputError, match=r"nothing was written for ct\.nii"),
            case.transaction(now=NOW, what="test", restamp=restamp) as change,
        ):
            change.put_file("ct", "ct.nii", lambda _: None)
        assert generation_in(case.path) == 1

    def test_the_same_again_is_no_change(self, case: CaseFolder) -> None:
        before = _state(case.path)
        _put(case, "labels", "labels.nii.gz", content("labels", 1))
        with case.transaction(now=NOW, what="nothing", restamp=restamp) as change:
            change.put_choices("# choices of generation 1\n")
        assert _state(case.path) == before

    def test_the_same_again_mends_a_damaged_file(self, case: CaseFolder) -> None:
        case.path_of("labels").write_bytes(b"damaged")
        _put(case, "labels", "labels.nii.gz", content("labels", 1))
        assert case.verify() == []

    def test_the_last_put_of_a_step_counts(self, case: CaseFolder) -> None:
        with case.transaction(now=NOW, what="test", restamp=restamp) as change:
            change.put_bytes("series", "first.json", b"{}")
            change.put_bytes("series", "second.json", b'{"second": true}')
        assert case.json_of("series") == {"second": True}
        assert len(list(case.path.glob("series-*"))) == 1

    def test_a_step_can_be_dropped_but_not_the_plan(self, case: CaseFolder) -> None:
        with case.transaction(now=NOW, what="test", restamp=restamp) as change:
            change.drop("surfaces")
        assert not case.has("surfaces")
        assert list((case.path / "contours").glob("surfaces-*")) == []
        with (
            pytest.raises(InputError, match="cannot be dropped"),
            case.transaction(now=NOW, what="test", restamp=restamp) as change,
        ):
            change.drop("plan")

    @pytest.mark.parametrize(
        "name", ["../ct.nii", "a/b.nii", "", ".hidden", "line\nbreak", "x" * 200]
    )
    def test_names_that_are_paths_are_refused(self, case: CaseFolder, name: str) -> None:
        with pytest.raises(InputError, match="cannot be a file's name"):
            _put(case, "ct", name, b"data")
        with pytest.raises(InputError, match="is no step of a case"):
            _put(case, "secret", "ct.nii", b"data")

    def test_two_contents_with_the_same_short_hash_do_not_meet(
        self, case: CaseFolder, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        taken = case.path_of("labels").relative_to(case.path).as_posix()
        real = case_transaction.path_in_folder

        def colliding(step: str, name: str, step_hash: str, digits: int = 8) -> str:
            return taken if digits == 8 else real(step, name, step_hash, digits)

        monkeypatch.setattr(case_transaction, "path_in_folder", colliding)
        _put(case, "labels", "labels.nii.gz", b"new")
        assert re.fullmatch(r"labels-[0-9a-f]{16}\.nii\.gz", case.path_of("labels").name)
        assert case.path_of("labels").read_bytes() == b"new"

    def test_what_others_put_there_stays(self, case: CaseFolder) -> None:
        theirs = [
            "notes.txt",
            "plan-20251125.pdf",
            "sheets/plan-20251125.pdf",  # the date looks like eight digits of a hash
            "images/ct-deadbeef.nii",
            "results/plan.json",
            "slides/talk.odp",
        ]
        for name in theirs:
            (case.path / name).parent.mkdir(exist_ok=True)
            (case.path / name).write_bytes(b"theirs")
        put_generation(case, 2)
        assert all((case.path / name).read_bytes() == b"theirs" for name in theirs)
        assert generation_in(case.path) == 2

    def test_only_what_is_asked_for_is_taken_in_from_others(self, case: CaseFolder) -> None:
        ours = CaseFolder.open(case.path)
        _put(case, "second", "second.nii", b"scan", 1)
        _put(case, "names", "names.json", b"{}", 2)
        ours.take_in("second", "second_place")
        assert ours.has("second") and not ours.has("second_place")
        assert ours.hash_of("second") == case.hash_of("second")
        assert ours.hash_of("names") != case.hash_of("names")

    def test_the_folder_can_be_moved_and_copied(self, case: CaseFolder, tmp_path: Path) -> None:
        shutil.copytree(case.path, tmp_path / "elsewhere")
        shutil.rmtree(case.path)
        put_generation(CaseFolder.open(tmp_path / "elsewhere"), 2)
        assert generation_in(tmp_path / "elsewhere") == 2


class TestChoices:
    def test_the_teams_own_words_are_never_lost(self, case: CaseFolder) -> None:
        edits = ["# edited by hand\n", "# edited again\n", "# edited again\n"]
        for number, edit in enumerate(edits):
            case.choices_path.write_text(edit)
            with case.transaction(now=NOW, what="import", restamp=restamp) as change:
                change.put_choices(f"# written {number}\n")
        kept = {p.name: p.read_text() for p in sorted(case.path.glob("choices-*.toml"))}
        assert kept == {  # the same second three times; equal words are kept once
            "choices-2026-01-02T030405+0100.toml": "# edited by hand\n",
            "choices-2026-01-02T030405+0100-2.toml": "# edited again\n",
        }
        assert case.choices_text() == "# written 2\n"

    def test_the_first_choices_can_be_put_again(self, case: CaseFolder) -> None:
        case.choices_path.write_text("# edited by hand\n")
        with case.transaction(now=NOW, what="import", restamp=restamp) as change:
            change.put_choices("# choices of generation 1\n")
        assert case.choices_text() == "# choices of generation 1\n"
        assert [p.read_text() for p in case.path.glob("choices-*")] == ["# edited by hand\n"]

    def test_missing_and_unreadable_choices_are_said(self, case: CaseFolder) -> None:
        case.choices_path.write_bytes("# Größe\n".encode("latin-1"))
        with pytest.raises(InputError, match="save it as UTF-8"):
            case.choices_text()
        case.choices_path.unlink()
        with pytest.raises(InputError, match=r"choices\.toml is missing"):
            case.choices_text()


class TestJournal:
    def test_each_change_is_a_line(self, case: CaseFolder) -> None:
        old = case.hash_of("labels")
        case.choices_path.write_text("# edited\n")
        with case.transaction(now=NOW, what="contours redrawn", restamp=restamp) as change:
            change.put_bytes("labels", "labels.nii.gz", b"new")
            change.put_choices("# new\n")
        lines = (case.path / "journal.jsonl").read_text().splitlines()
        assert [json.loads(line)["what"] for line in lines] == [
            "case made",
            "generation 1",
            "contours redrawn",
        ]
        last = json.loads(lines[-1])
        assert last["time"] == "2026-01-02T03:04:05+01:00"
        assert last["who"] == f"vertebloc {__version__}"
        assert last["before"]["labels"] == old
        assert last["after"]["labels"] == case.hash_of("labels")
        assert set(last["after"]) == {"labels", "plan", "sheet", "choices.toml"}  # marked stale

    def test_a_torn_line_is_tolerated_and_said(self, case: CaseFolder) -> None:
        path = case.path / "journal.jsonl"
        whole = path.read_bytes()
        path.write_bytes(whole[:-20])  # the last line, cut by a power failure
        opened = CaseFolder.open(case.path)
        journal = opened.journal()
        assert [c.what for c in journal.changes] == ["case made", "generation 1"]  # caught up
        assert journal.notes == (
            "journal.jsonl, line 2 was being written when the program was stopped: left out",
        )
        put_generation(opened, 2)
        assert [c.number for c in opened.journal().changes] == [1, 2, 3]

    def test_lines_that_are_no_changes_are_said(self, case: CaseFolder) -> None:
        with (case.path / "journal.jsonl").open("ab") as stream:
            stream.write(b'{"what": 1}\n\xff\xfe\n[]\n')
        journal = case.journal()
        assert len(journal.changes) == 2
        assert journal.notes == tuple(
            f"journal.jsonl, line {n} is not a change of a case: left out" for n in (3, 4, 5)
        )


class TestOneWriter:
    def test_a_second_writer_is_refused_in_one_line(self, case: CaseFolder) -> None:
        with case.transaction(now=NOW, what="test", restamp=restamp):
            with pytest.raises(InputError, match="being written by another vertebloc") as error:
                put_generation(CaseFolder.open(case.path), 2)
            assert "try again" in _one_line(error)
            assert CaseFolder.open(case.path).has("ct")  # readers are not in the way
        put_generation(case, 2)

    def test_a_reader_does_not_touch_what_is_being_written(self, case: CaseFolder) -> None:
        with case.transaction(now=NOW, what="test", restamp=restamp) as change:
            change.put_bytes("labels", "labels.nii.gz", b"new")
            CaseFolder.open(case.path)  # would sweep the unfinished file
        assert case.path_of("labels").read_bytes() == b"new"

    def test_the_lock_dies_with_its_holder(self, case: CaseFolder) -> None:
        program = (
            "import fcntl, os, sys, time\n"
            "fd = os.open(sys.argv[1], os.O_RDWR)\n"
            "fcntl.flock(fd, fcntl.LOCK_EX)\n"
            "print('locked', flush=True)\n"
            "time.sleep(60)\n"
        )
        command = [sys.executable, "-c", program, str(case.path / LOCK)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as holder:
            assert holder.stdout is not None
            assert holder.stdout.readline() == "locked\n"
            with (
                pytest.raises(InputError, match="another vertebloc"),
                only_writer(case.path),
            ):
                pass
            os.kill(holder.pid, signal.SIGKILL)
        put_generation(case, 2)
        assert generation_in(case.path) == 2

    def test_two_objects_of_one_case_do_not_undo_each_other(self, case: CaseFolder) -> None:
        other = CaseFolder.open(case.path)
        _put(case, "series", "series.json", b'{"by": "the first"}')
        _put(other, "names", "names.json", b'{"by": "the second"}')
        opened = CaseFolder.open(case.path)
        assert opened.json_of("series") == {"by": "the first"}
        assert opened.json_of("names") == {"by": "the second"}
