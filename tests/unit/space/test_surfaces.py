"""Triangle surfaces: closed or not, and how much they hold, against trimesh."""

import numpy as np
import pytest
import trimesh

from vertebloc.errors import FrameError, InputError
from vertebloc.space.frames import Frame
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Transform


def from_trimesh(mesh: trimesh.Trimesh) -> TriangleSurface:
    return TriangleSurface(mesh.vertices, mesh.faces)


def torus_with_a_ball() -> trimesh.Trimesh:
    ball = trimesh.creation.icosphere(subdivisions=2, radius=3.0)
    ball.apply_translation([60, 0, 0])
    return trimesh.util.concatenate([trimesh.creation.torus(20.0, 6.0), ball])


MESHES = {
    "box": trimesh.creation.box((2.0, 3.0, 4.0)),
    "ball": trimesh.creation.icosphere(subdivisions=3, radius=10.0),
    "capsule": trimesh.creation.capsule(height=30.0, radius=4.0),
    "torus and ball": torus_with_a_ball(),
}


@pytest.fixture(params=MESHES)
def mesh(request: pytest.FixtureRequest) -> trimesh.Trimesh:
    return MESHES[request.param]


def test_volume_and_closedness_agree_with_trimesh(mesh: trimesh.Trimesh) -> None:
    surface = from_trimesh(mesh)
    assert surface.is_closed
    assert mesh.is_watertight
    assert surface.volume_mm3 == pytest.approx(mesh.volume, rel=1e-9)
    assert surface.volume_ml == pytest.approx(mesh.volume / 1000, rel=1e-9)


def test_volume_far_from_the_origin_is_the_same(mesh: trimesh.Trimesh) -> None:
    far = TriangleSurface(np.add(mesh.vertices, (5000.0, -3000.0, 9000.0)), mesh.faces)
    assert far.volume_mm3 == pytest.approx(mesh.volume, rel=1e-7)


def test_volume_of_a_box_and_a_ball_is_the_textbook_one() -> None:
    assert from_trimesh(MESHES["box"]).volume_mm3 == pytest.approx(24)
    # a polyhedron inside the ball of radius 10 (4189 mm3) holds less, here under 1 % less
    volume = from_trimesh(MESHES["ball"]).volume_mm3
    assert 0.99 * 4 / 3 * np.pi * 1000 < volume < 4 / 3 * np.pi * 1000


def test_inside_out_counts_negative() -> None:
    box = MESHES["box"]
    assert TriangleSurface(box.vertices, box.faces[:, ::-1]).volume_mm3 == pytest.approx(-24)


def test_a_missing_turned_or_doubled_triangle_opens_the_surface(mesh: trimesh.Trimesh) -> None:
    faces = np.array(mesh.faces)
    turned = faces.copy()
    turned[5] = turned[5][::-1]
    for wrong in (faces[1:], turned, np.vstack((faces, faces[:1])), np.vstack((faces, faces))):
        assert not TriangleSurface(mesh.vertices, wrong).is_closed


def test_nothing_is_not_closed_and_holds_nothing() -> None:
    nothing = TriangleSurface(np.zeros((0, 3)), np.zeros((0, 3), int))
    assert not nothing.is_closed
    assert nothing.volume_mm3 == 0


def test_moving_keeps_volume_and_mirroring_keeps_the_outside_outside() -> None:
    surface = from_trimesh(MESHES["torus and ball"])
    for factors in ((1, 1, 1), (-1, 1, 1), (-1, -1, 1)):
        motion = np.diag([*factors, 1.0])
        motion[:3, 3] = (10, 20, 30)
        moved = surface.moved(
            Transform(motion, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
        )
        assert moved.is_closed
        assert moved.volume_mm3 == pytest.approx(surface.volume_mm3)
        np.testing.assert_allclose(moved.vertices[0], surface.vertices[0] * factors + (10, 20, 30))


def test_moving_refuses_other_frames() -> None:
    to_screen = Transform(np.eye(4), target=Frame.SCREEN, source=Frame.PATIENT_LPS)
    with pytest.raises(FrameError, match="from patient-lps into patient-lps"):
        from_trimesh(MESHES["box"]).moved(to_screen)


@pytest.mark.parametrize(
    ("vertices", "triangles"),
    [
        (np.zeros((4, 2)), [[0, 1, 2]]),
        (np.zeros((4, 3)), [0, 1, 2]),
        (np.zeros((4, 3)), [[0, 1, 2, 3]]),
        (np.zeros((4, 3)), [[0, 1, 4]]),
        (np.zeros((4, 3)), [[0, 1, -1]]),
        (np.full((4, 3), np.nan), [[0, 1, 2]]),
    ],
    ids=["flat vertices", "one row", "quads", "beyond", "negative", "nan"],
)
def test_what_makes_no_surface_is_refused(vertices: np.ndarray, triangles: list) -> None:
    with pytest.raises(InputError):
        TriangleSurface(vertices, np.array(triangles))


def test_arrays_are_copied_and_read_only() -> None:
    vertices = np.array(MESHES["box"].vertices)
    surface = TriangleSurface(vertices, MESHES["box"].faces)
    before = surface.vertices[0, 0]
    vertices[0, 0] = 99
    assert surface.vertices[0, 0] == before
    for array in (surface.vertices, surface.triangles):
        with pytest.raises(ValueError, match="read-only"):
            array[0, 0] = 1
