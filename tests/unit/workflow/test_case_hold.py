"""Two windows, two programs, a dead program: one works on a case, the others are told."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace

import pytest

from vertebloc.errors import InputError
from vertebloc.exchange.case_holder import HOLDER, read_holder
from vertebloc.workflow.case_hold import CaseHold
from vertebloc.workflow.open_case import OpenCase

OTHER_PROGRAM = """
import sys
from pathlib import Path
from vertebloc.workflow.case_hold import CaseHold
hold = CaseHold(Path(sys.argv[1]))
print(hold.take("window", over=sys.argv[2] == "over"), flush=True)
sys.stdin.readline()
"""


@pytest.fixture
def other_program(tmp_path):
    """Start a program that takes the case and lives until the test ends."""
    started = []

    def start(how="ask"):
        process = subprocess.Popen(
            [sys.executable, "-c", OTHER_PROGRAM, str(tmp_path), how],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        started.append(process)
        return process, process.stdout.readline().strip()

    yield start
    for process in started:
        process.kill()
        process.communicate()


def test_the_second_window_is_told_and_may_take_over(tmp_path):
    hold = CaseHold(tmp_path)
    assert hold.take("one")
    assert not hold.take("two")
    assert hold.window == "one"
    assert hold.take("two", over=True)
    assert hold.window == "two"
    assert not hold.take("one")
    hold.release()
    assert hold.take("one")


def test_another_program_is_told_and_may_take_over(tmp_path, other_program):
    hold = CaseHold(tmp_path)
    assert hold.take("window")
    _, said = other_program()
    assert said == "False"
    hold.refuse_if_taken()
    process, said = other_program("over")
    assert said == "True"
    assert hold.other.process == process.pid
    assert hold.window == ""
    with pytest.raises(InputError, match=f"process {process.pid} .*nothing was saved here"):
        hold.refuse_if_taken()


def test_a_program_that_died_holds_nothing(tmp_path, other_program):
    process, said = other_program()
    assert said == "True"
    hold = CaseHold(tmp_path)
    assert not hold.take("window")
    process.kill()
    process.wait()
    assert hold.take("window")


def test_a_process_number_given_to_another_program_holds_nothing(tmp_path):
    hold = CaseHold(tmp_path)
    hold.take("window")
    found = json.loads((tmp_path / HOLDER).read_bytes())
    (tmp_path / HOLDER).write_text(json.dumps(found | {"begun": "1"}))
    assert read_holder(tmp_path) is None


@pytest.mark.parametrize(
    "content", [b"", b"{", b"[]", b'{"window": "w", "process": "x"}', b"\xff"]
)
def test_a_file_that_says_nothing_locks_nobody_out(tmp_path, content):
    (tmp_path / HOLDER).write_bytes(content)
    assert CaseHold(tmp_path).take("window")


def test_what_another_holds_is_not_changed(own_case):
    first, second = OpenCase.open(own_case), OpenCase.open(own_case)
    assert first.hold.take("window")
    assert not second.hold.take("window")
    before = (own_case / "choices.toml").read_bytes()
    with pytest.raises(InputError, match="nothing was saved here"):
        second.change(replace(second.choices, kerf_mm=2.0), "kerf")
    assert (own_case / "choices.toml").read_bytes() == before
    assert second.choices == first.choices
    assert second.hold.take("window", over=True)
    second.change(replace(second.choices, kerf_mm=2.0), "kerf")
    with pytest.raises(InputError, match="nothing was saved here"):
        first.undo()
    second.close()
    first.change(replace(first.choices, kerf_mm=3.0), "kerf")
    assert OpenCase.open(own_case).choices.kerf_mm == 3.0
