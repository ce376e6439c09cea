"""The piece as the browser is sent it: read back byte by byte, against plan and palette."""

from __future__ import annotations

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.reports import palette
from vertebloc.reports.carton import unfold
from vertebloc.reports.piece_scene import (
    mapped_mesh_bytes,
    opened_places,
    opened_surface,
    piece_faces,
    piece_key,
)
from vertebloc.reports.screen_scene import weakest_mark
from vertebloc.resection.model import Contamination, FaceKind, OpensTumour
from vertebloc.resection.piece_map import map_piece
from vertebloc.space.solids import Sphere

from .conftest import ORIGIN, at, made_plan, made_vertebra

TUMOUR = Sphere(at(4.0, 0.0, 0.0), 9.0)


@pytest.fixture(scope="module")
def found():
    plan = made_plan()
    return map_piece(plan.piece, plan.faces, TUMOUR)


def as_the_browser_reads(data):
    nv, nt = np.frombuffer(data, "<u4", 2)
    at_ = 8
    positions = np.frombuffer(data, "<f4", 3 * nv, at_).reshape(-1, 3)
    triangles = np.frombuffer(data, "<u4", 3 * nt, at_ + 12 * nv).reshape(-1, 3)
    margins = np.frombuffer(data, "<f4", nv, at_ + 12 * nv + 12 * nt)
    cut = np.frombuffer(data, "<f4", nv, at_ + 16 * nv + 12 * nt)
    assert len(data) == at_ + 20 * nv + 12 * nt
    return positions.astype(float), triangles, margins.astype(float), cut


def test_every_corner_arrives_with_the_spheres_distance(found):
    """Closed form; single precision of places 500 mm from the origin is 3e-5 mm."""
    positions, _, margins, _ = as_the_browser_reads(mapped_mesh_bytes(found))
    expected = np.linalg.norm(positions - TUMOUR.centre, axis=1) - 9.0
    assert margins == pytest.approx(expected, abs=2e-4)


def test_only_the_two_ends_of_the_rod_are_cut(found):
    """The made-up piece is an upright rod: its ends lie in the planes of the half cuts."""
    positions, triangles, _, cut = as_the_browser_reads(mapped_mesh_bytes(found))
    heights = positions[:, 2] - ORIGIN[2]
    ends = (np.abs(heights - heights.max()) < 1e-3) | (np.abs(heights - heights.min()) < 1e-3)
    assert np.all(ends[cut > 0.5])
    flat = np.all(ends[triangles], axis=1)
    assert np.all(cut[triangles[flat]] > 0.5) and np.all(cut[triangles[~flat]] < 0.5)
    assert 0.1 < flat.mean() < 0.9


def test_the_key_is_the_cartons():
    key = piece_key(5.0)
    assert key["ramp"] == list(palette.ROOM_RAMP)
    assert key["widest_mm"] == 15.0 and [tick["words"] for tick in key["ticks"]] == [
        "0", "5", "10", "15",
    ]  # fmt: skip
    assert key["wanted_words"] == "nearer than the wanted 5.0 mm"
    assert piece_key(0.0)["wanted_words"] == ""
    shades = [luminance(key[name]) for name in ("tumour", "opened", "dissected")]
    assert luminance(key["opened_hatch"]) / luminance(key["opened"]) > 10  # told without colour
    assert shades[2] > 5 * shades[0] > 5 * shades[1]
    ramp = [luminance(colour) for colour in key["ramp"]]
    assert ramp == sorted(ramp)  # darker is thinner, in grey as well


def luminance(colour):
    """Relative luminance of sRGB: WCAG 2.2, definition of the same name."""
    parts = palette.rgb(colour)
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ np.array([0.2126, 0.7152, 0.0722]))


def test_faces_are_the_plans_by_name_and_number():
    plan, vertebra = made_plan(), made_vertebra(Level("T10"))
    listed = {one["name"]: one for one in piece_faces(plan, vertebra)}
    drawn = [face for face in plan.faces if face.face is not None or face.kind is FaceKind.SOFT]
    assert set(listed) == {face.name for face in drawn}
    caudal = listed["caudal cut, left half"]
    assert caudal["words"] == "caudal cut, left half: 4.2 mm"
    assert caudal["out"] == pytest.approx([0, 0, -1]) and caudal["cut"]
    assert caudal["at"][0] > ORIGIN[0]  # the patient's left
    assert listed["left side"]["out"][0] > 0.9 and not listed["left side"]["cut"]


def test_the_carton_shows_the_same_numbers(found):
    """Each face of the carton is in the picture under the same name with the same margin."""
    plan, vertebra = made_plan(), made_vertebra(Level("T10"))
    carton = unfold(plan, vertebra, TUMOUR)
    listed = {one["name"]: one["words"] for one in piece_faces(plan, vertebra)}
    shapes = [
        shape for panel in (*carton.panels.values(), *carton.flaps) for shape in panel.shapes
    ]
    assert len(shapes) >= 6
    for shape in shapes:
        assert listed[shape.face.name] == f"{shape.face.name}: {shape.face.margin_mm:.1f} mm"
        if len(shape.cells):
            corners = found.corners_of(shape.face.name)
            least = found.margins_mm[corners].min()
            assert least == pytest.approx(shape.cells[:, 2].min(), abs=1.5)  # one pitch apart


def test_the_weakest_place_is_the_plans():
    plan = made_plan()
    bone = [face for face in plan.faces if face.kind is FaceKind.BONE]
    mark = weakest_mark(bone)
    least = min(bone, key=lambda face: face.margin_mm)
    assert mark["point"] == pytest.approx(list(least.weakest), abs=1e-4)
    assert mark["words"].startswith(f"nearest: {least.margin_mm:.1f} mm")
    assert mark["out"] == pytest.approx([0, 0, -1])


def test_planned_contamination_is_drawn_whole_and_named_with_its_area():
    patch = np.array([[[0, 0, 0], [10, 0, 0], [0, 10, 0]], [[10, 0, 0], [10, 10, 0], [0, 10, 0]]])
    one = Contamination(
        how=OpensTumour.NIBBLED, name="left pedicle", deepest=np.zeros(3),
        deepest_in_words="somewhere", area_mm2=100.0, volume_ml=0.1, triangles=patch + 5.0,
    )  # fmt: skip
    (said,) = opened_places([one])
    assert said["rows"] == ["left pedicle, 100 mm²", "piecemeal bone in tumour"]
    drawn = opened_surface(one)
    across = np.cross(drawn.corners[:, 1] - drawn.corners[:, 0],
                      drawn.corners[:, 2] - drawn.corners[:, 0])  # fmt: skip
    assert np.linalg.norm(across, axis=1).sum() / 2.0 == pytest.approx(100.0)  # 10 x 10 mm
