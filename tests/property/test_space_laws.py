"""Laws of space that hold for every patient, however the patient lies in the scanner."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from vertebloc.errors import FrameError
from vertebloc.space.frames import Frame
from vertebloc.space.grids import Grid
from vertebloc.space.planes import Plane
from vertebloc.space.polygons import PlanarFace
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import Transform
from vertebloc.space.views import View, screen_from_body

coordinate = st.floats(-1000, 1000)  # mm; a scanner's table is shorter
point = st.tuples(coordinate, coordinate, coordinate)
points = st.lists(point, min_size=1, max_size=20).map(np.array)
spacing = st.tuples(*[st.floats(0.2, 5.0)] * 3)
rotation = st.integers(0, 2**31).map(
    lambda seed: Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
)
mirror = st.sampled_from([np.eye(3), np.diag([-1.0, 1, 1])])
FRAMES = st.sampled_from(Frame)


@st.composite
def motions(draw: st.DrawFn) -> Transform:
    """Any rigid motion of the patient."""
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = draw(rotation), draw(point)
    return Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)


@st.composite
def grids(draw: st.DrawFn) -> Grid:
    """Any grid, right- or left-handed, straight or oblique."""
    matrix = np.eye(4)
    matrix[:3, :3] = draw(rotation) @ draw(mirror) * np.array(draw(spacing))
    matrix[:3, 3] = draw(point)
    shape = draw(st.tuples(*[st.integers(2, 9)] * 3))
    return Grid.from_matrix(shape, matrix)


@given(grids(), points)
def test_there_and_back_again(grid: Grid, somewhere: np.ndarray) -> None:
    back = grid.lps_from_ijk.points(grid.lps_from_ijk.inverse.points(somewhere))
    np.testing.assert_allclose(back, somewhere, atol=1e-8)


@given(FRAMES, FRAMES, FRAMES, FRAMES)
def test_maps_chain_exactly_where_frames_meet(a: Frame, b: Frame, c: Frame, d: Frame) -> None:
    later = Transform(np.eye(4), target=a, source=b)
    earlier = Transform(np.eye(4), target=c, source=d)
    if b is c:
        chained = later @ earlier
        assert (chained.target, chained.source) == (a, d)
    else:
        with pytest.raises(FrameError):
            later @ earlier


@given(motions(), motions(), points)
def test_chaining_is_doing_one_after_the_other(
    later: Transform, earlier: Transform, somewhere: np.ndarray
) -> None:
    np.testing.assert_allclose(
        (later @ earlier).points(somewhere), later.points(earlier.points(somewhere)), atol=1e-8
    )


@given(grids(), motions(), st.data())
def test_moving_the_patient_with_the_header_moves_no_voxel_in_the_patient(
    grid: Grid, motion: Transform, data: st.DataObject
) -> None:
    moved = Grid(grid.shape, motion @ grid.lps_from_ijk)
    index = np.array([data.draw(st.integers(0, n - 1)) for n in grid.shape], dtype=float)
    np.testing.assert_allclose(
        moved.lps_from_ijk.points(index), motion.points(grid.lps_from_ijk.points(index)), atol=1e-8
    )
    np.testing.assert_allclose(moved.spacing_mm, grid.spacing_mm, rtol=1e-9)
    assert moved.voxel_volume_mm3 == pytest.approx(grid.voxel_volume_mm3, rel=1e-9)
    assert moved.contains(motion.points(grid.centres())).all()


@given(grids(), st.data())
def test_a_crop_of_a_crop_is_a_crop(grid: Grid, data: st.DataObject) -> None:
    first = np.array([data.draw(st.integers(0, n - 1)) for n in grid.shape])
    second = np.array(
        [data.draw(st.integers(0, n - a - 1)) for n, a in zip(grid.shape, first, strict=True)]
    )
    twice = grid.crop(first, grid.shape).crop(second, np.array(grid.shape) - first)
    assert twice.shape == tuple(np.array(grid.shape) - first - second)
    np.testing.assert_allclose(
        twice.corners()[[0, -1]],
        grid.lps_from_ijk.points([first + second, np.array(grid.shape) - 1]),
        atol=1e-8,
    )


@given(point, rotation, points, motions())
def test_moving_a_plane_and_a_point_together_keeps_their_distance(
    on_plane: tuple[float, float, float],
    turn: np.ndarray,
    somewhere: np.ndarray,
    motion: Transform,
) -> None:
    plane = Plane(on_plane, turn[0])
    before = plane.signed_distance_mm(somewhere)
    after = plane.moved(motion).signed_distance_mm(motion.points(somewhere))
    np.testing.assert_allclose(after, before, atol=1e-8)


@given(st.sampled_from(View), point)
def test_no_view_changes_a_length_or_a_handedness(
    view: View, somewhere: tuple[float, float, float]
) -> None:
    screen_from_lps = screen_from_body(view)
    seen = screen_from_lps.vectors(np.vstack((np.eye(3), somewhere)))
    assert np.linalg.det(seen[:3]) == pytest.approx(1)
    assert np.linalg.norm(seen[3]) == pytest.approx(np.linalg.norm(somewhere))


@given(st.sampled_from(View))
def test_the_patients_left_and_right_never_fall_together(view: View) -> None:
    left, right = screen_from_body(view).points([[50, 0, 0], [-50, 0, 0]])
    np.testing.assert_allclose(left, -right)
    if "from the patient's" in view.value:  # from the side: the words say which lies in front
        near = "left" if left[2] > 0 else "right"
        assert f"from the patient's {near}" in view.value
        assert abs(left[2]) == pytest.approx(50)
    else:
        assert abs(left[0]) + abs(left[1]) == pytest.approx(50)  # both sides in the picture


@given(point, rotation, st.lists(st.floats(1, 40), min_size=3, max_size=12))
def test_area_of_a_face_does_not_depend_on_where_it_lies_or_where_the_loop_starts(
    on_plane: tuple[float, float, float], turn: np.ndarray, radii: list[float]
) -> None:
    angle = np.arange(len(radii)) * 2 * np.pi / len(radii)
    loop = np.array(radii)[:, None] * np.column_stack((np.cos(angle), np.sin(angle)))
    face = PlanarFace(Plane(on_plane, turn[2]).frame(turn[0]), (loop,))
    shifted = np.add(np.roll(loop, 1, axis=0), (300.0, -200.0))
    rolled = PlanarFace(face.lps_from_plane, (shifted,))
    assert face.area_mm2 == pytest.approx(rolled.area_mm2, rel=1e-9)
    # Stokes: half the sum of the cross products in space, along the normal, is the same area
    (corners,) = face.loops_lps()
    arms = corners - corners[0]
    in_space = 0.5 * np.cross(arms, np.roll(arms, -1, axis=0)).sum(axis=0) @ turn[2]
    assert face.area_mm2 == pytest.approx(in_space, rel=1e-6)


@settings(max_examples=50)
@given(spacing, motions(), mirror)
def test_volume_is_kept_by_motion_and_by_mirroring(
    size: tuple[float, float, float], motion: Transform, flip: np.ndarray
) -> None:
    # a tetrahedron with three perpendicular edges holds a b c / 6
    a, b, c = size
    corners = np.array([[0, 0, 0], [a, 0, 0], [0, b, 0], [0, 0, c]])
    faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    flipped = np.eye(4)
    flipped[:3, :3] = flip
    mirrored = Transform(flipped, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
    moved = TriangleSurface(corners, faces).moved(motion @ mirrored)
    assert moved.is_closed
    assert moved.volume_mm3 == pytest.approx(a * b * c / 6, rel=1e-6)
