"""Maps that know their frames, and refuse chains that do not meet."""

import numpy as np
import pytest

from vertebloc.errors import FrameError, InputError
from vertebloc.space.frames import Frame
from vertebloc.space.transforms import Transform, as_points, require_motion, rigid_frame

# A CT of 0.5 x 0.5 x 1 mm whose first voxel lies at (10, 20, 30)
LPS_FROM_IJK = Transform(
    [[0.5, 0, 0, 10], [0, 0.5, 0, 20], [0, 0, 1, 30], [0, 0, 0, 1]],
    target=Frame.PATIENT_LPS,
    source=Frame.IMAGE_IJK,
)
# A picture seen from behind, head up: screen right = patient's right
SCREEN_FROM_LPS = Transform(
    [[-1, 0, 0, 0], [0, 0, 1, 0], [0, 1, 0, 0], [0, 0, 0, 1]],
    target=Frame.SCREEN,
    source=Frame.PATIENT_LPS,
)


def test_chain_maps_a_voxel_to_the_screen() -> None:
    # by hand: voxel (2, 4, 6) -> (11, 22, 36) -> right -11, up 36, towards the viewer 22
    screen_from_ijk = SCREEN_FROM_LPS @ LPS_FROM_IJK
    assert (screen_from_ijk.target, screen_from_ijk.source) == (Frame.SCREEN, Frame.IMAGE_IJK)
    np.testing.assert_allclose(screen_from_ijk.points([2, 4, 6]), [[-11, 36, 22]])


def test_points_move_and_vectors_do_not() -> None:
    np.testing.assert_allclose(LPS_FROM_IJK.points([[0, 0, 0], [2, 0, 0]])[:, 0], [10, 11])
    np.testing.assert_allclose(LPS_FROM_IJK.vectors([[0, 0, 0], [2, 0, 0]])[:, 0], [0, 1])
    np.testing.assert_allclose(LPS_FROM_IJK.origin, [10, 20, 30])
    # the picture's up (its axis 1) is the patient's head, its third axis the back
    np.testing.assert_allclose(SCREEN_FROM_LPS.inverse.axis(1), [0, 0, 1])
    turned = rigid_frame([0, 0, 0], [[0, 1, 0], [-1, 0, 0], [0, 0, 1]], source=Frame.VERTEBRA)
    np.testing.assert_allclose(turned.axis(0), [0, 1, 0])


@pytest.mark.parametrize(
    ("later", "earlier"),
    [
        (LPS_FROM_IJK, LPS_FROM_IJK),
        (LPS_FROM_IJK, SCREEN_FROM_LPS),
        (SCREEN_FROM_LPS, SCREEN_FROM_LPS),
        (SCREEN_FROM_LPS.inverse, LPS_FROM_IJK),
    ],
)
def test_wrong_chain_is_refused_and_named(later: Transform, earlier: Transform) -> None:
    words = f"from {later.source.value} after a map into {earlier.target.value}"
    with pytest.raises(FrameError, match=words):
        later @ earlier


def test_inverse_swaps_frames_and_undoes() -> None:
    back = LPS_FROM_IJK.inverse
    assert (back.target, back.source) == (Frame.IMAGE_IJK, Frame.PATIENT_LPS)
    np.testing.assert_allclose(back.points([11, 22, 36]), [[2, 4, 6]])


@pytest.mark.parametrize(
    "matrix",
    [
        np.eye(3),
        np.diag([1.0, 1, 1, 2]),
        np.diag([1.0, 1, 0, 1]),
        np.diag([1.0, np.nan, 1, 1]),
        np.vstack((np.eye(4)[:3], [0, 0, 1, 1])),
    ],
    ids=["3x3", "last row", "flat", "nan", "perspective"],
)
def test_no_map_is_made_from_what_is_none(matrix: np.ndarray) -> None:
    with pytest.raises(InputError):
        Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PLANE)


def test_matrix_is_copied_and_read_only() -> None:
    given = np.eye(4)
    made = Transform(given, target=Frame.PATIENT_LPS, source=Frame.PLANE)
    given[0, 3] = 99
    assert made.matrix[0, 3] == 0
    with pytest.raises(ValueError, match="read-only"):
        made.matrix[0, 3] = 1


def test_mirror_and_stretch_are_not_rigid() -> None:
    def scaled(*factors: float) -> Transform:
        return Transform(np.diag([*factors, 1.0]), target=Frame.PATIENT_LPS, source=Frame.PLANE)

    assert scaled(1, 1, 1).is_rigid
    assert scaled(-1, -1, 1).is_rigid
    assert not scaled(-1, 1, 1).is_rigid
    assert not scaled(1, 1, 1.01).is_rigid


def test_rigid_frame_takes_axes_as_rows() -> None:
    # x of the vertebra along the patient's back, y along the right, z along the head
    lps_from_vertebra = rigid_frame(
        [1, 2, 3], [[0, 1, 0], [-1, 0, 0], [0, 0, 1]], source=Frame.VERTEBRA
    )
    np.testing.assert_allclose(lps_from_vertebra.points([10, 0, 0]), [[1, 12, 3]])
    np.testing.assert_allclose(lps_from_vertebra.points([0, 10, 0]), [[-9, 2, 3]])


@pytest.mark.parametrize(
    "axes", [np.diag([-1.0, 1, 1]), np.diag([1.0, 1, 2]), [[1, 0, 0], [0.1, 1, 0], [0, 0, 1]]]
)
def test_rigid_frame_refuses_mirrors_scales_and_shears(axes: np.ndarray) -> None:
    with pytest.raises(InputError, match="orthonormal and right-handed"):
        rigid_frame([0, 0, 0], axes, source=Frame.VERTEBRA)


def test_as_points() -> None:
    assert as_points([1, 2, 3]).shape == (1, 3)
    assert as_points(np.zeros((5, 3), np.float32)).dtype == np.float64
    for wrong in ([1, 2], np.zeros((2, 2)), np.zeros((2, 2, 3))):
        with pytest.raises(InputError, match="must have shape"):
            as_points(wrong)


def test_require_motion_takes_only_maps_within_the_patient() -> None:
    require_motion(Transform(np.eye(4), target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS))
    for wrong in (LPS_FROM_IJK, LPS_FROM_IJK.inverse, SCREEN_FROM_LPS):
        with pytest.raises(FrameError, match="only a map from patient-lps into patient-lps"):
            require_motion(wrong)
