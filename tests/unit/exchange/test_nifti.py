"""NIfTI in and out, beside SimpleITK's and nibabel's own readers."""

from __future__ import annotations

import gzip
import json
from pathlib import Path
from typing import Any

import nibabel
import numpy as np
import pytest
import SimpleITK as sitk  # noqa: N813

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.exchange.nifti import read_nifti_labels, read_nifti_volume, write_nifti
from vertebloc.space.grids import Grid, Volume

LPS_FROM_RAS = np.diag((-1.0, -1.0, 1.0, 1.0))
PLAIN = np.array([[-0.7, 0, 0, 90], [0, 0.8, 0, -110], [0, 0, 2.5, -340], [0, 0, 0, 1.0]])


@pytest.fixture
def volume(rng: np.random.Generator, orientation: str, orientations: Any) -> Volume:
    row, column, step = orientations[orientation]
    matrix = np.eye(4)
    matrix[:3, :3] = np.column_stack((row * 0.5, column * 0.7, step))
    matrix[:3, 3] = (-31.25, -112.5, 871.125)
    values = rng.integers(-1024, 3072, (9, 8, 7)).astype(np.int16)
    return Volume(Grid.from_matrix((9, 8, 7), matrix), values)


def save(
    path: Path,
    values: np.ndarray,
    *,
    sform: np.ndarray | None = PLAIN,
    qform: np.ndarray | None = None,
    scale: tuple[float, float] | None = None,
    unit: str = "mm",
) -> Path:
    """Write with nibabel alone; forms in its RAS."""
    image = nibabel.Nifti1Image(values, None)
    image.set_sform(sform, code=0 if sform is None else 1)
    image.set_qform(qform, code=0 if qform is None else 1)
    image.header.set_xyzt_units(unit)
    if scale is not None:
        image.header.set_slope_inter(*scale)
    nibabel.save(image, path)
    return path


def refusal(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        read_nifti_volume(path)
    assert "\n" not in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize("name", ["ct.nii", "ct.nii.gz"])
def test_written_volumes_agree_with_nibabel_and_come_back(
    volume: Volume, name: str, tmp_path: Path
) -> None:
    write_nifti(tmp_path / name, volume)
    theirs = nibabel.load(tmp_path / name)
    # 32-bit header numbers up to 900 mm: half a last place is 3e-5 mm
    assert theirs.affine == pytest.approx(LPS_FROM_RAS @ volume.grid.lps_from_ijk.matrix, abs=4e-5)
    assert np.array_equal(np.asarray(theirs.dataobj), volume.values)
    back = read_nifti_volume(tmp_path / name)
    assert np.array_equal(back.values, volume.values)
    assert back.values.dtype == np.int16
    assert back.grid.lps_from_ijk.matrix == pytest.approx(
        volume.grid.lps_from_ijk.matrix, abs=4e-5
    )


def test_written_volumes_agree_with_simpleitk(volume: Volume, tmp_path: Path) -> None:
    if volume.grid.is_sheared:  # SimpleITK refuses sheared images: nibabel is the witness
        with pytest.raises(RuntimeError):
            write_nifti(tmp_path / "ct.nii", volume)
            sitk.ReadImage(str(tmp_path / "ct.nii"))
        return
    write_nifti(tmp_path / "ct.nii", volume)
    theirs = sitk.ReadImage(str(tmp_path / "ct.nii"))
    assert np.array_equal(sitk.GetArrayFromImage(theirs).transpose(2, 1, 0), volume.values)
    for index in ((0.0, 0.0, 0.0), (8.0, 7.0, 6.0), (8.0, 0.0, 3.0)):
        place = theirs.TransformContinuousIndexToPhysicalPoint(index)
        assert volume.grid.lps_from_ijk.points(index)[0] == pytest.approx(place, abs=1e-4)


def test_a_file_of_simpleitk_lies_where_simpleitk_says(tmp_path: Path) -> None:
    image = sitk.GetImageFromArray(np.arange(4 * 5 * 6, dtype=np.int16).reshape(4, 5, 6))
    image.SetSpacing((0.6, 0.8, 2.5))
    image.SetOrigin((-10, 20, -300))
    image.SetDirection((-1, 0, 0, 0, 0.6, -0.8, 0, 0.8, 0.6))  # left-handed and oblique
    sitk.WriteImage(image, str(tmp_path / "a.nii.gz"))
    ours = read_nifti_volume(tmp_path / "a.nii.gz")
    for index in ((0.0, 0.0, 0.0), (5.0, 4.0, 3.0), (5.0, 0.0, 1.0)):
        place = image.TransformContinuousIndexToPhysicalPoint(index)
        assert ours.grid.lps_from_ijk.points(index)[0] == pytest.approx(place, abs=1e-4)
        voxel = tuple(int(n) for n in index)
        assert ours.values[voxel] == image.GetPixel(voxel)
    assert np.linalg.det(ours.grid.lps_from_ijk.matrix[:3, :3]) < 0


@pytest.mark.parametrize("dtype", ["bool", "uint8", "int16", "uint16", "int32", "float32"])
def test_every_written_type_comes_back_exactly(
    dtype: str, rng: np.random.Generator, tmp_path: Path
) -> None:
    values = rng.integers(0, 2, (5, 4, 3)).astype(dtype)
    write_nifti(tmp_path / "a.nii.gz", Volume(Grid.from_matrix((5, 4, 3), PLAIN), values))
    back = read_nifti_volume(tmp_path / "a.nii.gz").values
    assert back.dtype == ("uint8" if dtype == "bool" else dtype)
    assert np.array_equal(back, values)


def test_same_volume_same_bytes_without_name_or_time(tmp_path: Path) -> None:
    volume = Volume(
        Grid.from_matrix((2, 3, 4), PLAIN), np.arange(24).reshape(2, 3, 4).astype("i2")
    )
    write_nifti(tmp_path / "a.nii.gz", volume)
    write_nifti(tmp_path / "other name.nii.gz", volume)
    data = (tmp_path / "a.nii.gz").read_bytes()
    assert data == (tmp_path / "other name.nii.gz").read_bytes()
    assert data[3:8] == bytes(5)  # RFC 1952: no name flag, time 0
    write_nifti(tmp_path / "a.nii", volume)
    assert gzip.decompress(data) == (tmp_path / "a.nii").read_bytes()
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "a.nii",
        "a.nii.gz",
        "other name.nii.gz",
    ]


@pytest.mark.parametrize(
    ("scale", "dtype"),
    [((1.0, -1024.0), "int16"), ((2.0, 0.0), "int16"), ((0.5, 0.25), "float32"),
     ((30.0, 0.0), "float32")],
)  # fmt: skip
def test_scaling_is_applied_as_nibabel_does(
    scale: tuple[float, float], dtype: str, rng: np.random.Generator, tmp_path: Path
) -> None:
    stored = rng.integers(0, 4096, (6, 5, 4)).astype(np.int16)
    save(tmp_path / "a.nii", stored)
    header = bytearray((tmp_path / "a.nii").read_bytes())
    header[112:120] = np.array(scale, "<f4").tobytes()  # scl_slope and scl_inter
    (tmp_path / "a.nii").write_bytes(bytes(header))
    ours = read_nifti_volume(tmp_path / "a.nii").values
    assert ours.dtype == dtype
    assert np.array_equal(ours, np.asarray(nibabel.load(tmp_path / "a.nii").dataobj))


def test_qform_alone_and_agreeing_pairs_are_read(tmp_path: Path) -> None:
    values = np.zeros((3, 4, 5), np.int16)
    for name, sform, qform in (("q", None, PLAIN), ("both", PLAIN, PLAIN), ("s", PLAIN, None)):
        path = save(tmp_path / f"{name}.nii", values, sform=sform, qform=qform)
        matrix = read_nifti_volume(path).grid.lps_from_ijk.matrix
        assert matrix == pytest.approx(LPS_FROM_RAS @ PLAIN, abs=1e-4)


def test_forms_that_disagree_are_refused_with_the_distance(tmp_path: Path) -> None:
    moved = PLAIN.copy()
    moved[0, 3] += 3.0
    path = save(tmp_path / "a.nii", np.zeros((3, 4, 5), np.int16), sform=PLAIN, qform=moved)
    assert "differ by up to 3.00 mm" in refusal(path)
    mirrored = PLAIN @ np.diag((-1.0, 1, 1, 1))
    path = save(tmp_path / "b.nii", np.zeros((3, 4, 5), np.int16), sform=PLAIN, qform=mirrored)
    assert "says twice where it lies" in refusal(path)


def test_a_file_that_says_not_where_it_lies_is_refused(tmp_path: Path) -> None:
    path = save(tmp_path / "a.nii", np.zeros((3, 4, 5), np.int16), sform=None)
    assert "left and right cannot be known" in refusal(path)


@pytest.mark.parametrize(
    ("values", "options", "words"),
    [
        (np.zeros((3, 4, 5, 2), np.int16), {}, "4 dimensions (3, 4, 5, 2)"),
        (np.zeros((3, 4), np.int16), {}, "dimensions (3, 4)"),
        (np.zeros((3, 4, 5), np.complex64), {}, "complex64"),
        (np.full((3, 4, 5), np.nan, np.float32), {}, "not finite"),
        (np.zeros((3, 4, 5), np.int16), {"unit": "meter"}, "in meter"),
        (np.zeros((3, 4, 5), np.int16), {"sform": PLAIN @ np.diag((1e-3, 1e-3, 1e-3, 1))},
         "another unit"),
    ],
)  # fmt: skip
def test_what_is_no_volume_is_refused(
    values: np.ndarray, options: dict[str, Any], words: str, tmp_path: Path
) -> None:
    assert words in refusal(save(tmp_path / "a.nii", values, **options))


def test_one_volume_in_four_dimensions_is_one_volume(tmp_path: Path) -> None:
    values = np.arange(60, dtype=np.int16).reshape(3, 4, 5, 1)
    ours = read_nifti_volume(save(tmp_path / "a.nii", values))
    assert np.array_equal(ours.values, values[..., 0])


@pytest.mark.parametrize("name", ["a.nii", "a.nii.gz"])
@pytest.mark.parametrize("keep", [0, 200, 360, -20])
def test_files_cut_short_are_refused(name: str, keep: int, tmp_path: Path, rng: Any) -> None:
    path = save(tmp_path / name, rng.integers(0, 9999, (9, 8, 7)).astype(np.int16))
    path.write_bytes(path.read_bytes()[:keep] if keep else b"")
    assert "cannot be read as NIfTI" in refusal(path)


def test_missing_and_foreign_files_are_refused(tmp_path: Path) -> None:
    assert "is not there" in refusal(tmp_path / "none.nii")
    (tmp_path / "text.nii").write_text("hello" * 200)
    assert "cannot be read as NIfTI" in refusal(tmp_path / "text.nii")


def test_what_cannot_be_written_is_refused(tmp_path: Path) -> None:
    grid = Grid.from_matrix((2, 2, 2), PLAIN)
    with pytest.raises(InputError, match="float64 cannot be written: bool, uint8"):
        write_nifti(tmp_path / "a.nii", Volume(grid, np.zeros((2, 2, 2))))
    with pytest.raises(InputError, match=r"ends in \.nii or \.nii\.gz"):
        write_nifti(tmp_path / "a.img", Volume(grid, np.zeros((2, 2, 2), np.int16)))
    assert list(tmp_path.iterdir()) == []


def _names(path: Path, values: tuple[int, ...]) -> Path:
    entries = [{"value": v, "structure": "vertebra", "level": f"T{v}"} for v in values]
    path.write_text(json.dumps({"labels": entries}))
    return path


@pytest.mark.parametrize("dtype", ["uint8", "int64", "float32", "float64"])
def test_labels_come_with_names_and_notes(dtype: str, tmp_path: Path) -> None:
    values = np.zeros((4, 5, 6), dtype)
    values[1, 2, 3], values[0, 0, 0] = 8, 3
    image = nibabel.Nifti1Image(values, PLAIN, dtype=values.dtype)
    nibabel.save(image, tmp_path / "l.nii.gz")
    labels, notes = read_nifti_labels(tmp_path / "l.nii.gz", _names(tmp_path / "n", (8, 9)))
    assert labels.volume.values.dtype == np.uint8
    assert np.argwhere(labels.volume.values == 8).tolist() == [[1, 2, 3]]
    assert labels.names[8] == (Contour(Structure.VERTEBRA, Level("T8")),)
    assert notes == (
        "labels without a name, not used: 3",
        "named labels that no voxel carries: 9",
    )


@pytest.mark.parametrize(("high", "dtype"), [(255, "uint8"), (256, "uint16"), (70000, "int32")])
def test_labels_take_the_smallest_type(high: int, dtype: str, tmp_path: Path) -> None:
    values = np.zeros((2, 2, 2), np.int32)
    values[1, 1, 1] = high
    save(tmp_path / "l.nii", values)
    labels, _ = read_nifti_labels(tmp_path / "l.nii", _names(tmp_path / "n", (8,)))
    assert labels.volume.values.dtype == dtype
    assert labels.volume.values[1, 1, 1] == high


@pytest.mark.parametrize(
    ("value", "words"), [(0.5, "not whole numbers"), (-1.0, "labels from -1"), (4e9, "to 4e")]
)
def test_what_is_no_label_map_is_refused(value: float, words: str, tmp_path: Path) -> None:
    values = np.zeros((2, 2, 2), np.float32)
    values[0, 1, 0] = value
    save(tmp_path / "l.nii", values)
    with pytest.raises(InputError, match=words):
        read_nifti_labels(tmp_path / "l.nii", _names(tmp_path / "n", (8,)))


def test_the_real_ct_lies_where_nibabel_says(thorax_ct_folder: Path) -> None:
    ours = read_nifti_volume(thorax_ct_folder / "ct.nii.gz")
    theirs = nibabel.load(thorax_ct_folder / "ct.nii.gz")
    assert np.allclose(ours.grid.lps_from_ijk.matrix, LPS_FROM_RAS @ theirs.affine)
    assert np.array_equal(ours.values, np.asarray(theirs.dataobj))
    labels, notes = read_nifti_labels(
        thorax_ct_folder / "labels.nii.gz", thorax_ct_folder / "labels.json"
    )
    assert labels.volume.grid.shape == ours.grid.shape
    levels = {c.level for named in labels.names.values() for c in named if c.level}
    assert {Level(f"T{n}") for n in range(1, 13)} <= levels
    assert any("kidney" in note for note in notes)
