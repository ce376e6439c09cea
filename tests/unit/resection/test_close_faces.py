"""Close faces about a ball of tumour in a block body: distances are |p - c| - r, a closed form."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pydicom
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.case.choices import Choices
from vertebloc.case.identity import Identity
from vertebloc.exchange.dicom_objects import AboutObject, ObjectSettings
from vertebloc.exchange.dicom_rtstruct_write import write_structures
from vertebloc.exchange.masks import BoxedMask
from vertebloc.reports.role_radiation import region_words
from vertebloc.resection.close_faces import REACH_MM, find_close_faces, voxels_near
from vertebloc.space.grids import Grid
from vertebloc.space.solids import Sphere
from vertebloc.workflow.close_regions import close_region

from .block_spine import ball, planned, solids_with, vertebra

#: 2 mm left of the middle of a body of 30 x 28 mm: 2 mm to the left wall, 3 to the front, 6 to the
#: right wall, which keeps the 5 mm that are wanted; the left pedicle is cut at x 8 to 14, y 14,
#: from z = 0 on: sqrt(6^2 + 14^2) - 11 = 4.23 mm. The block has no sac.
CENTRE, RADIUS_MM = np.array([2.0, 0.0, 0.0]), 11.0


@pytest.fixture(scope="module")
def close():
    sphere = Sphere(CENTRE, RADIUS_MM)
    plan = planned(solids_with(ball(list(CENTRE), RADIUS_MM, 128), sphere), Choices())
    found = find_close_faces(plan, vertebra(Level("T10")), sphere)
    return plan, {face.name: face for face in found}


def test_the_faces_nearer_than_wanted_are_found_and_no_other(close):
    plan, found = close
    assert list(found) == ["left side", "front", "left pedicle base"]  # the nearest first
    hand = {"left side": 2.0, "front": 3.0, "left pedicle base": np.hypot(6.0, 14.0) - 11.0}
    for name, margin in hand.items():
        # a place between corners 1 mm apart: 0.7 mm aside of a ball of 11 add 0.02 mm
        assert found[name].margin_mm == pytest.approx(margin, abs=0.05)
    assert plan.wanted_margin_mm == 5.0


def test_every_close_place_is_close_and_none_is_missed(close):
    _, found = close
    for face in found.values():
        assert (np.linalg.norm(face.places - CENTRE, axis=1) - RADIUS_MM < 5.0).all()
    # the left wall, x = 15: close within a circle of radius sqrt(16^2 - 13^2) = 9.3 mm
    y, z = np.meshgrid(np.arange(-8, 8.1, 0.5), np.arange(-8, 8.1, 0.5))
    wall = np.column_stack((np.full(y.size, 15.0), y.ravel(), z.ravel()))
    wall = wall[np.linalg.norm(wall - CENTRE, axis=1) - RADIUS_MM < 4.5]
    gaps = np.linalg.norm(wall[:, None] - found["left side"].places[None], axis=2).min(axis=1)
    assert len(wall) > 400 and gaps.max() < 1.0


def test_a_region_is_all_voxels_within_reach():
    places = np.array([[3.0, 4.0, 5.0], [6.0, 4.0, 5.0]])
    matrix = np.diag([0.7, 0.7, 1.5, 1.0])
    matrix[:3, 3] = (-5.0, -5.0, -5.0)
    grid = Grid.from_matrix((30, 30, 15), matrix)
    start, inside = voxels_near(places, grid, 2.0)
    every = np.zeros(grid.shape, dtype=bool)
    box = tuple(slice(a, a + n) for a, n in zip(start, inside.shape, strict=True))
    every[box] = inside
    away = np.linalg.norm(grid.centres()[:, None] - places[None], axis=2).min(axis=1)
    np.testing.assert_array_equal(every.ravel(), away.reshape(grid.shape).ravel() <= 2.0)


def test_the_structure_set_says_planned_and_lies_at_the_faces(close, tmp_path):
    """Read by pydicom: each line's points lie within reach and a voxel of the close places."""
    _, found = close
    matrix = np.diag([1.0, 1.0, 2.0, 1.0])
    matrix[:3, 3] = (-30.0, -30.0, -30.0)
    grid = Grid.from_matrix((60, 60, 30), matrix)
    regions = []
    for face in found.values():
        start, inside = voxels_near(face.places, grid)
        mask = BoxedMask(start=start, inside=inside)
        regions.append(close_region(face.name, "planned, a sentence", mask))
    settings = ObjectSettings(
        seed_text="t", made_at=datetime(2026, 1, 1, tzinfo=UTC), identity=Identity("MADE-UP, T")
    )
    about = AboutObject(label="CLOSE FACES", description="d", series="s", algorithm="vertebloc")
    write_structures(tmp_path / "close.dcm", grid, regions, about, settings)
    read = pydicom.dcmread(tmp_path / "close.dcm")
    assert read.Modality == "RTSTRUCT" and read.ApprovalStatus == "UNAPPROVED"
    names = [item.ROIName for item in read.StructureSetROISequence]
    assert names == [f"PLANNED close face: {name}" for name in found]
    # computed, from outlines and cuts that people made
    made_by = {item.ROIGenerationAlgorithm for item in read.StructureSetROISequence}
    assert made_by == {"SEMIAUTOMATIC"}
    for item, face in zip(read.ROIContourSequence, found.values(), strict=True):
        points = np.concatenate(
            [np.array(line.ContourData, float).reshape(-1, 3) for line in item.ContourSequence]
        )
        away = np.linalg.norm(points[:, None] - face.places[None], axis=2).min(axis=1)
        assert away.max() < REACH_MM + np.hypot(0.5, 0.5) + 1e-3  # corners of voxels in the slice
        assert len(points) >= 8


@pytest.mark.parametrize(
    ("margin_mm", "said"), [(1.24, "nearest 1.2 mm"), (0.0, "lies bare"), (-0.4, "lies bare")]
)
def test_a_bare_face_is_said_to_be_bare_and_never_less_than_nothing(margin_mm, said):
    document = {
        "code": "AAAA-BBBB", "level_confirmation": {"confirmed": False},
        "resection": {"wanted_margin_mm": 5.0},
    }  # fmt: skip
    words = region_words(document, "front", margin_mm, REACH_MM)
    assert said in words and "-0" not in words and "UNCONFIRMED" in words
