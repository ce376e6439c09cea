"""The way out kept with a case: found again, out of date in time, stopped without a trace."""

from __future__ import annotations

import shutil
from dataclasses import replace

import pytest

from vertebloc.case.choice_words import StandingSide
from vertebloc.case.choices import RibChoice, RibFateChoice
from vertebloc.case.provenance import what_changed
from vertebloc.case.way_out_choice import Spared
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.space.frames import Side
from vertebloc.workflow import import_case, way_out
from vertebloc.workflow.clock import read_clock
from vertebloc.workflow.load_case import Restamper, load_choices
from vertebloc.workflow.way_out import (
    kept_way_out,
    key_of_way_out,
    put_way_out,
    saved_way_out,
    settings_of,
)
from vertebloc.workflow.way_out_job import STOPPED, WayOutJob


@pytest.fixture
def case(nifti, tmp_path, way_out_by_hand):
    """A small case without outlines that keeps a way out known by hand."""
    import_case(nifti, tmp_path / "case")
    found = CaseFolder.open(tmp_path / "case")
    choices = load_choices(found)
    kept = way_out_by_hand.hand_kept(key=key_of_way_out(found.inputs(choices), choices))
    put(found, kept)
    return found


def put(case, kept):
    restamp = Restamper(case)
    with case.transaction(now=read_clock(), what="way out computed", restamp=restamp) as change:
        put_way_out(change, kept)


def saved(case, choices):
    return saved_way_out(case, case.inputs(choices), choices)


def test_it_is_found_again_as_it_was_kept(case, way_out_by_hand):
    again = CaseFolder.open(case.path)
    choices = load_choices(again)
    found, by_hand = saved(again, choices), way_out_by_hand.hand_kept()
    assert found["words"] == by_hand["way_out"]["words"]
    assert found["path"] == by_hand["way_out"]["path"]
    assert kept_way_out(again)["ways"] == by_hand["ways"]
    assert again.verify() == []


def changes(now):
    """Everything that enters the way out, changed one at a time."""
    way = now.way_out
    yield replace(now, kerf_mm=1.5)
    yield replace(now, contour_error_mm=1.5)
    yield replace(now, ribs={("T10", Side.LEFT): RibChoice(fate=RibFateChoice.REMOVED)})
    yield replace(now, wanted_margin_mm=7.0)
    for name in ("least_mm", "clear_after_mm", "tolerance_mm", "sac_motion_mm", "distraction_mm"):
        yield replace(now, way_out=replace(way, **{name: getattr(way, name) + 1.0}))


def test_whatever_enters_it_makes_it_out_of_date(case):
    now = load_choices(case)
    for changed in changes(now):
        assert saved(case, changed) is None
    inputs = case.inputs(now)
    for name in ("labels", "names", "surfaces", "drawn", "package_version"):
        other = type(inputs).of(inputs.as_dict() | {name: "0" * 64})
        assert saved_way_out(case, other, now) is None


def test_one_kept_with_other_content_is_out_of_date(case, monkeypatch):
    """One that was kept before tilts were told holds none: it is not shown half."""
    now = load_choices(case)
    assert saved(case, now) is not None
    monkeypatch.setattr(way_out, "_CONTENT", way_out._CONTENT + 1)
    assert saved(case, now) is None and kept_way_out(case) is not None


def test_what_is_only_said_shown_or_ranked_does_not(case):
    now = load_choices(case)
    turned = replace(now, standing_side=StandingSide.RIGHT, finger_reach_mm=60.0)
    assert saved(case, turned) is not None
    ranking = replace(now, way_out=replace(now.way_out, spare_first=(Spared.ROOTS,)))
    assert saved(case, ranking)["ledger"][0]["roots"] == []
    assert saved(case, now)["ledger"][0]["roots"] == ["left T10 root"]


def test_settings_reach_the_search():
    from vertebloc.case.choices import Choices
    from vertebloc.case.way_out_choice import WayOutChoice

    own = WayOutChoice(least_mm=3.0, clear_after_mm=12.0, tolerance_mm=0.5, sac_motion_mm=2.0)
    used = settings_of(Choices(contour_error_mm=0.7, way_out=own))
    assert (used.least_mm, used.clear_after_mm, used.tolerance_mm) == (3.0, 12.0, 0.5)
    assert (used.sac_motion_mm, used.contour_error_mm) == (2.0, 0.7)


def test_a_plan_from_before_says_that_a_way_out_came(case):
    choices = load_choices(case)
    now = case.inputs(choices)
    before = type(now).of({k: v for k, v in now.as_dict().items() if k != "way_out"})
    assert what_changed(before, now) == ("the way out was added after this plan was computed",)


def test_a_damaged_one_is_one_line(case):
    put(case, {"key": "x"})
    with pytest.raises(InputError, match="compute the way out again"):
        kept_way_out(case)


@pytest.mark.slow
def test_stopped_it_leaves_the_case_as_it_was(small_case, tmp_path, run_apart):
    folder = shutil.copytree(small_case, tmp_path / "case")
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file() and p.suffix == ".json"}
    job, heard = WayOutJob(), []

    def hear(line):
        heard.append(line)
        job.stop()

    with pytest.raises(InputError, match="stopped") as stopped:
        run_apart(job.run(folder, hear))
    assert str(stopped.value) == STOPPED and heard and not job.is_running
    after = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file() and p.suffix == ".json"}
    assert after == before


@pytest.mark.full
def test_the_whole_round_on_the_lead_patient(own_case, monkeypatch):
    """Computed (coarsely), kept, in plan and sheet; a change of the kerf takes it out again."""
    from vertebloc.exchange.choices_file import render_choices
    from vertebloc.workflow import plan_case
    from vertebloc.workflow import way_out as module
    from vertebloc.workflow.way_out_case import way_out_case

    fine = module.settings_of
    coarse = {"step_mm": 4.0, "step_deg": 10.0, "edge_mm": 2.0, "thin_mm": 3.0, "pitch_mm": 1.6}
    monkeypatch.setattr(module, "settings_of", lambda choices: replace(fine(choices), **coarse))
    steps = []
    report = way_out_case(own_case, say=steps.append)
    case = CaseFolder.open(own_case)
    choices = load_choices(case)
    assert report.document["way_out"]["answer"] in ("yes", "no", "cannot_tell")
    assert report.document["way_out"]["words"] in report.document["answer"]
    assert case.stale_reasons(case.inputs(choices)) == ()
    assert case.has("way_out") and len(steps) > 5
    assert b"moved" in (case.path_of("pictures") / "way-out.svg").read_bytes()
    code = report.document["code"]
    with case.transaction(now=read_clock(), what="kerf", restamp=Restamper(case)) as change:
        change.put_choices(render_choices(replace(choices, kerf_mm=1.5), {}))
    after = plan_case(own_case).document
    assert "way_out" not in after and "Still open" in after["answer"] and after["code"] != code
