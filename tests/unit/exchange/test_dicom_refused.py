"""What no CT series may be, each refused in one line that says what to do."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pydicom.data import get_testdata_file
from pydicom.dataset import Dataset
from pydicom.uid import (
    EnhancedCTImageStorage,
    RLELossless,
    SecondaryCaptureImageStorage,
    generate_uid,
)

from vertebloc.errors import InputError
from vertebloc.exchange import dicom_read
from vertebloc.exchange.dicom_read import read_dicom_folder

PACKAGED = Path(str(get_testdata_file("CT_small.dcm"))).parent


def refusal(folder: Path, **options: Any) -> str:
    with pytest.raises(InputError) as caught:
        read_dicom_folder(folder, **options)
    message = str(caught.value)
    assert "\n" not in message
    return message


def on(number: int, **values: Any) -> Any:
    """An edit of one image: set elements, or delete them (None)."""

    def edit(ds: Dataset, k: int) -> None:
        if k == number or number < 0:
            for keyword, value in values.items():
                if value is None:
                    delattr(ds, keyword)
                else:
                    setattr(ds, keyword, value)

    return edit


def _moved(ds: Dataset, k: int) -> None:
    if k >= 3:
        x, y, z = ds.ImagePositionPatient
        ds.ImagePositionPatient = [float(x) + 1.5, y, z]


def _wide_end(ds: Dataset, k: int) -> None:
    x, y, z = ds.ImagePositionPatient
    ds.ImagePositionPatient = [x, y, float(z) + max(0, k - 2) * 0.7]


def _wider(ds: Dataset, k: int) -> None:
    if k == 2:
        ds.Rows, ds.Columns = ds.Columns, ds.Rows


OBLIQUE = [1, 0, 0, 0, 0.8, 0.6]


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        (on(2, ImageOrientationPatient=OBLIQUE), ("mixes 2 values of orientation", "im17.dcm")),
        (on(-1, ImageOrientationPatient=[1, 0, 0, 0.5, 1, 0]), ("not two perpendicular",)),
        (on(2, PixelSpacing=[0.7, 0.6]), ("mixes 2 values of pixel spacing", "0.7 x 0.6 mm")),
        (_wider, ("mixes 2 values of image size", "48 x 64 in im17.dcm")),
        (on(2, FrameOfReferenceUID="1.2.3"), ("values of frame of reference", "1.2.3 in im17")),
        (on(2, StudyInstanceUID="1.2.3"), ("mixes 2 values of study",)),
        (on(2, PatientID="M2"), ("two people", "number M1", "number M2", "im17.dcm")),
        (on(2, PatientName="OTHER^ONE"), ("two people", "MADE, UP", "OTHER, ONE")),
        (on(2, PatientBirthDate="19610101"), ("two people", "1961-01-01")),
        (on(2, PatientID=""), ("identity of the patient", "number not given")),
        (on(2, ImagePositionPatient=None), ("im17.dcm has no Image Position",)),
        (on(2, ImageOrientationPatient=None), ("im17.dcm has no Image Orientation",)),
        (on(2, PixelSpacing=None), ("im17.dcm has no Pixel Spacing",)),
        (on(2, RescaleSlope=None), ("im17.dcm has no Rescale Slope",)),
        (on(2, RescaleIntercept=None), ("im17.dcm has no Rescale Intercept",)),
        (on(2, RescaleType="OD"), ("im17.dcm", "'OD'", "not Hounsfield")),
        (on(2, RescaleSlope="0"), ("Rescale Slope 0", "above 0")),
        (on(2, HighBit=15), ("12 bits up to bit 15",)),
        (on(2, PixelSpacing=["0", "0.6"]), ("Pixel Spacing (0.0, 0.6)",)),
        (_moved, ("one straight line", "mm aside")),
        (_wide_end, ("spacing is mixed", "1.25 to 1.95 mm")),
        (on(-1, RescaleSlope="1", ImageType=["ORIGINAL", "PRIMARY", "LOCALIZER"]),
         ("no CT series", "a localiser", "and 3 more")),
        (on(-1, SOPClassUID=SecondaryCaptureImageStorage),
         ("no CT series", "Secondary Capture Image Storage: not a CT image")),
        (on(-1, SOPClassUID=EnhancedCTImageStorage), ("says it holds 1 frames but describes 0",)),
        (on(2, NumberOfFrames="3"), ("holds 3 frames but is no multi-frame CT", "single images")),
        (on(-1, SamplesPerPixel=3, PhotometricInterpretation="RGB"),
         ("no CT series", "a colour picture")),
        (on(-1, ImageType=["DERIVED", "SECONDARY", "SCREEN SAVE"]),
         ("no CT series", "a stored screen")),
        (on(-1, ImagePositionPatient=None), ("no CT series", "no position in the patient")),
    ],
)  # fmt: skip
def test_refused_with_its_name(make_series: Any, edit: Any, words: tuple[str, ...]) -> None:
    message = refusal(make_series(edit=edit).folder)
    for word in words:
        assert word in message


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("1\\2", "Image Position (Patient) reads '1\\\\2', it must hold 3 finite numbers"),
        ("1\\2\\x", "must hold 3 finite numbers"),
        ("1\\2\\nan", "must hold 3 finite numbers"),
    ],
)
def test_numbers_that_are_none_are_refused(make_series: Any, value: str, words: str) -> None:
    made = make_series()
    path = made.folder / "im17.dcm"
    data = path.read_bytes()
    old = b"-4.5\\-3.25\\873.625"
    assert data.count(old) == 1
    path.write_bytes(data.replace(old, value.encode().ljust(len(old))))
    message = refusal(made.folder)
    assert message.startswith("im17.dcm: ")
    assert words in message


@pytest.mark.parametrize(
    ("lost", "between"),
    [((2,), "im10.dcm and im24.dcm lie 2.50 mm"), ((2, 3), "im10.dcm and im00.dcm lie 3.75 mm")],
)
def test_missing_slices_are_counted_and_placed(
    make_series: Any, lost: tuple[int, ...], between: str
) -> None:
    message = refusal(make_series(count=9, leave_out=lost).folder)
    assert f"{len(lost)} slice" in message
    assert "missing" in message
    assert between in message
    assert "elsewhere 1.25 mm" in message


def test_the_packaged_series_with_a_hole_is_refused() -> None:
    message = refusal(PACKAGED / "dicomdirtests" / "77654033" / "CT2")
    assert "missing: between 17106 and 17136 lie 202.50 mm" in message


def test_one_missing_slice_of_many_is_noticed(make_series: Any) -> None:
    """A lost thin slice next to the end, where an average would hide it."""
    assert "1 slice is missing" in refusal(make_series(count=30, leave_out=(28,)).folder)


def test_two_images_in_one_place_that_differ_are_refused(make_series: Any) -> None:
    def edit(ds: Dataset, k: int) -> None:
        if k == 5:
            ds.ImagePositionPatient = [-4.5, -3.25, 873.625]  # where slice 2 lies

    message = refusal(make_series(edit=edit).folder)
    assert "im07.dcm and im17.dcm lie at the same place but differ" in message


def test_two_images_in_one_place_with_another_rescale_are_refused(make_series: Any) -> None:
    made = make_series()
    data = (made.folder / "im17.dcm").read_bytes()
    assert data.count(b"-1024 ") == 1
    (made.folder / "zz.dcm").write_bytes(data.replace(b"-1024 ", b"-1000 "))
    assert "im17.dcm and zz.dcm lie at the same place but differ" in refusal(made.folder)


def test_one_slice_alone_is_refused(tmp_path: Path) -> None:
    shutil.copy(PACKAGED / "CT_small.dcm", tmp_path)
    assert "1 slice (CT_small.dcm): at least two are needed" in refusal(tmp_path)


def test_two_series_are_named_and_one_can_be_chosen(make_series: Any) -> None:
    second = generate_uid(entropy_srcs=["second"])
    thick = make_series(count=4)
    for path in list(thick.folder.iterdir()):
        path.rename(path.with_suffix(".thick"))
    thin = make_series(
        count=6, edit=on(-1, SeriesInstanceUID=second, SeriesDescription="lung kernel")
    )
    message = refusal(thin.folder)
    for word in ("2 CT series", "'thorax' with 4 images", "'lung kernel' with 6 images", second):
        assert word in message
    chosen = read_dicom_folder(thin.folder, series_uid=second)
    assert np.array_equal(chosen.volume.values, thin.stored.transpose(2, 1, 0).astype(int) - 1024)
    assert chosen.series_uid == second
    assert len(chosen.left_out) == 4
    assert all(": of another series, 'thorax'" in text for text in chosen.left_out)
    assert "holds no CT series 1.2.3" in refusal(thin.folder, series_uid="1.2.3")


def test_a_secondary_capture_of_somebody_else_is_noticed(make_series: Any) -> None:
    def edit(ds: Dataset, k: int) -> None:
        if k == 5:
            ds.SOPClassUID, ds.PatientID = SecondaryCaptureImageStorage, "X9"

    assert "two people" in refusal(make_series(edit=edit).folder)


@pytest.mark.parametrize("share", [0.99, 0.6])
def test_a_file_cut_short_is_named(make_series: Any, share: float) -> None:
    made = make_series()
    path = made.folder / "im17.dcm"
    data = path.read_bytes()
    begin = data.index(b"\xe0\x7f\x10\x00")
    path.write_bytes(data[: begin + 12 + int((len(data) - begin - 12) * share)])
    message = refusal(made.folder)
    assert message.startswith("im17.dcm: is cut short")
    assert "of 6144 bytes" in message


@pytest.mark.parametrize("keep", [131, 140, 300, 700, 900, 1050])
def test_a_file_cut_within_its_header_never_passes(make_series: Any, keep: int) -> None:
    made = make_series()
    path = made.folder / "im17.dcm"
    data = path.read_bytes()
    assert data.index(b"\xe0\x7f\x10\x00") > keep
    path.write_bytes(data[:keep])
    message = refusal(made.folder)
    assert "im17.dcm" in message or "missing" in message


def test_damaged_compressed_pixels_are_named(make_series: Any) -> None:
    made = make_series(edit=lambda ds, _k: ds.compress(RLELossless, generate_instance_uid=False))
    path = made.folder / "im17.dcm"
    path.write_bytes(path.read_bytes()[:-150])
    message = refusal(made.folder)
    assert message.startswith("im17.dcm: its pixels cannot be read")


def test_a_transfer_syntax_nobody_knows_is_named(make_series: Any) -> None:
    made = make_series()
    for path in made.folder.iterdir():
        old = b"1.2.840.10008.1.2.1\0"
        path.write_bytes(path.read_bytes().replace(old, b"1.2.840.10008.1.999\0"))
    assert "transfer syntax 1.2.840.10008.1.999" in refusal(made.folder)


def test_places_without_a_series_are_named(tmp_path: Path) -> None:
    assert "is not a folder" in refusal(tmp_path / "nowhere")
    assert "is empty" in refusal(tmp_path)
    (tmp_path / "a.txt").write_text("x")
    assert "holds no CT series" in refusal(tmp_path)
    shutil.copy(PACKAGED / "MR_small.dcm", tmp_path)
    assert "MR Image Storage: not a CT image" in refusal(tmp_path)


def test_the_packaged_directory_file_is_no_image(make_series: Any) -> None:
    made = make_series()
    shutil.copy(PACKAGED / "dicomdirtests" / "DICOMDIR", made.folder)
    (left,) = read_dicom_folder(made.folder).left_out
    assert left.startswith("DICOMDIR: ")


def test_files_that_cannot_be_opened_are_named(
    make_series: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = make_series()

    def denied(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(dicom_read, "read_plain_file", denied)
    assert refusal(made.folder) == "im00.dcm cannot be read: Permission denied"


def test_links_that_lead_nowhere_are_left_out_by_name(make_series: Any, tmp_path: Path) -> None:
    made = make_series()
    (made.folder / "gone.dcm").symlink_to(tmp_path / "nothing")
    assert read_dicom_folder(made.folder).left_out == (
        "gone.dcm: neither a file nor a folder of its own (a link?)",
    )
