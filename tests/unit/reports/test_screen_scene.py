"""What the browser is sent: read back here as the browser reads it, against places by hand."""

from __future__ import annotations

import numpy as np
import pytest

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Vertebra
from vertebloc.case.choices import HalfPlacement
from vertebloc.reports import screen_scene
from vertebloc.reports.piece_words import face_words, weakest_words
from vertebloc.reports.screen_scene import (
    bare_scene,
    cut_marks,
    mesh_bytes,
    scene_views,
    volume_bytes,
    volume_meta,
    weakest_mark,
)
from vertebloc.reports.text import mm
from vertebloc.resection.cuts import half_cut
from vertebloc.resection.piece import Cuts
from vertebloc.space.frames import Frame, Side
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Transform

# Oblique, left-handed, unequal spacing: what scanners send on a bad day.
TURN = np.array([[0.8, -0.6, 0.0], [0.6, 0.8, 0.0], [0.0, 0.0, -1.0]])
MATRIX = np.eye(4)
MATRIX[:3, :3] = TURN @ np.diag([0.7, 0.9, 2.5])
MATRIX[:3, 3] = (-31.0, 12.0, 440.0)
SHAPE = (5, 4, 21)


def ct_of(shape: tuple[int, int, int] = SHAPE) -> Volume:
    i, j, k = np.indices(shape)
    return Volume(Grid.from_matrix(shape, MATRIX), (i + 10 * j + 40 * k - 1024).astype(np.int16))


def as_the_card_reads(data: bytes, shape: list[int]) -> np.ndarray:
    """Half floats, i fastest, as WebGL lays a 3-D texture out."""
    return np.frombuffer(data, dtype="<f2").reshape(shape[::-1]).transpose()


@pytest.mark.parametrize("every", [1, 2])
def test_each_voxel_arrives_where_its_place_in_the_body_is_looked_up(
    every: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(screen_scene, "LARGE_VOXELS", 10)
    ct = ct_of()
    meta = volume_meta(ct, "/ct")
    meta = meta if every == 1 else meta["coarse"]
    texels = as_the_card_reads(b"".join(volume_bytes(ct, every)), meta["shape"])
    tex_from_lps = np.array(meta["tex_from_lps"]).reshape(4, 4)
    for ijk in ((0, 0, 0), (4, 2, 20), (2, 0, 18)):
        lps = MATRIX @ (*ijk, 1.0)  # by the affine alone
        at = (tex_from_lps @ lps)[:3] * meta["shape"]  # texel centres lie at n + 0.5
        np.testing.assert_allclose(at - 0.5, np.array(ijk) / every, atol=1e-9)
        assert texels[tuple(np.floor(at).astype(int))] == ct.values[ijk]


def test_a_small_image_travels_once_a_large_one_coarse_first() -> None:
    assert "coarse" not in volume_meta(ct_of(), "/ct")
    shape = (512, 512, 400)
    grid = Grid.from_matrix(shape, MATRIX)
    large = Volume(grid, np.broadcast_to(np.int16(0), shape))
    coarse = volume_meta(large, "/ct")["coarse"]
    assert coarse["shape"] == [256, 256, 200]
    assert coarse["url"] == "/ct?every=2"


def test_hounsfield_units_stay_exact_up_to_2048_and_metal_within_a_thousandth() -> None:
    """binary16 has 11 bits of significand: whole numbers up to 2048 are exact (IEEE 754)."""
    values = np.array([-2048, -1024, -1, 0, 37, 1049, 2047, 2048, 3071], dtype=np.int16)
    ct = Volume(Grid.from_matrix((9, 1, 1), np.eye(4)), values.reshape(9, 1, 1))
    got = as_the_card_reads(b"".join(volume_bytes(ct)), [9, 1, 1]).ravel()
    assert got[:8].tolist() == values[:8].tolist()
    assert got[8] == pytest.approx(3071, rel=1e-3)


def test_a_surface_is_read_back_as_it_was() -> None:
    vertices = np.array([[0.25, -1.5, 3.0], [10.0, 0.0, 0.0], [0.0, 10.0, 0.0], [0.0, 0.0, -9.0]])
    triangles = np.array([[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]], dtype=np.int32)
    data = mesh_bytes(TriangleSurface(vertices, triangles))
    counts = np.frombuffer(data, "<u4", 2)
    assert counts.tolist() == [4, 4]
    read = np.frombuffer(data, "<f4", 12, offset=8).reshape(4, 3)
    np.testing.assert_array_equal(read, vertices)  # these numbers are exact in float32
    corners = np.frombuffer(data, "<u4", 12, offset=8 + 48).reshape(4, 3)
    np.testing.assert_array_equal(corners, triangles)
    assert len(data) == 8 + 48 + 48


LEFT_RIB_TIP = (100.0, -40.0, -20.0)  # +x left, +y back, +z head
#: Where a person would see it: mm to the picture's right and up, thought out with the body.
SEEN = {
    # head at the picture's left, patient's left below; then all turned by half a turn
    ("behind", "left"): (20, -100),
    ("behind", "right"): (-20, 100),
    ("behind", "head up"): (-100, -20),
    # eyes level with the back, which is up: the tip is deeper, and 20 mm towards the feet
    ("side", "left"): (20, -40),
    ("side", "right"): (-20, -40),
    # beside the patient's left, head up: the front is at the picture's left
    ("side", "head up"): (-40, -20),
    # seen from the feet, back up, patient's left at the left, wherever one stands
    ("across", "left"): (-100, -40),
    ("across", "right"): (-100, -40),
    ("across", "head up"): (-100, -40),
}
EDGE_OF_LEFT = {
    ("behind", "left"): "down",
    ("behind", "right"): "up",
    ("behind", "head up"): "left",
    ("across", "left"): "left",
    ("across", "right"): "left",
    ("across", "head up"): "left",
}


@pytest.mark.parametrize("turned", [False, True], ids=["upright", "body turned"])
def test_the_left_rib_is_seen_where_a_person_would_see_it(turned: bool) -> None:
    """Also when the diseased vertebra leans: then along its own axes."""
    angle = np.radians(25.0) if turned else 0.0
    lean = np.eye(4)
    lean[1:3, 1:3] = [[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]
    lean[:3, 3] = (5.0, -8.0, 300.0) if turned else 0.0
    lps_from_body = Transform(lean, target=Frame.PATIENT_LPS, source=Frame.VERTEBRA)
    views = scene_views(lps_from_body)
    tip = lean[:3, :3] @ LEFT_RIB_TIP  # seen from the body's middle
    assert {(look, at) for look in views for at in views[look]} == set(SEEN)
    for (look, at), (right, up) in SEEN.items():
        view = views[look][at]
        np.testing.assert_allclose(tip @ view["right"], right, atol=1e-9)
        np.testing.assert_allclose(tip @ view["up"], up, atol=1e-9)
        axes = np.array([view["right"], view["up"], view["toward"]])
        assert np.linalg.det(axes) == pytest.approx(1.0)
        edge = EDGE_OF_LEFT.get((look, at))
        assert edge is None or view["edges"][edge] == "patient's LEFT"


def test_only_who_stands_beside_the_patient_is_told_you_stand_here() -> None:
    views = scene_views(Transform(np.eye(4), target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS))
    told = {(look, at) for look in views for at in views[look] if views[look][at]["stand_down"]}
    assert told == {("behind", "left"), ("behind", "right")}


def test_before_anything_is_measured_the_picture_starts_in_the_middle() -> None:
    scene = bare_scene(ct_of())
    np.testing.assert_allclose(scene["centre"], (MATRIX @ (2.0, 1.5, 10.0, 1.0))[:3], atol=1e-4)
    assert scene["frame"]["origin"] == scene["centre"]
    assert scene["canal"] == scene["levels"] == []


VERTEBRA = Vertebra(
    level=Level("T10"),
    lps_from_vertebra=Transform(np.eye(4), target=Frame.PATIENT_LPS, source=Frame.VERTEBRA),
    canal_s_mm=0.0,
    posterior_wall_mm=14.0,
    anterior_wall_mm=-13.0,
    upper_endplate_mm=11.0,
    lower_endplate_mm=-11.0,
    left_wall_mm=17.0,
    right_wall_mm=-15.0,
    frame_from_neighbours=True,
    own_frame_differs_deg=0.0,
)


@pytest.mark.parametrize("tilt_deg", [-20.0, 0.0, 12.0])
@pytest.mark.parametrize("roll_deg", [-15.0, 0.0, 9.0])
def test_marks_carry_the_numbers_that_were_chosen(tilt_deg: float, roll_deg: float) -> None:
    def cut(side: Side, height_mm: float, *, cranial: bool):
        placed = HalfPlacement(height_mm=height_mm, tilt_deg=tilt_deg, roll_deg=roll_deg)
        return half_cut(
            VERTEBRA, placed, side, cranial=cranial, words="disc T9/T10", level=Level("T10")
        )

    cuts = Cuts(
        cranial={side: cut(side, 12.5, cranial=True) for side in Side},
        caudal={side: cut(side, -14.0, cranial=False) for side in Side},
        arch={},
        base={},
    )
    marks = {mark["id"]: mark for mark in cut_marks(cuts, (), VERTEBRA, 5.0)}
    assert set(marks) == {"cranial-left", "cranial-right", "caudal-left", "caudal-right"}
    for name, mark in marks.items():
        assert mark["height_mm"] == pytest.approx(12.5 if "cranial" in name else -14.0)
        assert mark["tilt_deg"] == pytest.approx(tilt_deg)
        assert mark["roll_deg"] == pytest.approx(roll_deg)
        assert mark["entry_lps_mm"][0] == pytest.approx(8.5 if "left" in name else -7.5)
        assert mark["depth_mm"] == pytest.approx(27.0)
        # out of the piece: to the head above it, to the feet below
        assert (mark["out"][2] > 0) == name.startswith("cranial")
        assert mark["polygon_lps_mm"] == [] and mark["wanted_mm"] == 5.0


def test_no_face_no_weakest_place() -> None:
    assert weakest_mark(()) is None


def test_the_picture_says_the_number_of_the_answer() -> None:
    """Rounded once, from what is saved: 3.2501 is saved as 3.25 and said as 3.2 everywhere."""
    assert (
        weakest_words(3.2501, "here") == f"nearest: {mm(3.2501)}, here" == "nearest: 3.2 mm, here"
    )
    assert face_words(3.2501) == "3.2 mm to tumour"
