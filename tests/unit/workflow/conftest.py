"""A small CT without outlines: enough for everything that is not planning."""

import numpy as np
import pytest

from vertebloc.exchange.dicom_write import SeriesSettings, write_dicom_series
from vertebloc.exchange.nifti import write_nifti
from vertebloc.space.grids import Grid, Volume
from vertebloc.workflow.demo import SCANNED_AT


def small_ct(*, start_mm=0.0):
    """16 x 16 x 4 voxels of 1 mm of air."""
    matrix = np.eye(4)
    matrix[2, 3] = start_mm
    grid = Grid.from_matrix((16, 16, 4), matrix)
    return Volume(grid, np.zeros(grid.shape, dtype=np.int16))


@pytest.fixture
def nifti(tmp_path):
    """The small CT as NIfTI, which names nobody."""
    path = tmp_path / "ct.nii"
    write_nifti(path, small_ct())
    return path


@pytest.fixture
def write_dicom(tmp_path):
    """Write the small CT as a DICOM folder of a person; same seed, same frame of reference."""

    def write(identity, *, seed="one", start_mm=0.0):
        folder = tmp_path / f"dicom {seed} {identity.number} {start_mm:g}"
        settings = SeriesSettings(seed_text=seed, made_at=SCANNED_AT, description="made up")
        write_dicom_series(folder, small_ct(start_mm=start_mm), identity, settings)
        return folder

    return write
