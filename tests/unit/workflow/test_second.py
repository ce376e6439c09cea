"""A second scan beside the CT: brought in, laid on, confirmed, and every refusal in one line."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pydicom
import pytest

from vertebloc.case.choices import Choices, LevelChoice
from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.choices_file import render_choices
from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
from vertebloc.exchange.names_file import NamesFile, write_names_file
from vertebloc.exchange.nifti import write_nifti
from vertebloc.exchange.points_file import read_point_pairs
from vertebloc.reports.second_words import second_lines, second_sentences
from vertebloc.space.grids import Grid, Volume
from vertebloc.workflow import ImportSettings, import_case, pack_case
from vertebloc.workflow.demo import SCANNED_AT
from vertebloc.workflow.lay_second import (
    confirm_second,
    lay_second,
    moving_from_fixed,
    read_second,
    save_pairs,
)

ANNA = Identity("MADE-UP, ANNA", "1970-01-01", "VB-1")
BEN = Identity("MADE-UP, BEN", "1980-02-02", "VB-2")
HEAD = "ct_x,ct_y,ct_z,second_x,second_y,second_z\n"


def _load_scenes() -> ModuleType:
    path = Path(__file__).parents[1] / "alignment" / "scenes.py"
    spec = importlib.util.spec_from_file_location("scenes_of_second", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["scenes_of_second"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def scenes() -> ModuleType:
    return _load_scenes()


@pytest.fixture
def mr_folder(tmp_path):
    """A small MR series of a person."""

    def write(identity=ANNA, *, seed="mr", kind="MR", values=None):
        matrix = np.array([[0, 0, -4, 8], [1, 0, 0, -3], [0, -1, 0, 9], [0, 0, 0, 1.0]])
        grid = Grid.from_matrix((12, 14, 5), matrix)
        if values is None:
            values = np.random.default_rng(1).integers(0, 500, grid.shape)
        settings = SeriesSettings(
            seed_text=seed, made_at=SCANNED_AT, description="made up", kind=kind
        )
        folder = tmp_path / f"{seed} {identity.number} {kind}"
        write_dicom_series(folder, Volume(grid, values.astype(np.int16)), identity, settings)
        return folder

    return write


@pytest.fixture
def case(tmp_path, write_dicom):
    import_case(write_dicom(ANNA), tmp_path / "case")
    return tmp_path / "case"


def test_an_mr_goes_beside_the_ct_and_leaves_it_alone(case, mr_folder):
    before = CaseFolder.open(case).hash_of("ct")
    report = import_case(mr_folder(), case)
    folder = CaseFolder.open(case)
    assert folder.hash_of("ct") == before
    assert folder.path_of("second").is_file() and folder.verify() == []
    assert report.lines[0] == "second scan (MR) read: 12 x 14 x 5 voxels of 1 x 1 x 4 mm, 5 files"
    assert any("its own frame of reference" in line for line in report.lines)
    assert "does not lie on the CT yet" in report.lines[-1]
    second = read_second(case)
    assert second.facts["kind"] == "MR" and not second.place and not second.same_frame
    assert second_sentences(second.facts, second.place, ())[0] == (
        "The MR is here, but it does not lie on the CT yet.", True
    )  # fmt: skip


def test_an_mr_of_the_cts_own_frame_is_said_to_be_so(tmp_path, write_dicom, mr_folder):
    ct, mr = write_dicom(ANNA), mr_folder()
    import_case(ct, tmp_path / "c")
    frame = pydicom.dcmread(next(ct.iterdir())).FrameOfReferenceUID
    for path in mr.iterdir():
        image = pydicom.dcmread(path)
        image.FrameOfReferenceUID = frame
        image.save_as(path)
    report = import_case(mr, tmp_path / "c")
    assert any("has the CT's frame of reference: the search starts" in x for x in report.lines)
    assert read_second(tmp_path / "c").same_frame


def test_an_older_ct_comes_in_when_asked_for(case, mr_folder, nifti):
    older = mr_folder(kind="CT", seed="older")
    import_case(older, case, settings=ImportSettings(beside=True))
    assert read_second(case).facts["kind"] == "CT"
    report = import_case(nifti, case, settings=ImportSettings(beside=True))
    assert any("does not say in which frame of reference" in line for line in report.lines)


@pytest.mark.parametrize("what", ["no case", "no ct", "other person", "same ct", "labels"])
def test_what_cannot_be_a_second_scan_is_one_line(tmp_path, case, mr_folder, what):
    beside = ImportSettings(beside=True)
    before = {p: p.read_bytes() for p in case.rglob("*") if p.is_file()}
    with pytest.raises(InputError) as told:
        if what == "no case":
            import_case(mr_folder(), tmp_path / "nowhere")
        elif what == "no ct":
            CaseFolder.create(tmp_path / "empty", SCANNED_AT)
            import_case(mr_folder(), tmp_path / "empty")
        elif what == "other person":
            import_case(mr_folder(BEN), case)
        elif what == "same ct":
            import_case(tmp_path / "dicom one VB-1 0", case, settings=beside)
        else:
            (tmp_path / "l.nii").touch()
            (tmp_path / "l.json").touch()
            import_case(mr_folder(), case, labels=tmp_path / "l.nii", names=tmp_path / "l.json")
    wanted = {
        "no case": "is no case yet: import the CT first",
        "no ct": "has no CT: import the CT first",
        "other person": "another person's",
        "same ct": "the CT that the case has already",
        "labels": "contours belong to the CT: leave --labels out",
    }[what]
    assert wanted in str(told.value) and "\n" not in str(told.value)
    assert {p: p.read_bytes() for p in case.rglob("*") if p.is_file()} == before


def test_laying_on_says_what_it_lacks(case, mr_folder):
    with pytest.raises(InputError, match="has no second scan"):
        lay_second(case)
    import_case(mr_folder(), case)
    with pytest.raises(InputError, match="holds no contours yet"):
        lay_second(case)
    with pytest.raises(InputError, match="was not laid on the CT yet"):
        confirm_second(case, "Dr A")


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "the first line must be ct_x,ct_y"),
        (HEAD + "1,2,3,4,5\n", "line 2: six numbers in mm are wanted, found"),
        (HEAD + "1,2,3,4,5,6\n1,2,x,4,5,6\n", "line 3: six numbers"),
        (HEAD + "1,2,3,4,5,nan\n", "line 2: six numbers"),
    ],
)
def test_a_wrong_file_of_points_is_one_line(tmp_path, text, match):
    path = tmp_path / "points.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=match):
        read_point_pairs(path)
    with pytest.raises(InputError, match="is not there: give a file of point pairs"):
        read_point_pairs(tmp_path / "none.csv")


def test_a_file_of_points_is_read(tmp_path):
    path = tmp_path / "points.csv"
    path.write_text(HEAD + "1,2,3,4,5,6\n\n-1, 2.5 ,3,4,5,6.25\n")
    assert read_point_pairs(path) == (
        ((1.0, 2.0, 3.0), (4.0, 5.0, 6.0)), ((-1.0, 2.5, 3.0), (4.0, 5.0, 6.25)),
    )  # fmt: skip


def choose_level(case: Path, level: str) -> None:
    choices = replace(Choices(), level=LevelChoice(diseased=level))
    (case / "choices.toml").write_text(render_choices(choices, {}))


@pytest.fixture(scope="session")
def alike(tmp_path_factory, scenes):
    """A case whose levels cannot be told apart, its second scan, and five true pairs."""
    folder = tmp_path_factory.mktemp("alike")
    fixed = scenes.ct_of(scenes.ALIKE)
    second = scenes.scan(fixed, np.random.default_rng(2), plain=True)
    write_nifti(folder / "ct.nii", fixed.ct)
    write_nifti(folder / "labels.nii.gz", fixed.labels.volume)
    write_names_file(folder / "names.json", NamesFile(labels=dict(fixed.labels.names)))
    write_nifti(folder / "second.nii", second.volume)
    import_case(
        folder / "ct.nii", folder / "case",
        labels=folder / "labels.nii.gz", names=folder / "names.json",
    )  # fmt: skip
    import_case(folder / "second.nii", folder / "case", settings=ImportSettings(beside=True))
    choose_level(folder / "case", "T10")
    clicked = np.array([[0.0, -14, 9], [0, 40, -4], [-15, 2, 0], [14, 3, -8], [0, 12, 0]])
    pairs = tuple(zip(clicked, second.mr_from_ct.points(clicked), strict=True))
    return folder / "case", pairs, second.mr_from_ct


@pytest.mark.slow
def test_the_whole_path_of_a_scan_that_cannot_be_told(alike, tmp_path):
    """Levels all alike by construction: the answer must not be yes, and a reason is needed."""
    case, pairs, truth = alike
    with pytest.raises(InputError, match="nothing says where to start: mark at least three"):
        lay_second(case)
    save_pairs(case, pairs)
    found = lay_second(case)
    assert found.place["answer"] == "cannot tell" and found.out_of_date == ()
    assert len(found.place["pairs"]) == 5
    lies = moving_from_fixed(found.place)
    assert lies is not None
    assert np.linalg.norm(lies.points([0.0, 0, 0]) - truth.points([0.0, 0, 0])) < 0.5
    lines = second_lines(found.facts, found.place, found.out_of_date)
    assert lines[0].startswith("Cannot tell whether the other scan lies on T10 of the CT (")
    assert any("What would settle the level" in line for line in lines)
    assert "Nobody has confirmed this." in lines
    with pytest.raises(InputError, match="give a name"):
        confirm_second(case, "  ")
    with pytest.raises(InputError, match="to use the scan all the same give a reason"):
        confirm_second(case, "Dr A")
    said = confirm_second(case, "Dr A", "counted from the sacrum on the localiser")
    assert said.place["confirmed_by"] == "Dr A"
    assert any("counted from the sacrum" in x for x in second_lines(said.facts, said.place, ()))
    again = lay_second(case)
    assert again.place["second_from_ct"] == found.place["second_from_ct"]  # the same chance
    assert again.place["confirmed_by"] == ""  # a new answer is nobody's yet
    choose_level(case, "T11")
    old = read_second(case)
    assert old.out_of_date == ("another vertebra is the diseased one now",)
    assert second_lines(old.facts, old.place, old.out_of_date)[0].startswith("OUT OF DATE")
    with pytest.raises(InputError, match="what was found is out of date"):
        confirm_second(case, "Dr A", "x")
    choose_level(case, "T10")
    report = pack_case(case, tmp_path / "packed.zip")
    assert any("the second scan" in line for line in report.removed)
