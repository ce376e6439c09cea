"""A case opened again finds what was measured; whatever changed is measured anew."""

from __future__ import annotations

import os
import pickle
import time
import zipfile
from dataclasses import replace

import numpy as np
import pytest

from vertebloc.case.provenance import canonical_bytes
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.nifti import read_nifti_labels, write_nifti
from vertebloc.workflow import pack_case, plan_case, planner
from vertebloc.workflow.compute_plan import NOT_IN_CODE, plan_prepared
from vertebloc.workflow.kept_measures import find_measures, key_of_measures
from vertebloc.workflow.load_case import load_choices
from vertebloc.workflow.travelling import CannotComeBackError, from_bytes, to_bytes


@pytest.fixture
def fresh():
    """Each test opens the case as a new program does: with nothing in memory."""

    def forget():
        planner._KEPT.contours = planner._KEPT.prepared = planner._KEPT.bones = None

    forget()
    yield forget
    forget()


def kept_files(case_dir):
    return sorted((case_dir / "cache").glob("measured-*"))


def planned(case_dir, prepared):
    case = CaseFolder.open(case_dir)
    choices = load_choices(case)
    _, document, _ = plan_prepared(prepared, choices, case.inputs(choices))
    return document


def open_timed(case_dir):
    choices = load_choices(CaseFolder.open(case_dir))
    start = time.process_time()
    prepared = planner.prepare_case(case_dir, choices)
    return prepared, time.process_time() - start


def test_opened_again_it_is_the_same_and_faster(own_case, fresh):
    first, slow_s = open_timed(own_case)
    assert len(kept_files(own_case)) == 1
    fresh()
    again, fast_s = open_timed(own_case)
    assert planner._KEPT.contours is None, "the outlines were read again"
    before, after = planned(own_case, first), planned(own_case, again)
    assert before["code"] == after["code"]
    assert canonical_bytes(before, NOT_IN_CODE) == canonical_bytes(after, NOT_IN_CODE)
    np.testing.assert_array_equal(
        first.solids.tumour_field.distances.values, again.solids.tumour_field.distances.values
    )
    assert fast_s < 0.5 * slow_s


@pytest.mark.usefixtures("fresh")
def test_a_plan_by_command_is_measured_anew_and_leaves_it_for_the_pages(own_case):
    report = plan_case(own_case)
    (path,) = kept_files(own_case)
    prepared, _ = open_timed(own_case)
    assert planned(own_case, prepared)["code"] == report.document["code"]
    path.write_bytes(b"nonsense")
    assert plan_case(own_case).document["code"] == report.document["code"]
    assert path.stat().st_size > 1000


@pytest.mark.parametrize(
    "keep",
    [pytest.param(0, marks=pytest.mark.full), 100, pytest.param(100_000, marks=pytest.mark.full)],
)
def test_a_damaged_one_does_no_harm(own_case, fresh, keep):
    first, _ = open_timed(own_case)
    (path,) = kept_files(own_case)
    path.write_bytes(path.read_bytes()[:keep] + b"\0" * 50)
    fresh()
    again, _ = open_timed(own_case)
    assert planner._KEPT.contours is not None, "damaged, and yet not measured anew"
    assert planned(own_case, first)["code"] == planned(own_case, again)["code"]
    assert CaseFolder.open(own_case).verify() == []


@pytest.mark.usefixtures("fresh")
def test_changed_outlines_are_measured_anew_even_behind_the_manifests_back(own_case):
    case = CaseFolder.open(own_case)
    choices = load_choices(case)
    open_timed(own_case)
    key = key_of_measures(case, choices)
    labels, _ = read_nifti_labels(case.path_of("labels"), case.path_of("names"))
    values = labels.volume.values.copy()
    values[0, 0, 0] = 0 if values[0, 0, 0] else values.max()
    case.path_of("labels").chmod(0o644)
    write_nifti(case.path_of("labels"), replace(labels.volume, values=values))
    assert key_of_measures(case, choices) != key
    assert find_measures(case, key_of_measures(case, choices)) is None


def test_level_error_and_program_are_part_of_the_key(own_case, monkeypatch):
    case = CaseFolder.open(own_case)
    choices = load_choices(case)
    keys = {
        key_of_measures(case, chosen)
        for chosen in (
            choices,
            replace(choices, contour_error_mm=2.0),
            replace(choices, level=replace(choices.level, diseased="T11")),
            replace(choices, levels=("T9", "T10")),
        )
    }
    assert len(keys) == 4
    assert key_of_measures(case, replace(choices, wanted_margin_mm=9.0)) in keys
    monkeypatch.setattr("vertebloc.workflow.kept_measures._program", lambda: ("another",))
    assert key_of_measures(case, choices) not in keys


@pytest.mark.usefixtures("fresh")
def test_it_is_not_packed_and_not_checked(own_case, tmp_path):
    open_timed(own_case)
    pack_case(own_case, tmp_path / "packed.zip")
    assert not [n for n in zipfile.ZipFile(tmp_path / "packed.zip").namelist() if "cache" in n]
    inputs = CaseFolder.open(own_case).inputs(load_choices(CaseFolder.open(own_case)))
    for path in kept_files(own_case):
        path.unlink()
    assert CaseFolder.open(own_case).verify() == []
    assert CaseFolder.open(own_case).inputs(load_choices(CaseFolder.open(own_case))) == inputs


class _Runs:
    def __reduce__(self):
        return (os.system, ("echo this must never run",))


class _AsksOurs:
    def __reduce__(self):
        return (pickle.loads, (b"",))


@pytest.mark.parametrize("value", [_Runs(), _AsksOurs(), [1, _Runs()], np.array([_Runs()])])
def test_bytes_from_somebody_else_run_nothing(value):
    with pytest.raises(CannotComeBackError):
        from_bytes(pickle.dumps(value))


def test_a_function_of_ours_is_no_value_either():
    by_name = b"cvertebloc.workflow.pack_case\npack_case\n."
    through = b"\x80\x04\x8c\x1avertebloc.workflow.planner\x8c\x0aCaseFolder\x93."
    for data in (by_name, through, b"", to_bytes(1)[:-1]):
        with pytest.raises(CannotComeBackError):
            from_bytes(data)
