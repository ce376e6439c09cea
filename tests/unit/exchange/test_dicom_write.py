"""Written CT series: checked by Debian's dciodvfy, SimpleITK and pydicom."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pydicom
import pytest
import SimpleITK as sitk  # noqa: N813

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange import dicom_write
from vertebloc.exchange.dicom_read import read_dicom_folder
from vertebloc.exchange.dicom_write import SeriesSettings, identifier, write_dicom_series
from vertebloc.space.grids import Grid, Volume

WHO = Identity("Müller, Änne", "1960-02-29", "77")
SETTINGS = SeriesSettings(
    seed_text="patient 1",
    made_at=datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC),
    description="thorax, made up",
    study_description="made up",
    contrast="made up",
    sex="F",
)


def made_volume(
    rng: np.random.Generator, orientation: str, axes: dict[str, tuple[np.ndarray, ...]]
) -> Volume:
    row, column, step = axes[orientation]
    matrix = np.eye(4)
    matrix[:3, :3] = np.column_stack((row * 0.5, column * 0.7, step))
    matrix[:3, 3] = (-31.25, -112.5, 871.125)
    values = rng.integers(-1024, 3072, (64, 48, 20)).astype(np.int16)
    return Volume(Grid.from_matrix((64, 48, 20), matrix), values)


@pytest.fixture
def volume(rng: np.random.Generator, orientation: str, orientations: Any) -> Volume:
    return made_volume(rng, orientation, orientations)


@pytest.fixture
def axial(rng: np.random.Generator, orientations: Any) -> Volume:
    return made_volume(rng, "axial", orientations)


@pytest.mark.system("dciodvfy")
@pytest.mark.parametrize("identity", [WHO, Identity()], ids=["named", "blank"])
def test_the_series_is_clean_under_dciodvfy(
    volume: Volume, identity: Identity, tmp_path: Path
) -> None:
    files = write_dicom_series(tmp_path / "ct", volume, identity, SETTINGS)
    for path in (files[0], files[-1]):
        found = subprocess.run(["dciodvfy", path], capture_output=True, text=True, check=False)
        said = found.stdout + found.stderr
        assert "CTImage" in said
        assert "Error" not in said
        lines = [line for line in said.splitlines() if line.startswith("Warning")]
        if identity.is_blank:  # an empty number cannot be listed in a DICOMDIR: as wanted
            lines = [line for line in lines if "Patient ID" not in line]
        assert lines == []


def test_simpleitk_reads_every_slice_where_it_was(volume: Volume, tmp_path: Path) -> None:
    files = write_dicom_series(tmp_path / "ct", volume, WHO, SETTINGS)
    assert [path.parent for path in files] == [tmp_path / "ct"] * 20
    for k in (0, 7, 19):
        single = sitk.ReadImage(str(files[k]))
        assert np.array_equal(sitk.GetArrayFromImage(single)[0].T, volume.values[:, :, k])
        for i, j in ((0.0, 0.0), (63.0, 47.0)):
            theirs = single.TransformContinuousIndexToPhysicalPoint((i, j, 0.0))
            place = volume.grid.lps_from_ijk.points([i, j, float(k)])[0]
            assert place == pytest.approx(theirs, abs=1e-4)


def test_what_was_written_comes_back(axial: Volume, tmp_path: Path) -> None:
    write_dicom_series(tmp_path / "ct", axial, WHO, SETTINGS)
    back = read_dicom_folder(tmp_path / "ct")
    assert np.array_equal(back.volume.values, axial.values)
    assert back.volume.grid.lps_from_ijk.matrix == pytest.approx(
        axial.grid.lps_from_ijk.matrix, abs=1e-9
    )
    assert back.identity == WHO
    assert (back.description, back.kvp, back.contrast) == ("thorax, made up", 120.0, "made up")
    assert (back.left_out, back.tolerated) == ((), ())


def test_pydicom_finds_the_header_that_was_asked_for(axial: Volume, tmp_path: Path) -> None:
    files = write_dicom_series(tmp_path / "ct", axial, WHO, SETTINGS)
    heads = [pydicom.dcmread(path) for path in files]
    first = heads[0]
    assert first.PatientName == "Müller^Änne"
    assert (first.StudyDate, first.ContentTime, first.TimezoneOffsetFromUTC) == (
        "20260102",
        "030405",
        "+0000",
    )
    assert first.PixelSpacing == [0.7, 0.5]  # rows apart first, then columns
    assert first.SliceThickness == 1.25
    assert len({head.SOPInstanceUID for head in heads}) == 20
    assert {head.SeriesInstanceUID for head in heads} == {identifier("patient 1", "series")}
    assert all(head.SOPInstanceUID.is_valid for head in heads)


def test_same_input_same_bytes_and_another_seed_other_identifiers(
    axial: Volume, tmp_path: Path
) -> None:
    once = write_dicom_series(tmp_path / "a", axial, WHO, SETTINGS)
    again = write_dicom_series(tmp_path / "b", axial, WHO, SETTINGS)
    assert [p.read_bytes() for p in once] == [p.read_bytes() for p in again]
    assert identifier("one", "series") != identifier("two", "series")
    assert identifier("one", "series") != identifier("one", "study")


def test_a_failure_half_way_leaves_nothing(
    axial: Volume, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = dicom_write._slice

    def fails_late(common: Any, volume: Volume, k: int, *rest: Any) -> Any:
        if k == 9:
            raise RuntimeError("power cut")
        assert not (tmp_path / "ct").exists()
        return made(common, volume, k, *rest)

    monkeypatch.setattr(dicom_write, "_slice", fails_late)
    with pytest.raises(RuntimeError, match="power cut"):
        write_dicom_series(tmp_path / "ct", axial, WHO, SETTINGS)
    assert list(tmp_path.iterdir()) == []


def test_what_cannot_be_written_is_refused(axial: Volume, tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "x").touch()
    with pytest.raises(InputError, match="is there already"):
        write_dicom_series(tmp_path / "full", axial, WHO, SETTINGS)
    with pytest.raises(InputError, match="whole Hounsfield units, got float32"):
        halves = Volume(axial.grid, axial.values.astype(np.float32))
        write_dicom_series(tmp_path / "a", halves, WHO, SETTINGS)
    with pytest.raises(InputError, match="-32768 to 32767"):
        wide = Volume(axial.grid, axial.values.astype(np.int32) + 40_000)
        write_dicom_series(tmp_path / "a", wide, WHO, SETTINGS)
    skewed = np.array(axial.grid.lps_from_ijk.matrix)
    skewed[1, 0] = 0.1
    with pytest.raises(InputError, match="perpendicular"):
        odd = Volume(Grid.from_matrix(axial.grid.shape, skewed), axial.values)
        write_dicom_series(tmp_path / "a", odd, WHO, SETTINGS)
    with pytest.raises(InputError, match="zone offset"):
        naive = replace(SETTINGS, made_at=SETTINGS.made_at.replace(tzinfo=None))
        write_dicom_series(tmp_path / "a", axial, WHO, naive)
    assert not (tmp_path / "a").exists()
