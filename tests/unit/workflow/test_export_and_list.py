"""Outlines out of a case and in again, the list of series, the other made-up patients."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

import vertebloc.workflow
from vertebloc.cli import main
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.workflow import import_case
from vertebloc.workflow.export_contours import OutlineFormat, export_contours
from vertebloc.workflow.load_case import load_contours


def masks(case: Path) -> dict:
    label_map = load_contours(CaseFolder.open(case)).label_map
    assert label_map is not None
    found = {}
    for named in label_map.names.values():
        for contour in named:
            values = label_map.values_of(contour)
            found[contour] = np.packbits(np.isin(label_map.volume.values, values))
    return found


@pytest.mark.slow
@pytest.mark.parametrize(
    "form",
    [
        OutlineFormat.SEG,
        *(
            pytest.param(one, marks=pytest.mark.full)
            for one in (OutlineFormat.RTSTRUCT, OutlineFormat.NIFTI)
        ),
    ],
    ids=lambda f: f.value,
)
def test_a_case_s_outlines_go_out_and_come_in_again(
    form: OutlineFormat, small_case: Path, tmp_path: Path
) -> None:
    """Expectation: the case's own label map, voxel for voxel, for every structure."""
    report = export_contours(small_case, tmp_path / "out", form)
    scan = small_case.parent / "ct"
    names = report.files[1] if form is OutlineFormat.NIFTI else None
    import_case(scan, tmp_path / "case", labels=report.files[0], names=names)
    before, after = masks(small_case), masks(tmp_path / "case")
    assert before.keys() == after.keys() and len(before) > 50
    for contour, mask in before.items():
        assert np.array_equal(mask, after[contour]), contour.words
    with pytest.raises(InputError, match="is there already: give a new or empty folder"):
        export_contours(small_case, tmp_path / "out", form)


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    def run(*words: object) -> tuple[object, str, str]:
        monkeypatch.setattr(sys, "argv", ["vertebloc", *map(str, words)])
        with pytest.raises(SystemExit) as stop:
            main()
        said = capsys.readouterr()
        return stop.value.code, said.out, said.err

    return run


def test_commands_say_what_is_wrong_in_one_line(run, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    for words, said in (
        (("import", tmp_path / "empty"), "--case DIR"),
        (("import", tmp_path / "empty", "--list"), "is empty"),
        (("import", tmp_path / "none", "--list"), "is not a folder"),
        (
            ("export", tmp_path, tmp_path / "out", "--as", "obj"),
            "--as obj is not known: seg, rtstruct, nifti, ",
        ),
        (("demo", "--dir", tmp_path / "demo", "--patient", "nobody"), "there is no made-up"),
    ):
        code, out, err = run(*words)
        lines = [line for line in err.splitlines() if not line.startswith("...")]
        assert (code, out, len(lines)) == (2, "", 1)
        assert said in lines[0]
    assert not (tmp_path / "demo").exists()


def test_the_series_of_a_case_s_scan_are_listed(run, small_case: Path) -> None:
    code, out, _ = run("import", small_case.parent / "ct", "--list")
    assert code == 0
    assert out.startswith("1: CT, 126 images, 256 x 256, 1.5 mm apart, 2026-01-05, 'made-up")


def test_demo_takes_the_patient_and_the_twin(run, monkeypatch, tmp_path: Path) -> None:
    asked = {}

    def noted(folder: Path, **options: object) -> None:
        asked.update(options, folder=folder)
        raise InputError("enough")

    monkeypatch.setattr(vertebloc.workflow, "make_demo", noted)
    run("demo", "--dir", tmp_path, "--patient", "scoliosis", "--twin")
    assert (asked["name"], asked["twin"]) == ("scoliosis", True)
