"""kill -9 at random moments: the case is whole, and holds everything that was acknowledged."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder

from . import case_states
from .case_states import EMPTY_CASE, NO_CASE, NOW, generation_in, put_generation


class _Writers:
    """Starts writers that go on for ever, and kills them."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._process = process

    def kill_one(self, folder: Path, acknowledged: Path, delay_s: float) -> None:
        assert self._process.stdin is not None and self._process.stdout is not None
        self._process.stdin.write(json.dumps([str(folder), str(acknowledged)]) + "\n")
        self._process.stdin.flush()
        pid = int(self._process.stdout.readline())
        time.sleep(delay_s)
        os.kill(pid, signal.SIGKILL)
        assert int(self._process.stdout.readline()) == -signal.SIGKILL  # it was still writing


@contextmanager
def _writers(*arguments: str) -> Iterator[_Writers]:
    command = [sys.executable, str(Path(case_states.__file__)), *arguments]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        yield _Writers(process)
        assert process.stdin is not None
        process.stdin.close()
        assert process.wait(timeout=60) == 0


def _seconds_a_generation(folder: Path) -> float:
    case = CaseFolder.create(folder, NOW)
    start = time.perf_counter()
    for generation in range(1, 6):
        put_generation(case, generation)
    return (time.perf_counter() - start) / 5


def _kill_many(tmp_path: Path, moments: int, writers: _Writers) -> list[int]:
    """Kill at random moments; the generations found after each."""
    chance = np.random.default_rng(9)
    longest_s = 3 * _seconds_a_generation(tmp_path / "measured")
    found = []
    for moment in range(moments):
        folder = tmp_path / f"case-{moment // 5}"  # four times in five it goes on in an old case
        acknowledged = tmp_path / f"acknowledged-{moment // 5}"
        writers.kill_one(folder, acknowledged, chance.uniform(0, longest_s))
        generation = generation_in(folder)
        told = acknowledged.read_text().split() if acknowledged.exists() else []
        assert generation >= max(map(int, told), default=NO_CASE), "an acknowledged change is lost"
        found.append(generation)
    return found


@pytest.mark.slow
def test_killed_at_50_moments(tmp_path: Path) -> None:
    with _writers() as writers:
        found = _kill_many(tmp_path, 50, writers)
    assert len(found) == 50
    assert max(found) >= 2  # it got somewhere
    assert len(set(found)) >= 3  # and died at several stages


@pytest.mark.full
@pytest.mark.slow
def test_killed_at_500_moments(tmp_path: Path) -> None:
    with _writers() as writers:
        found = _kill_many(tmp_path, 500, writers)
    assert len(found) == 500
    assert {NO_CASE, EMPTY_CASE} & set(found)  # also before and while the case was made


@pytest.mark.slow
def test_the_check_catches_a_careless_program(tmp_path: Path) -> None:
    """Files that are written over before the manifest is replaced do not survive 50 kills."""
    with (
        _writers("careless") as writers,
        pytest.raises((AssertionError, InputError), match=r"damaged|missing|mixture"),
    ):
        _kill_many(tmp_path, 50, writers)
