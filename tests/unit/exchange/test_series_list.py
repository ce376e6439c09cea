"""Mixed folders listed, multi-frame CT and MR, names in every script, real scanners' oddities."""

from __future__ import annotations

import io
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pydicom
import pytest
from PIL import Image
from pydicom.data import get_charset_files, get_testdata_file
from pydicom.dataset import Dataset
from pydicom.uid import EnhancedMRImageStorage, MRImageStorage, generate_uid

from vertebloc.errors import InputError
from vertebloc.exchange.contour_files import read_contours
from vertebloc.exchange.dicom_fast import read_plain_file
from vertebloc.exchange.dicom_general import read_any_file
from vertebloc.exchange.dicom_header import read_header
from vertebloc.exchange.dicom_read import read_dicom_folder
from vertebloc.exchange.series_list import list_series
from vertebloc.space.grids import Grid
from vertebloc.workflow import ImportSettings, import_case
from vertebloc.workflow.list_series import list_series as listed_with_pictures

from .conftest import save
from .damage import compress, enhanced


@pytest.mark.parametrize("syntax", ["plain", "rle", "jpeg2000", "jpegls", "deflated"])
def test_multi_frame_ct_reads_as_its_single_images(
    syntax: str, make_series: Any, orientation: str
) -> None:
    """Outside: the single images, made and written with pydicom alone."""
    made = make_series(count=5, orientation=orientation)
    single = read_dicom_folder(made.folder)
    images = [pydicom.dcmread(path) for path in sorted(made.folder.iterdir())]
    whole = enhanced(images[::-1])
    if syntax == "deflated":
        compress(whole, syntax, make_series.root)
    elif syntax != "plain":
        from .damage import _PLUGIN, SYNTAXES

        whole.compress(
            SYNTAXES[syntax], encoding_plugin=_PLUGIN[syntax], generate_instance_uid=False
        )
    folder = make_series.root / "whole"
    folder.mkdir()
    save(whole, folder / "all.dcm")
    read = read_dicom_folder(folder)
    assert np.array_equal(read.volume.values, single.volume.values)
    assert read.volume.grid.lps_from_ijk.matrix == pytest.approx(
        single.volume.grid.lps_from_ijk.matrix, abs=1e-9
    )
    assert read.files == 1 and read.identity == single.identity


def test_rescale_and_orientation_of_a_frame_come_before_the_shared_ones(make_series: Any) -> None:
    """By hand: one frame carries its own rescale; the other takes the shared one."""
    made = make_series(count=3)
    whole = enhanced([pydicom.dcmread(path) for path in sorted(made.folder.iterdir())])
    own = Dataset()
    own.RescaleSlope, own.RescaleIntercept, own.RescaleType = "2", "-1000", "HU"
    whole.PerFrameFunctionalGroupsSequence[1].PixelValueTransformationSequence = [own]
    folder = make_series.root / "whole"
    folder.mkdir()
    save(whole, folder / "all.dcm")
    stored = whole.pixel_array.astype(int)
    read = read_dicom_folder(folder).volume
    places = [
        float(f.PlanePositionSequence[0].ImagePositionPatient[2])
        for f in whole.PerFrameFunctionalGroupsSequence
    ]
    order = np.argsort(places)
    expected = stored - 1024
    expected[1] = stored[1] * 2 - 1000
    assert np.array_equal(read.values, expected[order].transpose(2, 1, 0))


def as_mr(ds: Dataset, _k: int) -> None:
    ds.SOPClassUID, ds.Modality = MRImageStorage, "MR"
    ds.SeriesInstanceUID = generate_uid(entropy_srcs=["mr"])
    ds.SeriesDescription, ds.SeriesDate, ds.SeriesNumber = "t2 sagittal", "20260103", "4"
    del ds.RescaleSlope, ds.RescaleIntercept


def test_mr_is_read_without_rescale_and_never_taken_for_ct(make_series: Any) -> None:
    made = make_series(name="mr", edit=as_mr, count=4)
    read = read_dicom_folder(made.folder, kind="MR")
    assert np.array_equal(np.sort(read.volume.values, axis=None), np.sort(made.stored, axis=None))
    with pytest.raises(InputError, match="holds no CT series"):
        read_dicom_folder(made.folder)
    images = [pydicom.dcmread(path) for path in sorted(made.folder.iterdir())]
    for image in images:
        image.RescaleSlope = image.RescaleIntercept = "0"  # enhanced() takes them away again
    whole = enhanced(images)
    whole.SOPClassUID = EnhancedMRImageStorage
    del whole.SharedFunctionalGroupsSequence[0].PixelValueTransformationSequence
    folder = make_series.root / "whole"
    folder.mkdir()
    save(whole, folder / "all.dcm")
    again = read_dicom_folder(folder, kind="MR")
    assert np.array_equal(again.volume.values, read.volume.values)


@pytest.fixture
def mixed(make_series: Any) -> Path:
    """A CT, a shorter CT, an MR, a localiser and a text file in one folder."""

    def short(ds: Dataset, _k: int) -> None:
        ds.SeriesInstanceUID = generate_uid(entropy_srcs=["short"])
        ds.SeriesDescription, ds.SeriesDate, ds.SeriesNumber = "soft", "20260102", "3"

    def first(ds: Dataset, k: int) -> None:
        ds.SeriesDate, ds.SeriesNumber = "20260102", "2"
        if k == 5:  # a localiser in the same series
            ds.ImageType = ["ORIGINAL", "PRIMARY", "LOCALIZER"]

    root = make_series.root
    (root / "all").mkdir()
    for name, edit, count in (("a", first, 6), ("b", short, 4), ("c", as_mr, 3)):
        shutil.move(make_series(name=name, edit=edit, count=count).folder, root / "all" / name)
    (root / "all" / "readme.txt").write_text("hello")
    return root / "all"


def test_a_mixed_folder_is_listed_and_one_is_chosen_by_its_number(
    mixed: Path, tmp_path: Path
) -> None:
    series, notes = list_series(mixed)
    assert [(s.number, s.kind, s.images, s.date, s.description) for s in series] == [
        (1, "CT", 5, "2026-01-02", "thorax"),
        (2, "CT", 1, "2026-01-02", "thorax"),
        (3, "CT", 4, "2026-01-02", "soft"),
        (4, "MR", 3, "2026-01-03", "t2 sagittal"),
    ]
    assert series[0].size == "64 x 48" and series[0].step == "1.25 mm apart"
    assert not series[0].why_not and "localiser" in series[1].why_not
    assert "not planned on" in series[3].why_not
    assert any("readme.txt: not a DICOM file" in note for note in notes)
    report = import_case(mixed, tmp_path / "case", settings=ImportSettings(series_uid="3"))
    assert "64 x 48 x 4 voxels" in report.lines[0]
    for wanted, words in (("9", "holds no series 9: 1 to 4"), ("4", "import the CT first")):
        with pytest.raises(InputError, match=words):
            import_case(mixed, tmp_path / "new", settings=ImportSettings(series_uid=wanted))
    with pytest.raises(InputError, match=r"2 CT series.*choose one by its number"):
        import_case(mixed, tmp_path / "new")


def test_each_series_has_a_small_picture_of_its_middle_image(mixed: Path) -> None:
    """By hand: the picture keeps the image's true shape, 64 x 0.6 mm by 48 x 0.8 mm."""
    report = listed_with_pictures(mixed, pictures=True)
    assert len(report.series) == 4 and all(line.picture for line in report.series)
    image = Image.open(io.BytesIO(report.series[0].picture)).convert("L")
    assert image.width / image.height == pytest.approx(64 * 0.6 / (48 * 0.8), abs=0.02)
    assert np.asarray(image).std() > 10.0
    assert [line.can_be_planned_on for line in report.series] == [True, False, True, False]


# as pydicom's files have them: the Russian one mixes Latin letters among the Cyrillic ones
NAMES = {
    "chrArab.dcm": "قباني, لنزار",
    "chrFrenMulti.dcm": "Buc, Jérôme",
    "chrGerm.dcm": "Äneas, Rüdiger",
    "chrGreek.dcm": "Διονυσιος",
    "chrH31.dcm": "Yamada, Tarou (山田, 太郎; やまだ, たろう)",
    "chrH32.dcm": "ﾔﾏﾀﾞ, ﾀﾛｳ (山田, 太郎; やまだ, たろう)",
    "chrHbrw.dcm": "שרון, דבורה",
    "chrI2.dcm": "Hong, Gildong (洪, 吉洞; 홍, 길동)",
    "chrJapMulti.dcm": "やまだ, たろう",
    "chrKoreanMulti.dcm": "김희중",
    "chrRuss.dcm": "Люкceмбypг",  # noqa: RUF001
    "chrX1.dcm": "Wang, XiaoDong (王, 小東)",
    "chrX2.dcm": "Wang, XiaoDong (王, 小东)",
}


@pytest.mark.parametrize("file", sorted(NAMES))
def test_names_in_every_script(file: str) -> None:
    """Outside: files that pydicom carries, with the names that DICOM part 5 prints for them."""
    (path,) = (Path(str(p)) for p in get_charset_files("*.dcm") if Path(str(p)).name == file)
    raw = read_plain_file(path, file) or read_any_file(path, file)
    assert raw is not None
    assert read_header(raw).identity.name == NAMES[file]


def test_a_real_structure_set_that_pydicom_carries() -> None:
    """Trap 7: no preamble, named in another planning department; against pydicom's reading."""
    path = Path(str(get_testdata_file("rtstruct.dcm")))
    ds = pydicom.dcmread(path, force=True)
    names = [item.ROIName for item in ds.StructureSetROISequence]
    p = np.concatenate(
        [
            np.array(c.ContourData, dtype=float).reshape(-1, 3)
            for item in ds.ROIContourSequence
            for c in item.get("ContourSequence", [])
        ]
    )
    matrix = np.diag([4.0, 4.0, 4.0, 1.0])
    matrix[:3, 3] = p.min(axis=0) - 8.0
    shape = np.ceil((p.max(axis=0) - p.min(axis=0)) / 4.0).astype(int) + 5
    on = Grid.from_matrix((int(shape[0]), int(shape[1]), int(shape[2])), matrix)
    read, notes = read_contours(path, None, on)
    found = {c for named in read.names.values() for c in named}
    assert len(found) == len(names) and any("check them" in note for note in notes)


def test_a_real_segmentation_that_pydicom_carries(tmp_path: Path) -> None:
    """Trap 7: a liver of 512 x 512 outlined on one slice; against pydicom's reading."""
    seg = pydicom.dcmread(str(get_testdata_file("liver_1frame.dcm")))
    del seg.PerFrameFunctionalGroupsSequence[1:]  # the file holds one frame but describes three
    seg.NumberOfFrames = 1
    seg.save_as(tmp_path / "liver.dcm")
    groups = [seg.PerFrameFunctionalGroupsSequence[0], seg.SharedFunctionalGroupsSequence[0]]

    def first(sequence: str) -> Dataset:
        return next(g[sequence].value[0] for g in groups if sequence in g)

    along = np.array(first("PlaneOrientationSequence").ImageOrientationPatient, dtype=float)
    place = np.array(first("PlanePositionSequence").ImagePositionPatient, dtype=float)
    spacing = [float(v) for v in first("PixelMeasuresSequence").PixelSpacing]
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1] = along[:3] * spacing[1], along[3:] * spacing[0]
    matrix[:3, 2], matrix[:3, 3] = np.cross(along[:3], along[3:]), place
    on = Grid.from_matrix((seg.Columns, seg.Rows, 1), matrix)
    read, _ = read_contours(tmp_path / "liver.dcm", None, on, str(seg.FrameOfReferenceUID))
    expected = seg.pixel_array.reshape(seg.Rows, seg.Columns) > 0
    assert expected.sum() > 100
    assert np.array_equal(np.asarray(read.volume.values)[:, :, 0].T > 0, expected)
