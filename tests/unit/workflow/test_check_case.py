"""A case without a plan has nothing to check: one clear line and exit code 2, as for bad input."""

import sys

import pytest

from vertebloc.cli import main
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.workflow import check_case, import_case


@pytest.fixture
def unplanned(tmp_path, nifti):
    import_case(nifti, tmp_path / "case")
    return tmp_path / "case"


def test_a_case_without_a_plan_says_so_and_what_to_do(unplanned):
    with pytest.raises(InputError) as told:
        check_case(unplanned)
    assert str(told.value) == (
        f"{unplanned} is whole; it holds no plan to check: make one with "
        f"vertebloc plan {unplanned}"
    )


def test_on_the_command_line_that_is_one_line_and_exit_code_2(unplanned, monkeypatch, capfd):
    monkeypatch.setattr(sys, "argv", ["vertebloc", "check", str(unplanned)])
    with pytest.raises(SystemExit) as stop:
        main()
    said = capfd.readouterr()
    assert (stop.value.code, said.out) == (2, "")
    assert said.err.count("\n") == 1 and "no plan to check" in said.err


def test_damage_is_told_before_the_missing_plan(unplanned):
    path = CaseFolder.open(unplanned).path_of("ct")
    path.write_bytes(path.read_bytes()[:-7])
    report = check_case(unplanned)
    assert not report.is_good
    assert report.lines[0].startswith("DAMAGED: ")
    assert "no plan to check" in report.lines[-1]
