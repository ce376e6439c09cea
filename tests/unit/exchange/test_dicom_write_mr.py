"""Written MR series: checked by Debian's dciodvfy, SimpleITK, and read back."""

from __future__ import annotations

import subprocess
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pydicom
import pytest
import SimpleITK as sitk  # noqa: N813
from pydicom.uid import MRImageStorage

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange.dicom_read import read_dicom_folder
from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
from vertebloc.space.grids import Grid, Volume

WHO = Identity("Müller, Änne", "1960-02-29", "77")
SETTINGS = SeriesSettings(
    seed_text="patient 1, MR",
    made_at=datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC),
    description="spine, made up",
    sex="F",
    kind="MR",
)


@pytest.fixture
def sagittal(rng: np.random.Generator) -> Volume:
    row, column, step = np.array([[0.0, 1, 0], [0, 0, -1], [-1, 0, 0]])
    matrix = np.eye(4)
    matrix[:3, :3] = np.column_stack((row * 0.8, column * 0.8, step * 4.0))
    matrix[:3, 3] = (31.25, -112.5, 871.125)
    return Volume(
        Grid.from_matrix((32, 40, 9), matrix), rng.integers(0, 900, (32, 40, 9)).astype(np.int16)
    )


@pytest.mark.system("dciodvfy")
def test_the_series_is_clean_under_dciodvfy(sagittal: Volume, tmp_path: Path) -> None:
    files = write_dicom_series(tmp_path / "mr", sagittal, WHO, SETTINGS)
    for path in (files[0], files[-1]):
        found = subprocess.run(["dciodvfy", path], capture_output=True, text=True, check=False)
        said = found.stdout + found.stderr
        assert "MRImage" in said
        assert "Error" not in said and "Warning" not in said, said


def test_an_mr_reads_back_where_it_was(sagittal: Volume, tmp_path: Path) -> None:
    """SimpleITK's own reader for the place of a slice; our reader for the whole."""
    files = write_dicom_series(tmp_path / "mr", sagittal, WHO, SETTINGS)
    assert [path.name for path in files[:2]] == ["mr_0001.dcm", "mr_0002.dcm"]
    single = sitk.ReadImage(str(files[3]))
    assert np.array_equal(sitk.GetArrayFromImage(single)[0].T, sagittal.values[:, :, 3])
    theirs = single.TransformContinuousIndexToPhysicalPoint((5.0, 7.0, 0.0))
    assert theirs == pytest.approx(
        tuple(sagittal.grid.lps_from_ijk.points([5.0, 7.0, 3.0])[0]), abs=1e-6
    )
    header = pydicom.dcmread(files[0])
    assert header.SOPClassUID == MRImageStorage and "RescaleSlope" not in header
    assert "KVP" not in header
    series = read_dicom_folder(tmp_path / "mr", kind="MR")
    assert series.identity == WHO
    p = sagittal.grid.lps_from_ijk.points([[1.0, 2.0, 3.0]])
    index = np.rint(series.volume.grid.lps_from_ijk.inverse.points(p))[0].astype(int)
    assert series.volume.values[tuple(index)] == sagittal.values[1, 2, 3]


def test_an_mr_is_not_taken_for_a_ct(sagittal: Volume, tmp_path: Path) -> None:
    write_dicom_series(tmp_path / "mr", sagittal, WHO, SETTINGS)
    with pytest.raises(InputError, match="CT"):
        read_dicom_folder(tmp_path / "mr")
