"""Laws of the anatomy room: where the patient lies and how voxels are stored changes nothing."""

from __future__ import annotations

import importlib.util
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from vertebloc.anatomy.describe import describe_anatomy
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import SideVerdict
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.space.grids import Grid

_FILE = Path(__file__).parents[1] / "unit" / "anatomy" / "arc_spine.py"
_SPEC = importlib.util.spec_from_file_location("arc_spine_for_laws", _FILE)
arc = importlib.util.module_from_spec(_SPEC)
sys.modules["arc_spine_for_laws"] = arc
_SPEC.loader.exec_module(arc)

WALLS = (
    "posterior_wall_mm",
    "anterior_wall_mm",
    "upper_endplate_mm",
    "lower_endplate_mm",
    "left_wall_mm",
    "right_wall_mm",
)


@pytest.fixture(scope="module")
def spine():
    """T7 to T11 with ribs, an aorta and a tumour that enlarges T9."""
    made = arc.make_spine(("T7", "T8", "T9", "T10", "T11"), aorta_mm=13.0)
    x, y, s = np.moveaxis(made.local(made.grid.centres()).reshape(*made.grid.shape, 3), 3, 0)
    mass = np.hypot(np.hypot(x - 12, y + 22), s - made.height_mm("T9")) < 9.0
    made.meaning[arc.TUMOUR] = (
        Contour(Structure.VERTEBRA, Level("T9")),
        Contour(Structure.TUMOUR),
    )
    made.paint(arc.TUMOUR, mass, over=(0, made.value(Structure.VERTEBRA, "T9")))
    return made


@pytest.fixture(scope="module")
def at_rest(spine):
    return describe_anatomy(spine.contours())


def assert_same(found, wanted, motion, tolerance_mm=0.05, tolerance_deg=0.05):
    """All of the anatomy after a motion, as the motion of the anatomy before it."""
    assert list(found.vertebrae) == list(wanted.vertebrae)
    for level, vertebra in found.vertebrae.items():
        before = wanted.vertebrae[level]
        moved = motion @ before.lps_from_vertebra.matrix
        after = vertebra.lps_from_vertebra.matrix
        assert np.abs(after[:3, 3] - moved[:3, 3]).max() < tolerance_mm
        turn = Rotation.from_matrix(after[:3, :3].T @ moved[:3, :3]).magnitude()
        assert np.degrees(turn) < tolerance_deg
        for wall in WALLS:
            assert getattr(vertebra, wall) == pytest.approx(getattr(before, wall), abs=0.1)
        assert vertebra.frame_from_neighbours == before.frame_from_neighbours
    assert [(r.level, r.side) for r in found.ribs] == [(r.level, r.side) for r in wanted.ribs]
    for rib, before in zip(found.ribs, wanted.ribs, strict=True):
        assert np.abs(rib.head - (motion[:3, :3] @ before.head + motion[:3, 3])).max() < 0.05
    assert found.handedness == wanted.handedness
    assert found.warnings == wanted.warnings
    assert found.ends_in_view == wanted.ends_in_view


@pytest.mark.parametrize(
    ("turn_deg", "shift_mm"),
    [
        ((0, 0, 0), (100.0, -250.0, 1200.0)),
        ((25, 0, 0), (0.0, 0.0, 0.0)),
        ((0, 20, 40), (-30.0, 60.0, 0.0)),
        ((-15, -20, 75), (5.0, 5.0, -400.0)),
        ((0, 0, 180), (0.0, 0.0, 0.0)),
    ],
)
def test_moving_the_patient_with_a_true_header_moves_the_anatomy(
    spine, at_rest, turn_deg, shift_mm
):
    motion = np.eye(4)
    motion[:3, :3] = Rotation.from_euler("xyz", turn_deg, degrees=True).as_matrix()
    motion[:3, 3] = shift_mm
    grid = Grid.from_matrix(spine.grid.shape, motion @ spine.grid.lps_from_ijk.matrix)
    assert_same(describe_anatomy(replace(spine, grid=grid).contours()), at_rest, motion)


@pytest.mark.parametrize("axes", [(0,), (1,), (2,), (0, 2), (0, 1, 2)])
def test_the_direction_of_stored_axes_changes_nothing(spine, at_rest, axes):
    """One or three axes backwards with a true header: a left-handed affine."""
    flip = np.eye(4)
    for axis in axes:
        flip[axis, axis], flip[axis, 3] = -1.0, spine.grid.shape[axis] - 1.0
    grid = Grid.from_matrix(spine.grid.shape, spine.grid.lps_from_ijk.matrix @ flip)
    stored = replace(spine, grid=grid, labels=np.flip(spine.labels, axes))
    assert_same(describe_anatomy(stored.contours()), at_rest, np.eye(4))


@pytest.mark.parametrize("order", [(2, 1, 0), (1, 2, 0)])
def test_the_order_of_stored_axes_changes_nothing(spine, at_rest, order):
    permute = np.eye(4)[:, [*order, 3]]
    labels = np.ascontiguousarray(np.transpose(spine.labels, order))
    grid = Grid.from_matrix(labels.shape, spine.grid.lps_from_ijk.matrix @ permute)
    stored = replace(spine, grid=grid, labels=labels)
    assert_same(describe_anatomy(stored.contours()), at_rest, np.eye(4))


def test_the_mirror_twin_swaps_left_and_right_everywhere(spine, at_rest):
    """A twin made with a true header: names of sides swapped, anatomy mirrored about x = 0."""
    mirror = np.diag([-1.0, 1.0, 1.0, 1.0])
    grid = Grid.from_matrix(spine.grid.shape, mirror @ spine.grid.lps_from_ijk.matrix)
    meaning = {
        value: tuple(replace(c, side=c.side.other) if c.side else c for c in named)
        for value, named in spine.meaning.items()
    }
    twin = describe_anatomy(replace(spine, grid=grid, meaning=meaning).contours())
    for level, vertebra in twin.vertebrae.items():
        before = at_rest.vertebrae[level]
        # the twin's frame is the mirrored one with its x axis turned round again
        wanted = mirror @ before.lps_from_vertebra.matrix @ mirror
        assert np.abs(vertebra.lps_from_vertebra.matrix - wanted).max() < 0.05
        assert vertebra.left_wall_mm == pytest.approx(-before.right_wall_mm, abs=0.1)
    swapped = {(r.level, r.side.other) for r in at_rest.ribs}
    assert {(r.level, r.side) for r in twin.ribs} == swapped
    # names still fit, but an aorta on the right is a mirrored body or a mirrored image
    assert at_rest.handedness.verdict is SideVerdict.AGREES
    assert twin.handedness.verdict is SideVerdict.CONTRADICTS
    assert "the aorta lies 13 mm to the right" in twin.handedness.words
