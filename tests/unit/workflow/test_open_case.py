"""A case under work: changes saved and undone, drags answered, bad input refused."""

from __future__ import annotations

import asyncio
import json
import os
import pickle
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from vertebloc.case.choice_words import CountedFrom, DeliverySide
from vertebloc.case.choices import HalfPlacement
from vertebloc.errors import InputError, NoSolutionError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.space.frames import Side
from vertebloc.workflow import check_case, plan_case
from vertebloc.workflow.open_case import OpenCase
from vertebloc.workflow.pulled_cut import read_halves
from vertebloc.workflow.saved_choices import EDITED
from vertebloc.workflow.saying import say_nothing


def wider(case, margin_mm):
    return replace(case.choices, wanted_margin_mm=margin_mm)


def test_each_change_is_on_disk_at_once_and_undo_outlives_the_program(own_case):
    case = OpenCase.open(own_case)
    before = case.choices
    case.change(wider(case, 6.0), "wanted margin")
    case.change(wider(case, 7.0), "wanted margin")
    again = OpenCase.open(own_case)
    assert again.choices.wanted_margin_mm == 7.0
    assert again.undo() == "wanted margin"
    assert OpenCase.open(own_case).choices.wanted_margin_mm == 6.0
    again.undo()
    assert again.choices == before
    assert not again.can_undo
    again.redo()
    again.redo()
    assert OpenCase.open(own_case).choices.wanted_margin_mm == 7.0
    with pytest.raises(InputError, match="none to make again"):
        again.redo()


def test_an_edit_by_hand_is_a_change_of_its_own_and_never_lost(own_case):
    case = OpenCase.open(own_case)
    case.change(wider(case, 6.0), "wanted margin")
    path = own_case / "choices.toml"
    path.write_text(path.read_text().replace("kerf_mm = 1.0", "kerf_mm = 2.0"))
    case.change(wider(case, 7.0), "wanted margin")  # while the file was edited beside it
    assert case.choices.wanted_margin_mm == 7.0
    case.undo()
    assert (case.choices.kerf_mm, case.choices.wanted_margin_mm) == (2.0, 6.0)
    assert case.undo() == EDITED
    assert case.choices.kerf_mm == 1.0


def test_the_reason_for_the_level_stays_in_the_file(own_case):
    case = OpenCase.open(own_case)
    case.change(wider(case, 6.0), "wanted margin")
    assert (
        "holds most of the outlined tumour"
        in "".join(
            line
            for line in case.folder.choices_text().splitlines()
            if line.startswith("# This value")
        )
        or "% of the outlined tumour lies at T10" in case.folder.choices_text()
    )


def test_many_changes_leave_no_heap_of_former_files(own_case):
    case = OpenCase.open(own_case)
    for step in range(5):
        case.change(wider(case, 6.0 + step), "wanted margin")
    assert list(own_case.glob("choices-*.toml")) == []


def test_a_plan_and_its_sheet_say_at_once_that_the_choices_went_on(own_case):
    plan_case(own_case)
    case = OpenCase.open(own_case)
    assert case.stale_reasons == ()
    case.change(wider(case, 6.0), "wanted margin")
    assert case.stale_reasons
    assert json.loads((own_case / "plan.json").read_text())["stale"]
    case.undo()
    assert case.stale_reasons == ()
    assert not json.loads((own_case / "plan.json").read_text())["stale"]
    assert check_case(own_case).is_good


KILLED = """
import sys, dataclasses
from pathlib import Path
from vertebloc.workflow.open_case import OpenCase
case = OpenCase.open(Path(sys.argv[1]))
print("ready", flush=True)
for step in range(100000):
    margin = 5.5 + step % 40
    case.change(dataclasses.replace(case.choices, wanted_margin_mm=margin), f"to {margin}")
    print(margin, flush=True)
"""


@pytest.mark.parametrize("times", [3, pytest.param(20, marks=pytest.mark.full)])
def test_a_program_that_is_killed_while_saving_leaves_a_whole_case(own_case, times):
    rng = np.random.default_rng(11)
    for _ in range(times):
        work = subprocess.Popen(
            [sys.executable, "-c", KILLED, str(own_case)],
            stdout=subprocess.PIPE,
            text=True,
            env={**os.environ, "NUMBA_NUM_THREADS": "1"},
        )
        assert work.stdout.readline() == "ready\n"
        time.sleep(float(rng.uniform(0.02, 0.4)))
        work.send_signal(signal.SIGKILL)
        said = [float(line) for line in work.stdout if line.endswith("\n")]
        work.wait(10)
        work.stdout.close()
        case = OpenCase.open(own_case)
        found = case.choices.wanted_margin_mm
        if said:  # the last one that was said to be saved, or the one that was under way
            assert found in (said[-1], 5.5 + (said[-1] - 5.5 + 1) % 40)
        assert CaseFolder.open(own_case).verify() == []
        if case.can_undo:
            case.undo()


@pytest.fixture(scope="module")
def prepared_case(small_case, tmp_path_factory):
    """A case whose workers are running, with its loop; one for all tests that need a plan."""
    import shutil

    folder = shutil.copytree(small_case, tmp_path_factory.mktemp("prepared") / "case")
    loop = asyncio.new_event_loop()
    case = OpenCase.open(folder)
    with ThreadPoolExecutor(1) as aside:  # a browser test before may have left a loop running here

        def run(what):
            return aside.submit(loop.run_until_complete, what).result()

        run(case.prepare(say_nothing))
        run(case.replan())
        yield case, run
        case.close()
    loop.close()


@pytest.mark.slow
def test_a_drag_measures_what_the_plan_then_says(prepared_case):
    case, run = prepared_case
    halves = {
        side: replace(half, height_mm=half.height_mm - 1.5)
        for side, half in case.placements()["caudal"].items()
    }
    faces, _ = run(case.measure_drag(cranial=False, halves=halves))
    dragged = {face.name: face for face in faces}
    case.move_cut(cranial=False, halves=halves)
    planned = run(case.replan())
    assert planned.document["code"] != "-"
    found = {face.name: face for face in planned.plan.faces if face.name in dragged}
    assert set(found) == set(dragged)
    for name, face in found.items():
        assert dragged[name].margin_mm == pytest.approx(face.margin_mm, abs=1e-9)
        assert dragged[name].allowance.offset_mm == pytest.approx(
            face.allowance.offset_mm, abs=1e-9
        )
    case.undo()
    run(case.replan())


@pytest.mark.slow
def test_a_cut_moved_away_gains_at_most_the_way_it_moved(prepared_case):
    """Law: distances change no faster than places."""
    case, run = prepared_case
    start = case.placements()["caudal"]
    before = {f.name: f.margin_mm for f in case.planned.plan.faces if "caudal" in f.name}
    for way in (0.5, 1.5, 3.0):
        halves = {s: replace(h, height_mm=h.height_mm - way) for s, h in start.items()}
        faces, _ = run(case.measure_drag(cranial=False, halves=halves))
        for face in faces:
            if face.name in before:
                assert face.margin_mm <= before[face.name] + way + 0.05  # field's straight steps


@pytest.mark.slow
@pytest.mark.parametrize(
    ("height_mm", "said"),
    [(40.0, "above the middle of T10"), (0.0, "above the middle of T10")],
)
def test_a_cut_that_cannot_be_is_refused_and_the_last_good_state_kept(
    prepared_case, height_mm, said
):
    case, run = prepared_case
    halves = {side: HalfPlacement(height_mm=height_mm) for side in Side}
    with pytest.raises(InputError, match=said):
        run(case.measure_drag(cranial=False, halves=halves))
    good = case.planned
    case.move_cut(cranial=False, halves=halves)
    with pytest.raises(InputError, match=said):
        run(case.replan())
    assert case.planned is good
    with pytest.raises(InputError, match="not computed yet"):
        case.save_sheet()
    case.undo()
    run(case.replan())


@pytest.mark.slow
def test_a_wedge_that_locks_is_refused_with_the_reason(prepared_case):
    case, run = prepared_case
    start = case.placements()["caudal"]
    tilted = {side: replace(half, roll_deg=-8.0) for side, half in start.items()}
    case.change(replace(case.choices, delivery_side=DeliverySide.LEFT), "side")
    case.move_cut(cranial=False, halves=tilted)
    wide = {side: replace(half, roll_deg=8.0) for side, half in start.items()}
    answers = []
    for halves in (tilted, wide):
        case.move_cut(cranial=False, halves=halves)
        try:
            run(case.replan())
            answers.append("leaves")
        except NoSolutionError as error:
            answers.append(str(error))
    assert sorted("locks" in answer for answer in answers) == [False, True]
    while case.can_undo:
        case.undo()
    run(case.replan())


@pytest.mark.slow
def test_the_sheet_is_of_the_plan_on_the_screen(prepared_case):
    case, run = prepared_case
    run(case.replan())
    assert "ring" not in case.planned.document
    with pytest.raises(InputError, match="ring and front are still being measured"):
        case.save_sheet()
    assert run(case.measure_access())
    report = case.save_sheet()
    assert report.document["code"] == case.planned.document["code"]
    assert case.stale_reasons == ()
    assert check_case(case.folder.path).is_good
    # the code is that of a plan made in one go, which holds ring and front from the start
    again = plan_case(case.folder.path).document
    assert again["code"] == report.document["code"]
    assert (again["ring"], again["front"]) == (report.document["ring"], report.document["front"])


@pytest.mark.slow
def test_ring_and_front_of_a_plan_that_was_overtaken_are_dropped(prepared_case):
    case, run = prepared_case
    start = case.choices

    async def overtaken():
        case.change(replace(start, finger_reach_mm=35.0), "finger reach")
        await case.replan()
        old = asyncio.ensure_future(case.measure_access())
        await asyncio.sleep(0.1)
        case.change(replace(start, finger_reach_mm=30.0), "finger reach")
        assert (await case.replan()).access is None
        assert not await old
        assert case.planned.access is None
        assert await case.measure_access()

    run(overtaken())
    front = case.planned.document["front"]
    assert front["finger_reach_mm"] == 30.0 == case.planned.access.front.finger_reach_mm
    case.undo()
    case.undo()
    run(case.replan())
    assert case.planned.access is None and case.choices == start


@pytest.mark.slow
def test_an_answer_that_came_too_late_for_whoever_asked_first_is_not_lost(prepared_case):
    """A change that is refused ends the following; whoever follows again finds the answer."""
    case, run = prepared_case
    run(case.replan())
    assert run(case.measure_access())
    there = case.planned
    case.planned = replace(there, access=None)  # as if nobody had heard
    case._behind._begun = case.planned
    assert run(asyncio.wait_for(case.measure_access(), 20.0))
    assert case.planned.document == there.document


@pytest.mark.slow
def test_what_is_said_of_the_count_only_keeps_ring_and_front(prepared_case):
    """The same cuts: nothing is measured again, and the document is still whole."""
    case, run = prepared_case
    run(case.replan())
    assert run(case.measure_access())
    before = case.planned
    level = replace(case.choices.level, counted_from=CountedFrom.LAST_RIB)
    case.change(replace(case.choices, level=level), "counted from")
    run(case.replan())
    start = time.perf_counter()
    assert run(case.measure_access())
    assert time.perf_counter() - start < 1.5
    assert case.planned.document["ring"] == before.document["ring"]
    assert case.planned.document["code"] != before.document["code"]
    case.undo()
    run(case.replan())


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"left": {"height_mm": 1, "tilt_deg": 0, "roll_deg": 0}},
        {s: {"height_mm": "x", "tilt_deg": 0, "roll_deg": 0} for s in ("left", "right")},
        {s: {"height_mm": 1e9, "tilt_deg": 0, "roll_deg": 0} for s in ("left", "right")},
        {s: {"height_mm": float("nan"), "tilt_deg": 0, "roll_deg": 0} for s in ("left", "right")},
    ],
)
def test_numbers_from_a_page_are_checked_at_the_door(given):
    with pytest.raises(InputError):
        read_halves(given)


def test_an_answer_of_no_travels_from_the_worker_with_its_reasons():
    error = pickle.loads(pickle.dumps(NoSolutionError("it locks", ("a wedge", "too steep"))))
    assert (str(error), error.reasons) == ("it locks", ("a wedge", "too steep"))
