"""What is planned, and the sheet, as DICOM objects: judged by dciodvfy, highdicom, pydicom."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import highdicom
import manifold3d
import numpy as np
import pydicom
import pytest

from vertebloc.case.identity import Identity
from vertebloc.errors import InputError
from vertebloc.exchange.dicom_objects import AboutObject, ObjectSettings
from vertebloc.exchange.dicom_pdf_write import write_pdf_object
from vertebloc.exchange.dicom_rtstruct_write import write_structures
from vertebloc.exchange.dicom_seg_write import write_segments
from vertebloc.reports import export_words as words
from vertebloc.resection.planned_regions import PlannedRegion
from vertebloc.space.frames import Frame
from vertebloc.space.grids import Grid
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.sections import surface_of_solid
from vertebloc.space.slices import slab_of_face
from vertebloc.space.transforms import rigid_frame
from vertebloc.workflow.export_planned import as_regions, mask_on_grid

SHAPE = (48, 44, 40)
SETTINGS = ObjectSettings(
    seed_text="planned",
    made_at=datetime(2026, 1, 5, 9, 30, tzinfo=UTC),
    identity=Identity(name="MADE-UP, PLANNED", number="M1", birth_date="1970-01-01"),
    study_uid="1.2.3",
    study_id="S1",
    frame_of_reference_uid="1.2.3.4",
)
DOCUMENT = {
    "code": "8TJA-MTC1",
    "level": "T10",
    "level_confirmation": {"confirmed": False},
}
ABOUT = AboutObject(
    label="PLANNED",
    description=words.object_description(DOCUMENT),
    series=words.object_series(DOCUMENT),
    algorithm="vertebloc",
)
PDF = b"%PDF-1.7\nmade up, of odd length\n%%EOF"


def grid(kind: str) -> Grid:
    """Plain, oblique, left-handed or tilted; around the origin."""
    matrix = np.diag([0.9, 0.8, 1.1, 1.0])
    if kind == "oblique":
        axis = np.array([1.0, 2.0, 3.0]) / np.sqrt(14.0)
        k = np.cross(np.eye(3), axis)
        matrix[:3, :3] = (np.eye(3) + np.sin(0.5) * k + (1 - np.cos(0.5)) * k @ k) @ matrix[:3, :3]
    elif kind == "left-handed":
        matrix[2, 2] = -1.1
    elif kind == "tilted":
        matrix[1, 2] = 0.4
    matrix[:3, 3] = -matrix[:3, :3] @ ((np.array(SHAPE) - 1.0) / 2.0)
    return Grid.from_matrix(SHAPE, matrix)


def planned() -> tuple[PlannedRegion, ...]:
    """A hollow ball to the left of the middle, and a thin slab square to the body's axis."""
    ball = manifold3d.Manifold.sphere(11.0, 256) - manifold3d.Manifold.sphere(5.0, 256)
    face = PlanarFace(
        rigid_frame(np.zeros(3), np.eye(3), target=Frame.PATIENT_LPS, source=Frame.PLANE),
        (np.array([[-8.0, -8.0], [8.0, -8.0], [8.0, 8.0], [-8.0, 8.0]]),),
    )
    return (
        PlannedRegion(
            name="piece", code="PLANNED_PIECE",
            surface=surface_of_solid(ball.translate((4.0, 0.0, 0.0))),
        ),
        PlannedRegion(
            name="cut: left half of the cranial cut", code="PLANNED_CUT",
            surface=surface_of_solid(slab_of_face(face, 1.5)),
        ),
    )  # fmt: skip


@pytest.mark.parametrize("kind", ["axial", "oblique", "left-handed", "tilted"])
def test_voxels_of_a_planned_solid_are_those_inside_by_closed_form(kind: str) -> None:
    """Closed form: |p - m| between 5 and 11 mm; facets of 256 sides stay within 0.01 mm."""
    on = grid(kind)
    found = mask_on_grid(planned()[0].surface, on)
    assert found is not None
    whole = np.zeros(SHAPE, dtype=bool)
    box = tuple(slice(s, s + n) for s, n in zip(found.start, found.inside.shape, strict=True))
    whole[box] = found.inside
    away = np.linalg.norm(on.centres().reshape(-1, 3) - [4.0, 0.0, 0.0], axis=1).reshape(SHAPE)
    sure = (np.abs(away - 11.0) > 0.01) & (np.abs(away - 5.0) > 0.01)
    assert np.array_equal(whole[sure], ((away > 5.0) & (away < 11.0))[sure])
    share = whole.sum() * on.voxel_volume_mm3 / (4.0 / 3.0 * np.pi * (11.0**3 - 5.0**3))
    assert share == pytest.approx(1.0, abs=0.02)


def write(form: str, path: Path) -> Any:
    regions = as_regions(planned(), grid("axial"), 1.5)
    if form == "seg":
        write_segments(path, grid("axial"), regions, ABOUT, SETTINGS)
    elif form == "rtstruct":
        write_structures(path, grid("axial"), regions, ABOUT, SETTINGS)
    else:
        title, series = words.sheet_title(DOCUMENT), words.sheet_series(DOCUMENT)
        write_pdf_object(path, PDF, title, series, SETTINGS)
    return pydicom.dcmread(path)


@pytest.mark.system("dciodvfy")
@pytest.mark.parametrize(
    ("form", "kind"),
    [("seg", "Segmentation"), ("rtstruct", "RTStructureSet"), ("pdf", "EncapsulatedPDF")],
)
def test_a_conformance_checker_finds_no_error(form: str, kind: str, tmp_path: Path) -> None:
    write(form, tmp_path / "o.dcm")
    ran = ["dciodvfy", str(tmp_path / "o.dcm")]
    done = subprocess.run(ran, capture_output=True, text=True, check=False)
    said = (done.stdout + done.stderr).splitlines()
    assert any(kind in line for line in said)
    assert [line for line in said if line.startswith("Error")] == []
    # what it does not know is our own code scheme, which the file names; DICOM allows that
    warned = [line for line in said if line.startswith("Warning")]
    assert [line for line in warned if "<99VERTEBLOC>" not in line] == []


@pytest.mark.parametrize("form", ["seg", "rtstruct", "pdf"])
def test_each_object_lies_in_the_study_and_says_it_is_planned(form: str, tmp_path: Path) -> None:
    """Danger: a plan taken for an outline; an unconfirmed plan taken for a confirmed one."""
    read = write(form, tmp_path / "o.dcm")
    assert (read.StudyInstanceUID, read.StudyID, read.PatientID) == ("1.2.3", "S1", "M1")
    assert str(read.PatientName) == "MADE-UP^PLANNED"
    assert read.SeriesDescription.startswith("UNCONFIRMED, ")
    assert len(read.SeriesDescription) <= 64
    if form == "pdf":
        assert "UNCONFIRMED" in read.DocumentTitle and read.BurnedInAnnotation == "YES"
        data = read.EncapsulatedDocument[: read.EncapsulatedDocumentLength]
        assert data == PDF
        return
    assert "PLANNED" in read.SeriesDescription and "not outlined" in read.SeriesDescription
    if form == "seg":
        assert read.FrameOfReferenceUID == "1.2.3.4" and read.ContentLabel == "PLANNED"
        names = [one.SegmentLabel for one in read.SegmentSequence]
        kinds = {one.SegmentAlgorithmType for one in read.SegmentSequence}
    else:
        (frame,) = read.ReferencedFrameOfReferenceSequence
        assert frame.FrameOfReferenceUID == "1.2.3.4" and read.ApprovalStatus == "UNAPPROVED"
        assert read.StructureSetLabel == "PLANNED"
        names = [one.ROIName for one in read.StructureSetROISequence]
        kinds = {one.ROIGenerationAlgorithm for one in read.StructureSetROISequence}
    assert all(name.startswith("PLANNED ") for name in names) and kinds == {"SEMIAUTOMATIC"}
    confirmed = DOCUMENT | {"level_confirmation": {"confirmed": True}}
    assert "UNCONFIRMED" not in words.object_series(confirmed) + words.sheet_title(confirmed)


def test_highdicom_reads_the_planned_piece_where_and_as_large_as_it_is(tmp_path: Path) -> None:
    """Outside: highdicom's volume and geometry; closed form: the hollow ball."""
    write("seg", tmp_path / "o.dcm")
    read = highdicom.seg.segread(tmp_path / "o.dcm")
    volume = read.get_volume(segment_numbers=[1], combine_segments=True)
    inside = np.argwhere(np.asarray(volume.array) > 0)
    points = volume.map_indices_to_reference(inside)
    assert points.mean(axis=0) == pytest.approx([4.0, 0.0, 0.0], abs=0.05)
    mm3 = len(inside) * float(np.prod(volume.spacing))
    assert mm3 == pytest.approx(4.0 / 3.0 * np.pi * (11.0**3 - 5.0**3), rel=0.02)
    (piece, cut) = read.SegmentSequence
    assert piece.SegmentedPropertyTypeCodeSequence[0].CodeMeaning == "PLANNED piece"
    assert "1.5 mm thick" in cut.SegmentDescription


def test_structure_set_polygons_enclose_the_planned_volume(tmp_path: Path) -> None:
    """By hand: shoelace area of each polygon times the slice distance; closed form: the ball."""
    read = write("rtstruct", tmp_path / "o.dcm")
    mm3 = 0.0
    for line in read.ROIContourSequence[0].ContourSequence:
        points = np.array(line.ContourData, dtype=float).reshape(-1, 3)
        x, y = points[:, 0], points[:, 1]
        mm3 += 1.1 * 0.5 * abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    assert mm3 == pytest.approx(4.0 / 3.0 * np.pi * (11.0**3 - 5.0**3), rel=0.02)


def test_what_is_no_pdf_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no PDF"):
        write_pdf_object(tmp_path / "o.dcm", b"<html>", "t", "s", replace(SETTINGS))
    assert not list(tmp_path.iterdir())
