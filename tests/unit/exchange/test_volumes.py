"""One door for a CT: a DICOM folder or a NIfTI file, nothing else."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from vertebloc.errors import InputError
from vertebloc.exchange.nifti import write_nifti
from vertebloc.exchange.volumes import read_volume
from vertebloc.space.grids import Volume


def test_a_folder_is_dicom_and_a_nifti_file_is_the_same_without_a_person(
    make_series: Any, tmp_path: Path
) -> None:
    made = make_series()
    dicom = read_volume(made.folder)
    assert dicom.identity.number == "M1"
    lowered = np.where(dicom.volume.values < 0, -2048, dicom.volume.values).astype(np.int16)
    write_nifti(tmp_path / "CT.NII.gz".lower(), Volume(dicom.volume.grid, lowered))
    nifti = read_volume(tmp_path / "ct.nii.gz")
    assert np.array_equal(nifti.volume.values, lowered)
    assert nifti.volume.grid.lps_from_ijk.matrix == pytest.approx(
        dicom.volume.grid.lps_from_ijk.matrix, abs=1e-4
    )
    assert nifti.identity.is_blank
    assert "does not say whom it is of" in nifti.tolerated[0]
    assert "down to -2048 HU" in nifti.tolerated[1]


def test_a_chosen_series_is_passed_on(make_series: Any) -> None:
    with pytest.raises(InputError, match=r"holds no CT series 1\.2\.3"):
        read_volume(make_series().folder, series_uid="1.2.3")


def test_anything_else_is_refused(make_series: Any, tmp_path: Path) -> None:
    with pytest.raises(
        InputError, match="is not there: give a DICOM folder, a NIfTI or an NRRD file"
    ):
        read_volume(tmp_path / "nowhere")
    one = min(make_series().folder.iterdir())
    with pytest.raises(InputError, match="for DICOM give the folder, not one file"):
        read_volume(one)
