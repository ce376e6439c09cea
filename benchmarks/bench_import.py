"""Import of a plain uncompressed CT series: this package beside SimpleITK's GDCM reader.

Run: ``python benchmarks/bench_import.py [slices] [rounds]``. The made series (512 x 512,
headers of some 80 elements with sequences, page cache warm) lies in a temporary folder.
Both sides list the folder, sort by position and read all pixels into one array. SimpleITK
runs in its ordinary way and again with two Python threads that read half the files each.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pydicom
import SimpleITK as sitk  # noqa: N813
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.uid import CTImageStorage, ExplicitVRLittleEndian, generate_uid

from vertebloc.exchange.dicom_read import ImportedSeries, read_dicom_folder

WANTED_RATIO = 0.7


def scanner_header() -> Dataset:
    """A header as long as a scanner's, every value made up."""
    ds = Dataset()
    uid = {key: generate_uid(entropy_srcs=["bench", key]) for key in ("study", "series", "frame")}
    plain = {
        "SpecificCharacterSet": "ISO_IR 100", "ImageType": ["ORIGINAL", "PRIMARY", "AXIAL"],
        "InstanceCreationDate": "20260101", "SOPClassUID": CTImageStorage,
        "StudyDate": "20260101", "SeriesDate": "20260101", "AcquisitionDate": "20260101",
        "ContentDate": "20260101", "StudyTime": "120000.000", "SeriesTime": "120000.000",
        "AcquisitionTime": "120000.000", "ContentTime": "120000.000", "AccessionNumber": "A1",
        "Modality": "CT", "Manufacturer": "made up", "InstitutionName": "made up",
        "ReferringPhysicianName": "", "StationName": "CT1", "StudyDescription": "thorax",
        "SeriesDescription": "thorax 0.8 mm", "ManufacturerModelName": "made up",
        "PatientName": "MADE^UP", "PatientID": "B1", "PatientBirthDate": "19600101",
        "PatientSex": "O", "PatientAge": "065Y", "PatientWeight": "70",
        "BodyPartExamined": "CHEST",
        "ContrastBolusAgent": "made up", "ScanOptions": "HELICAL", "SliceThickness": "1.0",
        "KVP": "120", "DataCollectionDiameter": "500", "SoftwareVersions": "1",
        "ProtocolName": "thorax", "ContrastBolusRoute": "IV", "ReconstructionDiameter": "384",
        "DistanceSourceToDetector": "1085.6", "DistanceSourceToPatient": "595",
        "GantryDetectorTilt": "0", "TableHeight": "150", "RotationDirection": "CW",
        "ExposureTime": "500", "XRayTubeCurrent": "200", "Exposure": "100", "FilterType": "BODY",
        "GeneratorPower": "24", "FocalSpots": "0.7", "ConvolutionKernel": "B30",
        "PatientPosition": "HFS", "SingleCollimationWidth": 0.6, "TotalCollimationWidth": 38.4,
        "TableSpeed": 46.0, "TableFeedPerRotation": 23.0, "SpiralPitchFactor": 0.6,
        "CTDIvol": 6.5, "StudyInstanceUID": uid["study"], "SeriesInstanceUID": uid["series"],
        "StudyID": "1", "SeriesNumber": 2, "AcquisitionNumber": 1,
        "ImageOrientationPatient": [1, 0, 0, 0, 1, 0], "FrameOfReferenceUID": uid["frame"],
        "PositionReferenceIndicator": "SN", "SamplesPerPixel": 1,
        "PhotometricInterpretation": "MONOCHROME2", "Rows": 512, "Columns": 512,
        "PixelSpacing": [0.75, 0.75], "BitsAllocated": 16, "BitsStored": 12, "HighBit": 11,
        "PixelRepresentation": 0, "WindowCenter": [40, -600], "WindowWidth": [400, 1200],
        "RescaleIntercept": -1024, "RescaleSlope": 1, "RescaleType": "HU",
        "WindowCenterWidthExplanation": ["SOFT", "LUNG"],
        "RequestedProcedureDescription": "thorax",
    }  # fmt: skip
    for keyword, value in plain.items():
        setattr(ds, keyword, value)
    item = Dataset()
    item.ReferencedSOPClassUID = CTImageStorage
    item.ReferencedSOPInstanceUID = generate_uid(entropy_srcs=["bench", "reference"])
    ds.ReferencedImageSequence = [item]
    ds["ReferencedImageSequence"].is_undefined_length = True
    item.is_undefined_length_sequence_item = True
    block = ds.private_block(0x0029, "MADE UP HEADER", create=True)
    block.add_new(0x10, "OB", bytes(4096))
    return ds


def make_series(folder: Path, slices: int) -> np.ndarray:
    """Write the series, file names and instance numbers out of order; return its HU."""
    rng = np.random.default_rng(7)
    plane = rng.integers(0, 4096, (512, 512), dtype=np.uint16)
    ds = scanner_header()
    planes = []
    for k in range(slices):
        stored = np.roll(plane, 97 * k)
        planes.append(stored.astype(np.int16) - 1024)
        meta = FileMetaDataset()
        meta.TransferSyntaxUID = ExplicitVRLittleEndian
        meta.MediaStorageSOPClassUID = CTImageStorage
        ds.SOPInstanceUID = generate_uid(entropy_srcs=["bench", str(k)])
        meta.MediaStorageSOPInstanceUID = ds.SOPInstanceUID
        ds.file_meta = meta
        ds.InstanceNumber = slices - k
        ds.ImagePositionPatient = [-191.625, -191.625, round(-159.6 + 0.8 * k, 3)]
        ds.SliceLocation = round(-159.6 + 0.8 * k, 3)
        ds.PixelData = stored.tobytes()
        ds["PixelData"].VR = "OW"
        ds.save_as(folder / f"im{k * 37 % slices:04d}.dcm", enforce_file_format=True)
    return np.stack(planes)


def _rival_files(folder: Path) -> tuple[str, ...]:
    return tuple(sitk.ImageSeriesReader.GetGDCMSeriesFileNames(str(folder)))


def read_rival(folder: Path) -> sitk.Image:
    """SimpleITK's series reader as its documentation shows it."""
    reader = sitk.ImageSeriesReader()
    reader.SetFileNames(_rival_files(folder))
    return reader.Execute()


def read_rival_threads(folder: Path) -> list[sitk.Image]:
    """SimpleITK with half the files in each of two threads (left in two pieces)."""

    def read(names: tuple[str, ...]) -> sitk.Image:
        reader = sitk.ImageSeriesReader()
        reader.SetFileNames(names)
        return reader.Execute()

    names = _rival_files(folder)
    half = len(names) // 2
    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(read, (names[:half], names[half:])))


def check_same(ours: ImportedSeries, rival: sitk.Image, truth: np.ndarray) -> None:
    """Same values and the same affine, or no figure is printed."""
    values = np.asarray(ours.volume.values).transpose(2, 1, 0)
    if not (
        np.array_equal(values, truth) and np.array_equal(values, sitk.GetArrayFromImage(rival))
    ):
        raise SystemExit("the values differ")
    direction = np.array(rival.GetDirection()).reshape(3, 3) * np.array(rival.GetSpacing())
    theirs = np.column_stack((direction, rival.GetOrigin()))
    worst = float(np.abs(ours.volume.grid.lps_from_ijk.matrix[:3] - theirs).max())
    if worst > 1e-4:
        raise SystemExit(f"the affine differs by {worst:g} mm")
    print(f"same {values.size} values; affine agrees within {worst:.1e} mm")


def measure(slices: int, rounds: int) -> float:
    """Print the medians; return ours over SimpleITK's ordinary use."""
    with tempfile.TemporaryDirectory() as text:
        folder = Path(text)
        truth = make_series(folder, slices)
        elements = len(pydicom.dcmread(next(folder.iterdir())))
        print(f"{slices} slices of 512 x 512, {elements} elements a file, {os.cpu_count()} cores")
        check_same(read_dicom_folder(folder), read_rival(folder), truth)
        runs: dict[str, Callable[[Path], object]] = {
            "vertebloc": read_dicom_folder,
            "SimpleITK": read_rival,
            "SimpleITK, 2 threads": read_rival_threads,
        }
        seconds: dict[str, list[float]] = {name: [] for name in runs}
        for _ in range(rounds):
            for name, run in runs.items():
                start = time.perf_counter()
                run(folder)
                seconds[name].append(time.perf_counter() - start)
    medians = {name: statistics.median(times) for name, times in seconds.items()}
    for name, median in medians.items():
        print(
            f"{name:22s} median {median * 1000:6.0f} ms, "
            f"{min(seconds[name]) * 1000:.0f} to {max(seconds[name]) * 1000:.0f} ms"
        )
    for name in list(medians)[1:]:
        ratio = medians["vertebloc"] / medians[name]
        print(f"ratio to {name}: {ratio:.2f} (wanted: at most {WANTED_RATIO})")
    return medians["vertebloc"] / min(medians[name] for name in list(medians)[1:])


def main() -> int:
    """Measure; fail above the wanted ratio."""
    slices = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 7
    return 0 if measure(slices, rounds) <= WANTED_RATIO else 1


if __name__ == "__main__":
    raise SystemExit(main())
