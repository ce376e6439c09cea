"""Reading CT series, beside SimpleITK's GDCM reader, an independent program."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pydicom
import pytest
import SimpleITK as sitk  # noqa: N813
from pydicom.data import get_testdata_file
from pydicom.dataset import Dataset
from pydicom.uid import (
    DeflatedExplicitVRLittleEndian,
    ExplicitVRBigEndian,
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
    JPEG2000Lossless,
    JPEGLosslessSV1,
    JPEGLSLossless,
    RLELossless,
)

from vertebloc.exchange import dicom_general
from vertebloc.exchange.dicom_fast import read_plain_file
from vertebloc.exchange.dicom_general import read_any_file
from vertebloc.exchange.dicom_header import name_as_written, read_header
from vertebloc.exchange.dicom_read import ImportedSeries, read_dicom_folder

PACKAGED = Path(str(get_testdata_file("CT_small.dcm"))).parent


def rival(folder: Path, *, sheared: bool = False) -> tuple[np.ndarray, np.ndarray]:
    """SimpleITK's affine (4, 4) in LPS and its values [i, j, k]."""
    reader = sitk.ImageSeriesReader()
    reader.SetFileNames(reader.GetGDCMSeriesFileNames(str(folder)))
    reader.SetForceOrthogonalDirection(not sheared)
    image = reader.Execute()
    matrix = np.eye(4)
    matrix[:3, :3] = np.array(image.GetDirection()).reshape(3, 3) * np.array(image.GetSpacing())
    matrix[:3, 3] = image.GetOrigin()
    return matrix, sitk.GetArrayFromImage(image).transpose(2, 1, 0)


def assert_agrees(ours: ImportedSeries, theirs: tuple[np.ndarray, np.ndarray]) -> None:
    # 1e-4 mm: what is promised; positions are written to 1e-6 mm
    assert np.abs(ours.volume.grid.lps_from_ijk.matrix - theirs[0]).max() <= 1e-4
    assert ours.volume.values.shape == theirs[1].shape
    assert np.array_equal(ours.volume.values, theirs[1])


def is_plain(folder: Path) -> list[bool]:
    return [read_plain_file(path, path.name) is not None for path in sorted(folder.iterdir())]


def test_every_orientation_agrees_with_simpleitk(make_series: Any, orientation: str) -> None:
    made = make_series(orientation=orientation)
    ours = read_dicom_folder(made.folder)
    assert all(is_plain(made.folder))
    assert_agrees(ours, rival(made.folder, sheared=orientation == "tilted"))
    assert ours.volume.values.dtype == np.int16
    assert ours.files == 6
    assert ours.left_out == ()


def test_every_slice_lies_where_simpleitk_places_its_own_file(
    make_series: Any, orientation: str
) -> None:
    made = make_series(orientation=orientation)
    ours = read_dicom_folder(made.folder)
    for path in made.folder.iterdir():
        single = sitk.ReadImage(str(path))
        plane = sitk.GetArrayFromImage(single)[0].T
        (k,) = [k for k in range(6) if np.array_equal(ours.volume.values[:, :, k], plane)]
        far = (63.0, 47.0)
        for i, j in ((0.0, 0.0), far, (63.0, 0.0)):
            place = ours.volume.grid.lps_from_ijk.points([i, j, float(k)])[0]
            theirs = single.TransformContinuousIndexToPhysicalPoint((i, j, 0.0))
            assert place == pytest.approx(theirs, abs=1e-4)


def test_a_tilted_stack_is_sheared_and_said(make_series: Any) -> None:
    ours = read_dicom_folder(make_series(orientation="tilted").folder)
    assert ours.volume.grid.is_sheared
    assert any("15.0 degrees" in note for note in ours.tolerated)
    # the table's step, closed form: 1.25 mm along z for each slice, no other movement
    assert ours.volume.grid.lps_from_ijk.axis(2) == pytest.approx((0, 0, 1.25), abs=1e-6)


def test_a_straight_stack_is_not_called_tilted(make_series: Any) -> None:
    ours = read_dicom_folder(make_series(orientation="oblique").folder)
    assert not ours.volume.grid.is_sheared
    assert ours.tolerated == ()


def test_pixels_that_are_not_square_and_tags_that_lie(make_series: Any) -> None:
    ours = read_dicom_folder(make_series().folder)
    # the maker's numbers: columns 0.6, rows 0.8 apart, slices 1.25 (thickness says 7, spacing 9)
    assert ours.volume.grid.spacing_mm == pytest.approx((0.6, 0.8, 1.25), abs=1e-9)
    assert ours.patient_position == "FFP"


def test_the_packaged_ct_series_agrees_with_simpleitk() -> None:
    folder = PACKAGED / "dicomdirtests" / "98892001" / "CT5N"
    ours = read_dicom_folder(folder)
    assert_agrees(ours, rival(folder))
    assert ours.files == 5
    assert ours.identity.name == "Doe, Peter"
    assert any("down to" in note and "padding" in note for note in ours.tolerated) == (
        ours.volume.values.min() < -1024
    )


def test_the_packaged_localisers_are_left_out_by_name(tmp_path: Path) -> None:
    person = PACKAGED / "dicomdirtests" / "98892001"
    shutil.copytree(person / "CT2N", tmp_path / "CT2N")
    shutil.copytree(person / "CT5N", tmp_path / "CT5N")
    (tmp_path / "CT5N" / "note.txt").write_text("not an image")
    (tmp_path / "empty.dcm").write_bytes(b"")
    ours = read_dicom_folder(tmp_path)
    assert ours.left_out == (
        "CT5N/note.txt: not a DICOM file",
        "empty.dcm: not a DICOM file",
        "CT2N/6293: a localiser (overview image)",
        "CT2N/6924: a localiser (overview image)",
    )
    assert_agrees(ours, rival(person / "CT5N"))


def _pixels(ds: Dataset, stored: np.ndarray) -> None:
    ds.PixelData = stored.tobytes()


def _signed(ds: Dataset, k: int) -> None:
    """GE's way: signed, all 16 bits, -2000 around the circle."""
    values = ds.pixel_array.astype(np.int16) - 1000
    values[:3] = -2000
    ds.PixelRepresentation, ds.BitsStored, ds.HighBit = 1, 16, 15
    ds.RescaleIntercept = "0" if k < 0 else "-24"
    _pixels(ds, values)


def _no_intercept(ds: Dataset, _k: int) -> None:
    values = ds.pixel_array.astype(np.int16) - 1024
    values[-2:] = -2048
    ds.PixelRepresentation, ds.RescaleIntercept = 1, "0"
    _pixels(ds, values)


def _own_rescale(ds: Dataset, k: int) -> None:
    ds.RescaleSlope, ds.RescaleIntercept = str(k + 1), str(-1000 - k)


def _broken_slope(ds: Dataset, _k: int) -> None:
    ds.RescaleSlope, ds.RescaleIntercept = "1.25", "-1000.5"


def _beyond_int16(ds: Dataset, k: int) -> None:
    ds.RescaleSlope = "20" if k == 3 else "1"


def _all_unsigned(ds: Dataset, _k: int) -> None:
    ds.BitsStored, ds.HighBit = 16, 15
    _pixels(ds, ds.pixel_array + np.uint16(30000))
    ds.RescaleIntercept = "-31024"


def _far_intercept(ds: Dataset, _k: int) -> None:
    ds.BitsStored, ds.HighBit = 16, 15
    _pixels(ds, ds.pixel_array + np.uint16(39000))
    ds.RescaleIntercept = "-40000"


def _numbered_from_zero(ds: Dataset, _k: int) -> None:
    ds.InstanceNumber = 0


@pytest.mark.parametrize(
    ("edit", "dtype", "note"),
    [
        (_signed, "int16", "values down to -2024 HU"),
        (_no_intercept, "int16", "values down to -2048 HU"),
        (_own_rescale, "int16", "each image has its own rescale"),
        (_broken_slope, "float32", ""),
        (_beyond_int16, "float32", "each image has its own rescale"),
        (_all_unsigned, "int16", ""),
        (_far_intercept, "int16", ""),
        (_numbered_from_zero, "int16", ""),
    ],
)
def test_values_agree_with_simpleitk_however_they_are_stored(
    make_series: Any, edit: Any, dtype: str, note: str
) -> None:
    made = make_series(edit=edit)
    ours = read_dicom_folder(made.folder)
    assert ours.volume.values.dtype == dtype
    # SimpleITK's series reader takes the first image's rescale for all: compare file by file
    paths = sorted(
        made.folder.iterdir(), key=lambda p: float(pydicom.dcmread(p).ImagePositionPatient[2])
    )
    theirs = np.stack([sitk.GetArrayFromImage(sitk.ReadImage(str(p)))[0].T for p in paths], axis=2)
    assert np.array_equal(ours.volume.values, theirs.astype(np.float32))
    assert note in " ".join(ours.tolerated)
    assert bool(note) == bool(ours.tolerated)


@pytest.mark.parametrize("syntax", [ExplicitVRLittleEndian, DeflatedExplicitVRLittleEndian])
def test_bits_beyond_those_stated_are_not_read_and_said(make_series: Any, syntax: Any) -> None:
    def overlay(ds: Dataset, _k: int) -> None:  # an old overlay in the unused bits
        ds.file_meta.TransferSyntaxUID = syntax
        _pixels(ds, ds.pixel_array | np.uint16(0x8000))

    made = make_series(edit=overlay)
    ours = read_dicom_folder(made.folder)
    # DICOM part 5, 8.1.1: unused bits mean nothing; the maker's 12 bits must come back
    assert np.array_equal(ours.volume.values, made.stored.transpose(2, 1, 0).astype(int) - 1024)
    assert "beyond the 12 bits stated" in ours.tolerated[0]


@pytest.mark.parametrize(
    "syntax",
    [ImplicitVRLittleEndian, ExplicitVRBigEndian, DeflatedExplicitVRLittleEndian],
    ids=lambda uid: uid.keyword,
)
def test_every_uncompressed_syntax_agrees_with_simpleitk(make_series: Any, syntax: Any) -> None:
    def encode(ds: Dataset, _k: int) -> None:
        if syntax == ExplicitVRBigEndian:
            _pixels(ds, ds.pixel_array.astype(">u2"))
        ds.file_meta.TransferSyntaxUID = syntax

    made = make_series(edit=encode)
    ours = read_dicom_folder(made.folder)
    assert_agrees(ours, rival(made.folder))
    assert np.array_equal(ours.volume.values, made.stored.transpose(2, 1, 0).astype(int) - 1024)
    assert is_plain(made.folder) == [syntax == ImplicitVRLittleEndian] * 6


@pytest.mark.parametrize(
    "syntax", [RLELossless, JPEG2000Lossless, JPEGLSLossless], ids=lambda uid: uid.keyword
)
def test_compressed_series_agree_with_simpleitk(make_series: Any, syntax: Any) -> None:
    def encode(ds: Dataset, _k: int) -> None:
        ds.compress(syntax, generate_instance_uid=False)

    made = make_series(edit=encode)
    ours = read_dicom_folder(made.folder)
    assert_agrees(ours, rival(made.folder))
    assert np.array_equal(ours.volume.values, made.stored.transpose(2, 1, 0).astype(int) - 1024)


def test_lossless_jpeg_written_by_simpleitk_is_read(make_series: Any, tmp_path: Path) -> None:
    def encode(ds: Dataset, _k: int) -> None:
        writer = sitk.ImageFileWriter()
        writer.SetFileName(str(tmp_path / "one.dcm"))
        writer.UseCompressionOn()
        writer.SetCompressor("JPEG")
        writer.Execute(sitk.GetImageFromArray(ds.pixel_array[None]))
        packed = pydicom.dcmread(tmp_path / "one.dcm")
        assert packed.file_meta.TransferSyntaxUID == JPEGLosslessSV1
        ds.file_meta.TransferSyntaxUID = JPEGLosslessSV1
        ds.add_new("PixelData", "OB", packed.PixelData)
        ds["PixelData"].is_undefined_length = True
        ds.BitsStored, ds.HighBit = 16, 15

    made = make_series(edit=encode)
    assert_agrees(read_dicom_folder(made.folder), rival(made.folder))


def test_a_missing_decoder_is_named_with_what_to_install(
    make_series: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = make_series(edit=lambda ds, _k: ds.compress(RLELossless, generate_instance_uid=False))

    class Absent:
        is_available = False

    monkeypatch.setattr(dicom_general, "get_decoder", lambda _uid: Absent())
    with pytest.raises(Exception, match=r"RLE Lossless.*vertebloc\[compressed\]") as caught:
        read_dicom_folder(made.folder)
    assert type(caught.value).__name__ == "MissingBackendError"


def _with_sequences(ds: Dataset, _k: int) -> None:
    """Sequences with and without lengths, with a decoy position inside; private data."""
    inner = Dataset()
    inner.ImagePositionPatient = ["1", "2", "3"]
    outer = Dataset()
    outer.ReferencedImageSequence = [inner, Dataset()]
    for undefined in (True, False):
        keyword = "SourceImageSequence" if undefined else "DerivationCodeSequence"
        setattr(ds, keyword, [outer])
        ds[keyword].is_undefined_length = undefined
    outer["ReferencedImageSequence"].is_undefined_length = True
    inner.is_undefined_length_sequence_item = outer.is_undefined_length_sequence_item = True
    ds.private_block(0x0029, "MADE UP", create=True).add_new(0x10, "OB", bytes(40_000))


@pytest.mark.parametrize("implicit", [False, True])
def test_both_readers_find_the_same_in_the_same_file(make_series: Any, implicit: bool) -> None:
    def edit(ds: Dataset, k: int) -> None:
        _with_sequences(ds, k)
        if implicit:
            ds.file_meta.TransferSyntaxUID = ImplicitVRLittleEndian
        ds.PatientName = "Ωmega^Åsa=大野^明"

    made = make_series(edit=edit)
    for path in made.folder.iterdir():
        plain, general = read_plain_file(path, "x"), read_any_file(path, "x")
        assert plain is not None and general is not None
        assert plain.pixel_offset is not None
        assert path.read_bytes()[plain.pixel_offset :] == pydicom.dcmread(path).PixelData
        assert dict(plain.values) == dict(general.values)
        assert read_header(plain).identity.name == "Ωmega, Åsa (大野, 明)"
    assert_agrees(read_dicom_folder(made.folder), rival(made.folder))


def test_a_long_header_is_read_wherever_the_first_piece_ends(make_series: Any) -> None:
    """The plain reader reads 16 KiB first: its end must not cut a value in two unnoticed."""
    path = min(make_series().folder.iterdir())
    whole = path.read_bytes()
    expected = read_plain_file(path, "x")
    assert expected is not None
    place = whole.index(b"\x10\x00\x10\x00PN")
    for size in range(16384 - len(whole[: whole.index(b"\xe0\x7f\x10\x00")]), 16384, 2):
        private = b"\x09\x00\x10\x10OB\0\0" + size.to_bytes(4, "little") + bytes(size)
        path.write_bytes(whole[:place] + private + whole[place:])
        found = read_plain_file(path, "x")
        assert found is not None
        assert dict(found.values) == dict(expected.values)
        assert found.pixel_offset == (expected.pixel_offset or 0) + len(private)


def test_elements_out_of_order_are_left_to_the_other_reader(make_series: Any) -> None:
    path = min(make_series().folder.iterdir())
    data = path.read_bytes()
    rows, columns = (data.index(b"\x28\x00" + number + b"\x00US") for number in (b"\x10", b"\x11"))
    assert columns - rows == 10
    swapped = data[columns : columns + 10] + data[rows : rows + 10]
    path.write_bytes(data[:rows] + swapped + data[columns + 10 :])
    assert read_plain_file(path, "x") is None


def test_the_plain_reader_leaves_every_packaged_oddity_to_the_other() -> None:
    """On all of pydicom's own files the two readers agree, or the plain one steps back."""
    seen = 0
    for path in sorted(PACKAGED.glob("*.dcm")):
        plain = read_plain_file(path, path.name)
        if plain is None:
            continue
        general = read_any_file(path, path.name)
        assert general is not None
        assert dict(plain.values) == dict(general.values), path.name
        assert plain.transfer_syntax == general.transfer_syntax
        seen += 1
    assert seen >= 5  # MR_small, CT_small and others are plain


def test_identity_and_technique_come_along(make_series: Any) -> None:
    ours = read_dicom_folder(make_series().folder)
    assert ours.identity.name == "MADE, UP"
    assert ours.identity.birth_date == "1960-02-29"
    assert ours.identity.number == "M1"
    assert (ours.kvp, ours.contrast, ours.description) == (120.0, "made up", "thorax")


@pytest.mark.parametrize(
    ("written", "people_write"),
    [
        ("DOE^JANE^M^Dr^PhD", "DOE, JANE M Dr PhD"),
        ("DOE", "DOE"),
        ("^JANE", "JANE"),
        ("", ""),
        ("Yamada^Tarou=山田^太郎=やまだ^たろう", "Yamada, Tarou (山田, 太郎; やまだ, たろう)"),
    ],
)
def test_names_read_as_people_write_them(written: str, people_write: str) -> None:
    assert name_as_written(written) == people_write


def test_letters_outside_the_character_set_are_shown_and_said(make_series: Any) -> None:
    def edit(ds: Dataset, _k: int) -> None:
        ds.SpecificCharacterSet = "ISO_IR 6"
        del ds.PatientName
        ds.add_new(0x00100010, "PN", b"M\xfcller^Anna")

    ours = read_dicom_folder(make_series(edit=edit).folder)
    assert ours.identity.name == "M�ller, Anna"
    assert "character set" in " ".join(ours.tolerated)


def test_images_found_in_folders_below_in_any_order(make_series: Any, tmp_path: Path) -> None:
    made = make_series()
    reference = rival(made.folder)
    for number, path in enumerate(sorted(made.folder.iterdir())):
        below = tmp_path / "deep" / str(number % 2) / "x"
        below.mkdir(parents=True, exist_ok=True)
        path.rename(below / path.name)
    assert_agrees(read_dicom_folder(tmp_path / "deep"), reference)


def test_files_without_preamble_are_read(make_series: Any) -> None:
    made = make_series(
        edit=lambda ds, _k: setattr(ds.file_meta, "TransferSyntaxUID", ImplicitVRLittleEndian)
    )
    reference = rival(made.folder)
    for path in made.folder.iterdir():
        ds = pydicom.dcmread(path)
        del ds.file_meta, ds.preamble
        pydicom.dcmwrite(path, ds, implicit_vr=True, little_endian=True)
        assert path.read_bytes()[:4] == b"\x08\x00\x05\x00"
    assert_agrees(read_dicom_folder(made.folder), reference)


def test_positions_rounded_to_a_tenth_are_read_and_said(make_series: Any) -> None:
    def edit(ds: Dataset, _k: int) -> None:  # 1.25 mm steps written to 0.1 mm: 0.05 mm off
        x, y, z = ds.ImagePositionPatient
        ds.ImagePositionPatient = [x, y, round(float(z) + 1e-9, 1)]

    ours = read_dicom_folder(make_series(count=9, edit=edit).folder)
    assert any("off an even row" in note for note in ours.tolerated)


def test_the_same_image_twice_is_dropped_and_said(make_series: Any) -> None:
    made = make_series()
    reference = rival(made.folder)
    first = min(made.folder.iterdir())
    shutil.copy(first, made.folder / "zz_copy.dcm")
    ours = read_dicom_folder(made.folder)
    assert_agrees(ours, reference)
    assert ours.left_out == (f"zz_copy.dcm: the same image as {first.name}",)
    assert ours.files == 6


def test_values_that_decide_nothing_are_left_empty_if_wrong(make_series: Any) -> None:
    made = make_series()
    for path in made.folder.iterdir():
        data = path.read_bytes().replace(b"19600229", b"29.FEB60")
        path.write_bytes(data.replace(b"DS\x04\x00120 ", b"DS\x04\x00high"))
    ours = read_dicom_folder(made.folder)
    assert (ours.identity.birth_date, ours.kvp) == ("", None)
    assert ours.tolerated == (
        "the birth date reads '29.FEB60', which is no day: left empty",
        "KVP is written as no number: left empty",
    )


def test_a_voltage_that_changes_is_not_stated(make_series: Any) -> None:
    made = make_series(edit=lambda ds, k: setattr(ds, "KVP", "100" if k == 2 else "120"))
    assert read_dicom_folder(made.folder).kvp is None


def test_lossy_images_are_read_and_said(make_series: Any) -> None:
    made = make_series(edit=lambda ds, _k: setattr(ds, "LossyImageCompression", "01"))
    assert "compressed with loss" in read_dicom_folder(made.folder).tolerated[0]


def test_values_not_said_to_be_hounsfield_are_read_and_said(make_series: Any) -> None:
    made = make_series(edit=lambda ds, _k: setattr(ds, "RescaleType", "US"))
    assert (
        "does not say that its values are Hounsfield"
        in read_dicom_folder(made.folder).tolerated[0]
    )
