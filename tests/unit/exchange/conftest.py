"""Small DICOM series made with pydicom alone, so that the reader is not tested on our writer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.uid import CTImageStorage, ExplicitVRLittleEndian, generate_uid

COLUMNS, ROWS = 64, 48
BETWEEN_ROWS, BETWEEN_COLUMNS = 0.8, 0.6  # mm; not square
STEP_MM = 1.25


def _unit(vector: object) -> np.ndarray:
    array = np.asarray(vector, dtype=float)
    return array / np.linalg.norm(array)


def _turned(rotation_deg: tuple[float, float, float]) -> np.ndarray:
    matrix = np.eye(3)
    for axis, degrees in enumerate(rotation_deg):
        c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
        a, b = [(1, 2), (2, 0), (0, 1)][axis]
        turn = np.eye(3)
        turn[a, a], turn[a, b], turn[b, a], turn[b, b] = c, -s, s, c
        matrix = turn @ matrix
    return matrix


#: (row direction, column direction, step from slice to slice in the order they are made)
ORIENTATIONS: dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]] = {
    "axial": (np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), np.array([0, 0, STEP_MM])),
    "oblique": tuple(_turned((11, -17, 23)) @ np.diag((1, 1, STEP_MM))[:, a] for a in range(3)),
    # made against the normal: index order and normal form a left-handed set
    "left-handed": (np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), np.array([0, 0, -STEP_MM])),
    # a gantry tilted by 15 degrees: the table still moves along z, the planes lean
    "tilted": (
        np.array([1.0, 0, 0]),
        np.array([0, np.cos(np.radians(15)), -np.sin(np.radians(15))]),
        np.array([0, 0, STEP_MM]),
    ),
}


@dataclass
class Made:
    """A series on disk and what was put in, by the order it was made in."""

    folder: Path
    stored: np.ndarray  #: (n, rows, columns)
    positions: np.ndarray  #: (n, 3)


Edit = Callable[[Dataset, int], object]


@dataclass
class Maker:
    """Writes made-up series below one folder."""

    root: Path

    def image(self, k: int, stored: np.ndarray, position: np.ndarray, orientation: str) -> Dataset:
        """One plain CT image with everything a series needs."""
        ds = Dataset()
        ds.file_meta = FileMetaDataset()
        ds.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
        ds.SpecificCharacterSet = "ISO_IR 192"
        ds.ImageType = ["ORIGINAL", "PRIMARY", "AXIAL"]
        ds.SOPClassUID = CTImageStorage
        ds.SOPInstanceUID = generate_uid(entropy_srcs=["image", orientation, str(k)])
        ds.Modality = "CT"
        ds.SeriesDescription = "thorax"
        ds.PatientName, ds.PatientID, ds.PatientBirthDate = "MADE^UP", "M1", "19600229"
        ds.ContrastBolusAgent = "made up"
        ds.KVP = "120"
        ds.GantryDetectorTilt = "-30"  # wrong on purpose, like the next three: never to be used
        ds.SliceThickness, ds.SpacingBetweenSlices = "7", "9"
        ds.PatientPosition = "FFP"
        ds.StudyInstanceUID = generate_uid(entropy_srcs=["study"])
        ds.SeriesInstanceUID = generate_uid(entropy_srcs=["series"])
        ds.FrameOfReferenceUID = generate_uid(entropy_srcs=["frame"])
        ds.InstanceNumber = 100 - k
        row, column, _ = ORIENTATIONS[orientation]
        ds.ImagePositionPatient = [f"{value:.9g}" for value in position]
        ds.ImageOrientationPatient = [f"{value:.10f}" for value in (*row, *column)]
        ds.PixelSpacing = [BETWEEN_ROWS, BETWEEN_COLUMNS]
        ds.Rows, ds.Columns = stored.shape
        ds.SamplesPerPixel, ds.PhotometricInterpretation = 1, "MONOCHROME2"
        ds.BitsAllocated, ds.BitsStored, ds.HighBit = 16, 12, 11
        ds.PixelRepresentation = 0
        ds.RescaleSlope, ds.RescaleIntercept = "1", "-1024"
        ds.add_new("PixelData", "OW", stored.astype("<u2").tobytes())
        return ds

    def __call__(
        self,
        *,
        name: str = "ct",
        count: int = 6,
        orientation: str = "axial",
        edit: Edit | None = None,
        leave_out: tuple[int, ...] = (),
    ) -> Made:
        """Write a series; ``edit`` changes each image's data set before it is written."""
        folder = self.root / name
        folder.mkdir(exist_ok=True)
        rng = np.random.default_rng(len(name) + count)
        stored = rng.integers(0, 4096, (count, ROWS, COLUMNS), dtype=np.uint16)
        step = ORIENTATIONS[orientation][2]
        positions = np.round(
            np.array([-4.5, -3.25, 871.125]) + np.arange(count)[:, None] * step, 6
        )
        for k in range(count):
            ds = self.image(k, stored[k], positions[k], orientation)
            if edit is not None:
                edit(ds, k)
            if k not in leave_out:
                save(ds, folder / f"im{(k * 7 + 3) % 31:02d}.dcm")
        return Made(folder, stored, positions)


def save(ds: Dataset, path: Path) -> None:
    """Write a data set with a matching file meta group."""
    ds.file_meta.MediaStorageSOPClassUID = ds.SOPClassUID
    ds.file_meta.MediaStorageSOPInstanceUID = ds.SOPInstanceUID
    ds.save_as(path, enforce_file_format=True)


@pytest.fixture
def make_series(tmp_path: Path) -> Maker:
    """A maker of small DICOM series in this test's folder."""
    return Maker(tmp_path)


@pytest.fixture(params=sorted(ORIENTATIONS))
def orientation(request: pytest.FixtureRequest) -> str:
    """Each way a stack can lie: axial, oblique, left-handed order, tilted."""
    return str(request.param)


@pytest.fixture
def orientations() -> dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """The axes of each orientation."""
    return ORIENTATIONS
