"""Bringing images in: what is kept, what is refused, and nothing half made."""

import importlib
import json

import numpy as np
import pytest

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange.case_folder import CaseFolder
from vertebloc.exchange.surface_files import write_ply
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.workflow import ImportSettings, import_case

ANNA = Identity("MADE-UP, ANNA", "1970-01-01", "VB-1")
BEN = Identity("MADE-UP, BEN", "1980-02-02", "VB-2")
module = importlib.import_module("vertebloc.workflow.import_case")


def everything_in(folder):
    return {p: p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


@pytest.fixture
def ball_surface(tmp_path):
    """A folder with one closed surface (an octahedron) and its names file."""
    folder = tmp_path / "surfaces"
    folder.mkdir()
    corners = 5.0 * np.array(
        [[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], dtype=float
    )
    upper = [[0, 2, 4], [2, 1, 4], [1, 3, 4], [3, 0, 4]]
    lower = [[2, 0, 5], [1, 2, 5], [3, 1, 5], [0, 3, 5]]
    surface = TriangleSurface(corners, np.array(upper + lower, dtype=np.int32))
    write_ply(folder / "tumour.ply", surface)
    names = {"surfaces": [{"file": "tumour.ply", "structure": "tumour"}]}
    (folder / "names.json").write_text(json.dumps(names))
    return folder


def test_nifti_leaves_the_known_person_in_the_case(tmp_path, nifti, write_dicom):
    case = tmp_path / "case"
    import_case(write_dicom(ANNA), case)
    report = import_case(nifti, case)
    assert CaseFolder.open(case).identity() == ANNA
    assert any("the case stays that of MADE-UP, ANNA" in line for line in report.lines)
    before = everything_in(case)
    with pytest.raises(InputError, match="another person"):
        import_case(write_dicom(BEN), case)
    assert everything_in(case) == before


def test_a_person_can_be_named_where_the_images_do_not(tmp_path, nifti):
    import_case(nifti, tmp_path / "case", settings=ImportSettings(identity=ANNA))
    assert CaseFolder.open(tmp_path / "case").identity() == ANNA


def test_choices_say_why_no_level_stands_there(tmp_path, nifti):
    import_case(nifti, tmp_path / "case")
    text = (tmp_path / "case" / "choices.toml").read_text()
    assert 'diseased = ""' in text
    assert "# This value: no tumour was outlined at import" in text


def test_choices_of_the_team_outlive_a_new_import(tmp_path, nifti):
    case = tmp_path / "case"
    import_case(nifti, case)
    text = (case / "choices.toml").read_text().replace("kerf_mm = 1.0", "kerf_mm = 1.5")
    (case / "choices.toml").write_text(text)
    import_case(nifti, case)
    assert (case / "choices.toml").read_text() == text


def test_surfaces_come_in_and_stay_under_the_same_images_only(tmp_path, write_dicom, ball_surface):
    case, names = tmp_path / "case", ball_surface / "names.json"
    scan = write_dicom(ANNA)
    import_case(scan, case, labels=ball_surface, names=names)
    assert CaseFolder.open(case).has("surfaces")
    report = import_case(scan, case)
    assert any("contours in the case stay" in line for line in report.lines)
    before = everything_in(case)
    moved = write_dicom(ANNA, start_mm=3.0)
    rescanned = write_dicom(ANNA, seed="two")
    with pytest.raises(InputError, match="another CT grid"):
        import_case(moved, case)
    with pytest.raises(InputError, match="frame of reference differs"):
        import_case(rescanned, case)
    assert everything_in(case) == before
    report = import_case(rescanned, case, labels=ball_surface, names=names)
    assert "contours read: 1 structures" in report.lines


def test_moved_nifti_under_old_contours_is_refused_by_its_grid(
    tmp_path, write_dicom, nifti, ball_surface
):
    case, names = tmp_path / "case", ball_surface / "names.json"
    moved = write_dicom(ANNA, start_mm=3.0)
    import_case(moved, case, labels=ball_surface, names=names)
    with pytest.raises(InputError, match=r"corner voxels lie 3\.00 to 3\.00 mm"):
        import_case(nifti, case)  # names no frame of reference


def test_surfaces_need_their_names_beside_them(tmp_path, nifti, ball_surface):
    names = tmp_path / "names.json"
    names.write_bytes((ball_surface / "names.json").read_bytes())
    with pytest.raises(InputError, match="must lie in"):
        import_case(nifti, tmp_path / "case", labels=ball_surface, names=names)
    assert not (tmp_path / "case").exists()


@pytest.mark.parametrize("failure", [KeyboardInterrupt, OSError(28, "No space left")])
def test_a_first_import_that_is_cut_short_leaves_nothing(tmp_path, nifti, monkeypatch, failure):
    def cut_short(*_):
        raise failure

    monkeypatch.setattr(module, "_put_images", cut_short)
    with pytest.raises((KeyboardInterrupt, OSError)):
        import_case(nifti, tmp_path / "made" / "for it" / "case")
    assert [path.name for path in tmp_path.iterdir()] == ["ct.nii"]


def test_a_later_import_that_is_cut_short_changes_nothing(tmp_path, nifti, monkeypatch):
    case = tmp_path / "case"
    import_case(nifti, case)
    before = everything_in(case)

    def cut_short(change, *_):
        change.put_json("series", "series.json", {"half": "written"})
        raise KeyboardInterrupt

    monkeypatch.setattr(module, "_put_images", cut_short)
    with pytest.raises(KeyboardInterrupt):
        import_case(nifti, case)
    assert everything_in(case) == before


def test_what_was_saved_is_never_taken_away(tmp_path, nifti, monkeypatch):
    """The change is made, then something fails: the case stays."""

    def fail(_):
        raise KeyboardInterrupt

    monkeypatch.setattr(module, "renew_copy", fail)
    with pytest.raises(KeyboardInterrupt):
        import_case(nifti, tmp_path / "case")
    assert CaseFolder.open(tmp_path / "case").verify() == []
