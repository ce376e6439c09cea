"""Outlines out and in again: segmentation, structure set, NIfTI and NRRD, against outside ones."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pydicom
import pytest
import SimpleITK
from pydicom.uid import RLELossless

from vertebloc.anatomy.contours import LabelMap
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange.contour_files import read_contours
from vertebloc.exchange.dicom_objects import ObjectSettings
from vertebloc.exchange.dicom_rtstruct_write import write_structure_set
from vertebloc.exchange.dicom_seg_write import write_segmentation
from vertebloc.exchange.masks import BoxedMask, boxed, join_masks, split_masks
from vertebloc.exchange.meanings import ForeignName, contour_of, contours_of
from vertebloc.exchange.names_file import NamesFile, write_names_file
from vertebloc.exchange.nifti import write_nifti
from vertebloc.exchange.nrrd import read_nrrd
from vertebloc.exchange.polygon_filling import fill_pixels, fill_polygons, outline_mask
from vertebloc.space.frames import Side
from vertebloc.space.grids import Grid

SHAPE = (13, 11, 7)  # 143 pixels a slice: bits run across frame borders
T10 = Contour(Structure.VERTEBRA, Level("T10"))
TUMOUR, SAC = Contour(Structure.TUMOUR), Contour(Structure.SAC)
RIB = Contour(Structure.RIB, Level("T10"), Side.LEFT)
ODD = Contour(Structure.OTHER, part="something of the ward")
EMPTY = Contour(Structure.TRACT)
SETTINGS = ObjectSettings(
    seed_text="test",
    made_at=datetime(2026, 1, 5, 9, 30, tzinfo=UTC),
    identity=Identity(name="MADE-UP, 山田", number="M1", birth_date="1970-01-01"),
    study_uid="1.2.3",
    study_id="S1",
    frame_of_reference_uid="1.2.3.4",
    author="MADE-UP^AUTHOR",
)


def grid(kind: str = "axial") -> Grid:
    """A small grid: plain, oblique, left-handed or tilted."""
    matrix = np.diag([0.8, 0.6, 1.25, 1.0])
    if kind == "oblique":
        axis = np.array([1.0, 2.0, 3.0]) / np.sqrt(14.0)
        k = np.cross(np.eye(3), axis)
        turn = np.eye(3) + np.sin(0.5) * k + (1 - np.cos(0.5)) * k @ k
        matrix[:3, :3] = turn @ matrix[:3, :3]
    elif kind == "left-handed":
        matrix[2, 2] = -1.25
    elif kind == "tilted":
        matrix[1, 2] = 0.4
    matrix[:3, 3] = [-12.3, 40.25, 871.125]
    return Grid.from_matrix(SHAPE, matrix)


def outlines(on: Grid, rng: np.random.Generator) -> LabelMap:
    """Overlapping ones, one with holes and crumbs, one empty, one nobody knows."""
    base = np.zeros(SHAPE, dtype=bool)
    base[2:11, 2:9, 1:6] = True
    holed = base.copy()
    holed[4:6, 4:6, 2:4] = False
    holed[8, 5, 3] = False
    holed[5, 6, 3] = False  # a hole that meets the other at a corner
    tumour = np.zeros(SHAPE, dtype=bool)
    tumour[6:13, 5:11, 3:7] = True
    crumbs = rng.random(SHAPE) > 0.6
    sac = np.zeros(SHAPE, dtype=bool)
    sac[5, 5, :] = True
    return join_masks(
        on,
        [(T10, boxed(holed)), (TUMOUR, boxed(tumour)), (RIB, boxed(crumbs)), (EMPTY, None),
         (SAC, boxed(sac)), (ODD, boxed(base & tumour))],
    )  # fmt: skip


def as_masks(label_map: LabelMap) -> dict[Contour, np.ndarray]:
    found = {}
    for contour, mask in split_masks(label_map).items():
        whole = np.zeros(label_map.volume.grid.shape, dtype=bool)
        if mask is not None:
            box = tuple(
                slice(s, s + n) for s, n in zip(mask.start, mask.inside.shape, strict=True)
            )
            whole[box] = mask.inside
        found[contour] = whole
    return found


def assert_same(first: LabelMap, second: LabelMap) -> None:
    a, b = as_masks(first), as_masks(second)
    assert a.keys() == b.keys()
    for contour in a:
        assert np.array_equal(a[contour], b[contour]), contour.words


WRITERS = {"seg": write_segmentation, "rtstruct": write_structure_set}


@pytest.mark.parametrize("kind", ["axial", "oblique", "left-handed", "tilted"])
@pytest.mark.parametrize("form", WRITERS)
def test_what_is_written_is_read_back_identically(
    form: str, kind: str, rng: np.random.Generator, tmp_path: Path
) -> None:
    made = outlines(grid(kind), rng)
    path = tmp_path / "outlines.dcm"
    WRITERS[form](path, made, SETTINGS)
    read, notes = read_contours(path, None, made.volume.grid, "1.2.3.4")
    assert_same(made, read)
    assert any("without a voxel: biopsy tract" in note for note in notes)
    again = tmp_path / "again.dcm"
    WRITERS[form](again, made, SETTINGS)
    assert again.read_bytes() == path.read_bytes()


@pytest.mark.system("dciodvfy")
@pytest.mark.parametrize("form", WRITERS)
def test_a_conformance_checker_finds_no_error(
    form: str, rng: np.random.Generator, tmp_path: Path
) -> None:
    path = tmp_path / "outlines.dcm"
    WRITERS[form](path, outlines(grid("oblique"), rng), SETTINGS)
    done = subprocess.run(["dciodvfy", str(path)], capture_output=True, text=True, check=False)
    said = (done.stdout + done.stderr).splitlines()
    assert any("RTStructureSet" in line or "Segmentation" in line for line in said)
    assert [line for line in said if line.startswith("Error")] == []
    # what it does not know is our own code scheme, which the file names; DICOM allows that
    warned = [line for line in said if line.startswith("Warning")]
    assert [line for line in warned if "<99VERTEBLOC>" not in line] == []
    (scheme,) = pydicom.dcmread(path).CodingSchemeIdentificationSequence
    assert scheme.CodingSchemeDesignator == "99VERTEBLOC"


def test_segmentation_bits_are_what_pydicom_reads(
    rng: np.random.Generator, tmp_path: Path
) -> None:
    """Outside: pydicom's own decoding and the DICOM attributes, position by position."""
    made = outlines(grid(), rng)
    write_segmentation(tmp_path / "s.dcm", made, SETTINGS)
    ds = pydicom.dcmread(tmp_path / "s.dcm")
    masks = list(as_masks(made).values())
    frames = ds.pixel_array
    assert frames.shape == (ds.NumberOfFrames, SHAPE[1], SHAPE[0])
    seen = [np.zeros(SHAPE, dtype=bool) for _ in masks]
    for plane, item in zip(frames, ds.PerFrameFunctionalGroupsSequence, strict=True):
        z = float(item.PlanePositionSequence[0].ImagePositionPatient[2])
        k = round((z - 871.125) / 1.25)
        number = item.SegmentIdentificationSequence[0].ReferencedSegmentNumber
        seen[number - 1][:, :, k] = plane.T
    for mine, theirs in zip(masks, seen, strict=True):
        assert np.array_equal(mine, theirs)
    codes = [s.SegmentedPropertyTypeCodeSequence[0].CodeValue for s in ds.SegmentSequence]
    assert codes[:3] == ["7610001", "108369006", "113197003"]
    sides = ds.SegmentSequence[2].SegmentedPropertyTypeCodeSequence[0]
    assert sides.SegmentedPropertyTypeModifierCodeSequence[0].CodeMeaning == "Left"


def test_polygons_lie_within_half_the_last_decimal(
    rng: np.random.Generator, tmp_path: Path
) -> None:
    """Stated tolerance: 0.00005 mm along each axis; expectation: corners at half voxels."""
    on = grid("oblique")
    write_structure_set(tmp_path / "r.dcm", outlines(on, rng), SETTINGS)
    ds = pydicom.dcmread(tmp_path / "r.dcm")
    worst, count = 0.0, 0
    for item in ds.ROIContourSequence:
        for contour in item.get("ContourSequence", []):
            p = np.array(contour.ContourData, dtype=float).reshape(-1, 3)
            index = on.lps_from_ijk.inverse.points(p)
            nearest = np.rint(index * [2, 2, 1]) / [2, 2, 1]
            off = on.lps_from_ijk.points(nearest) - p
            worst, count = max(worst, float(np.abs(off).max())), count + len(p)
            assert np.all(np.abs(np.mod(nearest[:, :2], 1.0) - 0.5) < 1e-9)
    assert count > 100 and worst <= 0.5e-4 + 1e-9


def edited(path: Path, tmp_path: Path, edit: Any) -> Path:
    ds = pydicom.dcmread(path)
    edit(ds)
    target = tmp_path / "edited.dcm"
    ds.save_as(target)
    return target


def test_fractional_compressed_segmentation(rng: np.random.Generator, tmp_path: Path) -> None:
    """Outside: fractional values put in with pydicom; threshold is common practice, half."""
    on = grid()
    one = join_masks(on, [(TUMOUR, boxed(np.ones(SHAPE, dtype=bool)))])
    write_segmentation(tmp_path / "s.dcm", one, SETTINGS)
    values = rng.integers(0, 101, (SHAPE[2], SHAPE[1], SHAPE[0]), dtype=np.uint8)

    def edit(ds: Any) -> None:
        ds.SegmentationType, ds.SegmentationFractionalType = "FRACTIONAL", "PROBABILITY"
        ds.MaximumFractionalValue = 100
        ds.BitsAllocated = ds.BitsStored = 8
        ds.HighBit = 7
        ds.PixelData = values.tobytes()
        ds.compress(RLELossless, encoding_plugin="pydicom", generate_instance_uid=False)

    path = edited(tmp_path / "s.dcm", tmp_path, edit)
    read, notes = read_contours(path, None, on, "")
    assert np.array_equal(as_masks(read)[TUMOUR], values.transpose(2, 1, 0) >= 50)
    assert any("fractional" in note for note in notes)
    assert any("frame of reference" in note for note in notes)


def refusal(path: Path, on: Grid, frame: str = "1.2.3.4", names: Path | None = None) -> str:
    with pytest.raises(InputError) as caught:
        read_contours(path, names, on, frame)
    assert "\n" not in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize("form", WRITERS)
def test_another_frame_of_reference_is_refused(
    form: str, rng: np.random.Generator, tmp_path: Path
) -> None:
    made = outlines(grid(), rng)
    WRITERS[form](tmp_path / "o.dcm", made, SETTINGS)
    assert "another frame of reference (1.2.3.4)" in refusal(
        tmp_path / "o.dcm", made.volume.grid, "9.9"
    )
    assert "leave --names out" in refusal(
        tmp_path / "o.dcm", made.volume.grid, names=tmp_path / "n.json"
    )


def test_segmentation_of_part_of_the_ct_in_another_axis_order(
    rng: np.random.Generator, tmp_path: Path
) -> None:
    """A sagittal stack over a part of the CT: same voxels, other axes."""
    on = grid("oblique")
    inside = rng.random((9, 8, 5)) > 0.5
    # axes: rows along +j, columns along -k, slices along +i; starts at (2, 1, 6)
    order = np.array([[0, 0, 1], [1, 0, 0], [0, -1, 0]])
    matrix = np.array(on.lps_from_ijk.matrix)
    matrix[:3, 3] = on.lps_from_ijk.points([2.0, 1.0, 6.0])[0]
    matrix[:3, :3] = matrix[:3, :3] @ order
    part = Grid.from_matrix((8, 5, 9), matrix)
    values = inside.transpose(1, 2, 0)[:, ::-1]
    write_segmentation(tmp_path / "s.dcm", join_masks(part, [(SAC, boxed(values))]), SETTINGS)
    read, _ = read_contours(tmp_path / "s.dcm", None, on, "1.2.3.4")
    expected = np.zeros(SHAPE, dtype=bool)
    expected[2:11, 1:9, 2:7] = inside
    assert np.array_equal(as_masks(read)[SAC], expected)
    moved = np.array(on.lps_from_ijk.matrix)
    moved[:3, 3] += 0.3
    assert "its voxels are not the CT's" in refusal(
        tmp_path / "s.dcm", Grid.from_matrix(SHAPE, moved)
    )


def ring(points: Any, kind: str = "CLOSED_PLANAR") -> pydicom.Dataset:
    item = pydicom.Dataset()
    item.ContourGeometricType, item.NumberOfContourPoints = kind, len(points)
    item.ContourData = [f"{v:.6f}" for v in np.asarray(points, dtype=float).ravel()]
    return item


def structure_set(tmp_path: Path, rings: list[pydicom.Dataset], on: Grid) -> Path:
    one = join_masks(on, [(TUMOUR, boxed(np.ones(SHAPE, dtype=bool)))])
    write_structure_set(tmp_path / "r.dcm", one, SETTINGS)

    def edit(ds: Any) -> None:
        ds.ROIContourSequence[0].ContourSequence = rings

    return edited(tmp_path / "r.dcm", tmp_path, edit)


def circle(radius: float, n: int = 200) -> np.ndarray:
    angle = np.linspace(0.0, 2.0 * np.pi, n, endpoint=False)
    return radius * np.column_stack((np.cos(angle), np.sin(angle)))


BIG = Grid.from_matrix(
    (61, 61, 41), np.array([[1, 0, 0, -30], [0, 1, 0, -30], [0, 0, 1, -20], [0, 0, 0, 1.0]])
)


@pytest.mark.parametrize("keyhole", [True, False])
def test_holes_joined_or_apart(tmp_path: Path, keyhole: bool) -> None:
    """Closed form: a voxel is inside if its centre is between 9.3 and 20.3 mm off the axis."""
    outer, inner = circle(20.3), circle(9.3)[::-1]
    rings = []
    for z in range(-5, 6):
        if keyhole:
            lines = [np.concatenate((outer, outer[:1], inner, inner[:1]))]
        else:
            lines = [outer, inner]
        rings += [ring(np.column_stack((line, np.full(len(line), float(z))))) for line in lines]
    path = structure_set(tmp_path, rings, BIG)
    read, _ = read_contours(path, None, BIG, "1.2.3.4")
    p = BIG.centres()
    away = np.hypot(p[:, 0], p[:, 1])
    expected = (away < 20.3) & (away > 9.3) & (np.abs(p[:, 2]) < 5.4)
    sure = (np.abs(away - 20.3) > 0.02) & (np.abs(away - 9.3) > 0.02)
    found = as_masks(read)[TUMOUR].ravel()
    assert np.array_equal(found[sure], expected[sure]) and expected.sum() > 1000


def test_outlines_on_oblique_planes(tmp_path: Path) -> None:
    """Closed form: a cylinder of radius 12.3 mm whose axis leans; planes 2 mm apart."""
    axis = np.array([0.0, np.sin(0.5), np.cos(0.5)])
    u, v = np.array([1.0, 0.0, 0.0]), np.cross(axis, [1.0, 0.0, 0.0])
    flat = circle(12.3)
    rings = [
        ring(flat[:, :1] * u + flat[:, 1:] * v + (0.37 + 2.0 * n) * axis) for n in range(-3, 4)
    ]
    path = structure_set(tmp_path, rings, BIG)
    read, _ = read_contours(path, None, BIG, "1.2.3.4")
    p = BIG.centres()
    along = p @ axis - 0.37
    away = np.linalg.norm(p - np.outer(p @ axis, axis), axis=1)
    expected = (away < 12.3) & (np.abs(along) < 7.0)
    sure = (np.abs(away - 12.3) > 0.01) & (np.abs(np.abs(along) - 7.0) > 0.01)
    found = as_masks(read)[TUMOUR].ravel()
    assert np.array_equal(found[sure], expected[sure]) and expected.sum() > 3000


def test_points_open_lines_and_bent_outlines(tmp_path: Path) -> None:
    flat = np.column_stack((circle(9.3), np.zeros(200)))
    rings = [
        ring(flat),
        ring(flat[:1], "POINT"),
        ring(flat[:9] + np.array([0, 0, 4]), "OPEN_PLANAR"),
    ]
    read, notes = read_contours(structure_set(tmp_path, rings, BIG), None, BIG, "1.2.3.4")
    assert any("2 points, open lines" in note for note in notes)
    assert set(np.flatnonzero(as_masks(read)[TUMOUR].any(axis=(0, 1)))) == {20}
    bent = flat.copy()
    bent[7, 2] = 1.0
    assert "mm off one plane" in refusal(structure_set(tmp_path, [ring(bent)], BIG), BIG)


def test_flat_masks_come_back_from_their_outlines(rng: np.random.Generator) -> None:
    for density in (0.2, 0.5, 0.8):
        mask = rng.random((17, 14)) < density
        p = np.argwhere(np.ones_like(mask)).astype(float)
        found = np.zeros(len(p), dtype=bool)
        for line in outline_mask(mask):
            found ^= fill_polygons([line], p)
        assert np.array_equal(found.reshape(mask.shape), mask)
        assert np.array_equal(fill_pixels(outline_mask(mask), mask.shape), mask)


def test_filling_by_rows_is_filling_point_by_point(rng: np.random.Generator) -> None:
    """Crooked outlines that cross themselves and the picture's edge; the slow way checks."""
    p = np.argwhere(np.ones((23, 19), dtype=bool)).astype(float)
    for _ in range(20):
        rings = [rng.uniform(-6.0, 28.0, (9, 2)) for _ in range(3)]
        by_rows = fill_pixels(rings, (23, 19))
        assert np.array_equal(by_rows, fill_polygons(rings, p).reshape(23, 19))
        assert 20 < by_rows.sum() < 23 * 19 - 20


def test_filling_is_what_winding_angles_say(rng: np.random.Generator) -> None:
    """Outside the code: the angle that a plain outline turns about a point is 0 or 360 degrees."""
    angle = np.linspace(0.0, 2.0 * np.pi, 240, endpoint=False)
    line = (20.0 + 6.0 * np.sin(5.0 * angle))[:, None] * np.column_stack(
        (np.cos(angle), np.sin(angle))
    )
    p = rng.uniform(-30.0, 30.0, (3000, 2))
    to = line[None] - p[:, None]
    turn = np.arctan2(
        to[..., 0] * np.roll(to[..., 1], -1, 1) - to[..., 1] * np.roll(to[..., 0], -1, 1),
        (to * np.roll(to, -1, 1)).sum(axis=-1),
    ).sum(axis=1)
    found = fill_polygons([line], p)
    assert np.array_equal(found, np.abs(turn) > np.pi) and 500 < found.sum() < 2500
    # order, copies and chunks of points change nothing
    assert np.array_equal(fill_polygons([line], p[::-1])[::-1], found)
    assert not fill_polygons([line, line], p).any()


@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("kind", ["axial", "oblique", "left-handed"])
def test_nrrd_written_by_simpleitk(kind: str, packed: bool, tmp_path: Path) -> None:
    """Outside: SimpleITK writes left-posterior-superior NRRD, raw and gzip."""
    on = grid(kind)
    values = np.random.default_rng(3).integers(-1000, 2000, SHAPE).astype(np.int16)
    image = SimpleITK.GetImageFromArray(values.transpose(2, 1, 0))
    image.SetSpacing(on.spacing_mm.tolist())
    image.SetOrigin(on.lps_from_ijk.matrix[:3, 3].tolist())
    image.SetDirection((on.lps_from_ijk.matrix[:3, :3] / on.spacing_mm).ravel().tolist())
    SimpleITK.WriteImage(image, str(tmp_path / "v.nrrd"), useCompression=packed)
    read = read_nrrd(tmp_path / "v.nrrd")
    assert np.array_equal(read.values, values) and read.values.dtype == np.int16
    assert read.grid.lps_from_ijk.matrix == pytest.approx(on.lps_from_ijk.matrix, abs=1e-9)


HEADER = """NRRD0004
# made up
type: {type}
dimension: 3
space: {space}
sizes: 3 2 2
space directions: (1,0,0) (0,2,0) (0,0,3)
kinds: domain domain domain
endian: big
encoding: raw
space origin: (5,-7,11)

"""


@pytest.mark.parametrize(
    ("space", "signs"),
    [("right-anterior-superior", (-1, -1)), ("left-posterior-superior", (1, 1)), ("LAS", (1, -1))],
)
def test_nrrd_spaces(space: str, signs: tuple[int, int], tmp_path: Path) -> None:
    """By hand: RAS x and y change sign, LAS only y."""
    values = np.arange(12, dtype=">i2")
    path = tmp_path / "v.nrrd"
    path.write_bytes(HEADER.format(space=space, type="short").encode() + values.tobytes())
    read = read_nrrd(path)
    x, y = signs
    assert read.grid.lps_from_ijk.points([1.0, 1.0, 1.0])[0] == pytest.approx(
        [x * 6.0, y * -5.0, 14.0]
    )
    assert read.values[1, 0, 0] == 1 and read.values[0, 1, 0] == 3 and read.values[0, 0, 1] == 6


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("space: LPS", "space: 3D-right-handed", "left and right cannot be known"),
        ("dimension: 3", "dimension: 4", "one volume of three sizes"),
        ("sizes: 3 2 2", "sizes: 3 2 9999999999999", "it is damaged"),
        ("sizes: 3 2 2", "sizes: 3 2 3", "cut short"),
        ("encoding: raw", "encoding: bzip2", "raw and gzip"),
        ("encoding: raw", "encoding: gzip", "cannot be unpacked"),
        ("(0,2,0)", "(1,0,0.001)", "lie in one plane"),
        ("(0,2,0)", "(0,nan,0)", "finite"),
        ("endian: big", "x: y", "which end"),
        ("type: short", "type: block", "of type 'block'"),
        ("NRRD0004", "MRRD0004", "no NRRD file"),
        (
            "space origin: (5,-7,11)",
            "data file: ../x.raw\nspace origin: (5,-7,11)",
            "one file beside",
        ),
    ],
)
def test_nrrd_refused_in_one_line(old: str, new: str, words: str, tmp_path: Path) -> None:
    text = HEADER.format(space="LPS", type="short")
    assert old in text
    path = tmp_path / "v.nrrd"
    path.write_bytes(text.replace(old, new).encode() + bytes(24))
    with pytest.raises(InputError, match=words) as caught:
        read_nrrd(path)
    assert "\n" not in str(caught.value)


def test_label_maps_in_nrrd_and_nifti_are_the_same(
    rng: np.random.Generator, tmp_path: Path
) -> None:
    made = outlines(grid(), rng)
    names = tmp_path / "names.json"
    write_names_file(names, NamesFile(labels=dict(made.names)))
    write_nifti(tmp_path / "l.nii.gz", made.volume)
    image = SimpleITK.ReadImage(str(tmp_path / "l.nii.gz"))
    SimpleITK.WriteImage(image, str(tmp_path / "l.nrrd"))
    for file in ("l.nii.gz", "l.nrrd"):
        read, _ = read_contours(tmp_path / file, names, made.volume.grid)
        assert_same(made, read)
    assert "give both" in refusal(tmp_path / "l.nrrd", made.volume.grid)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        (ForeignName(label="left rib of T10"), RIB),
        (ForeignName(label="T10"), T10),
        (ForeignName(label="Vertebra_T10"), T10),
        (ForeignName(label="x", code="7610001"), T10),
        (ForeignName(label="Rib T10", side=Side.LEFT), RIB),
        (ForeignName(label="rib_left_T10"), RIB),
        (ForeignName(label="GTV"), TUMOUR),
        (ForeignName(label="SpinalCord"), Contour(Structure.CORD)),
        (
            ForeignName(label="the ward"),
            Contour(Structure.OTHER, part="the ward"),
        ),
        (ForeignName(label="腫瘍"), Contour(Structure.OTHER, part="腫瘍")),
        (ForeignName(label=""), Contour(Structure.OTHER, part="no name")),
    ],
)
def test_what_foreign_names_stand_for(name: ForeignName, expected: Contour) -> None:
    assert contour_of(name) == expected


def test_what_was_taken_from_foreign_names_is_said() -> None:
    """A guess is never silent: a wrong one can be seen where the outlines come in."""
    found, notes = contours_of(
        {
            1: ForeignName(label="GTV_1"),
            2: ForeignName(label="tumour"),
            3: ForeignName(label="PTV high"),
        }
    )
    assert found[1] == found[2] == TUMOUR and found[3].structure is Structure.OTHER
    assert notes == (
        "taken by their names or codes, check them: 'GTV_1' for tumour",
        "not known here, kept under their own names: 'PTV high'",
    )
    assert contours_of({1: ForeignName(label="tumour")})[1] == ()


def test_two_outlines_of_one_meaning_are_kept_apart(tmp_path: Path) -> None:
    on = grid()
    a, b = np.zeros(SHAPE, dtype=bool), np.zeros(SHAPE, dtype=bool)
    a[:5], b[4:] = True, True
    second = replace(TUMOUR, part="2")
    write_segmentation(
        tmp_path / "s.dcm", join_masks(on, [(TUMOUR, boxed(a)), (SAC, boxed(b))]), SETTINGS
    )

    def edit(ds: Any) -> None:
        ds.SegmentSequence[1].SegmentLabel = ds.SegmentSequence[1].SegmentDescription = "tumour"

    read, notes = read_contours(edited(tmp_path / "s.dcm", tmp_path, edit), None, on, "1.2.3.4")
    masks = as_masks(read)
    assert np.array_equal(masks[TUMOUR], a) and np.array_equal(masks[second], b)
    assert any("kept apart" in note for note in notes)


def test_masks_that_overlap_in_every_way() -> None:
    """By hand: three masks over one line of voxels make all seven combinations."""
    on = Grid.from_matrix((8, 1, 1), np.eye(4))
    numbers = np.arange(8).reshape(8, 1, 1)
    masks: list[tuple[Contour, BoxedMask | None]] = [
        (c, boxed((numbers >> n & 1).astype(bool))) for n, c in enumerate((T10, TUMOUR, SAC))
    ]
    joined = join_masks(on, masks)
    for n, contour in enumerate((T10, TUMOUR, SAC)):
        assert as_masks(joined)[contour].ravel().tolist() == [bool(v >> n & 1) for v in range(8)]
