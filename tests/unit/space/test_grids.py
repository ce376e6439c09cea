"""Grids in four orientations: as NIfTI (RAS, LAS), as DICOM (LPS), and turned off every axis."""

import nibabel
import numpy as np
import pytest
import SimpleITK as sitk  # noqa: N813

from vertebloc.errors import FrameError, InputError
from vertebloc.space.frames import Frame
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.transforms import Transform

SHAPE = (5, 7, 9)
SPACING_MM = (0.7, 0.8, 2.5)
ORIGIN = (-30.0, 12.0, 100.0)


def oblique_directions() -> np.ndarray:
    """Directions turned about all three axes, made by SimpleITK and not by us."""
    turn = sitk.Euler3DTransform()
    turn.SetRotation(0.4, -0.3, 0.7)
    return np.array(turn.GetMatrix()).reshape(3, 3)


#: index axes as columns, patient LPS. RAS: i right, j front; LAS: i left, j front.
DIRECTIONS = {
    "RAS": np.diag([-1.0, -1.0, 1.0]),
    "LAS": np.diag([1.0, -1.0, 1.0]),
    "LPS": np.eye(3),
    "oblique": oblique_directions(),
}


def matrix_of(name: str) -> np.ndarray:
    matrix = np.eye(4)
    matrix[:3, :3] = DIRECTIONS[name] * SPACING_MM
    matrix[:3, 3] = ORIGIN
    return matrix


@pytest.fixture(params=DIRECTIONS)
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def grid(name: str) -> Grid:
    return Grid.from_matrix(SHAPE, matrix_of(name))


def test_voxels_lie_where_simpleitk_puts_them(grid: Grid, name: str) -> None:
    if name == "LAS":
        # SimpleITK refuses left-handed directions in some writers but maps points all the same
        assert np.linalg.det(DIRECTIONS[name]) < 0
    image = sitk.Image(list(SHAPE), sitk.sitkUInt8)
    image.SetSpacing(SPACING_MM)
    image.SetOrigin(ORIGIN)
    image.SetDirection(DIRECTIONS[name].ravel().tolist())
    for index in ((0, 0, 0), (4, 0, 0), (0, 6, 0), (0, 0, 8), (2, 3, 4)):
        expected = image.TransformIndexToPhysicalPoint(index)
        np.testing.assert_allclose(grid.lps_from_ijk.points(index)[0], expected, atol=1e-9)


def test_orientation_letters_agree_with_nibabel(grid: Grid, name: str) -> None:
    ras_from_lps = np.diag([-1.0, -1, 1, 1])
    letters = "".join(nibabel.aff2axcodes(ras_from_lps @ grid.lps_from_ijk.matrix))
    # the oblique one is named after its nearest axes
    assert letters == {"oblique": "LPS"}.get(name, name)


def test_spacing_and_volume_do_not_depend_on_orientation(grid: Grid) -> None:
    np.testing.assert_allclose(grid.spacing_mm, SPACING_MM)
    assert grid.voxel_volume_mm3 == pytest.approx(0.7 * 0.8 * 2.5)
    assert not grid.is_sheared


def test_centres_run_k_fastest_and_end_at_the_corners(grid: Grid) -> None:
    centres = grid.centres()
    assert len(centres) == 5 * 7 * 9
    np.testing.assert_allclose(centres[1], grid.lps_from_ijk.points([0, 0, 1])[0])
    np.testing.assert_allclose(centres[9], grid.lps_from_ijk.points([0, 1, 0])[0])
    np.testing.assert_allclose(centres[63], grid.lps_from_ijk.points([1, 0, 0])[0])
    corners = grid.corners()
    np.testing.assert_allclose(corners[0], ORIGIN)
    np.testing.assert_allclose(corners[1], grid.lps_from_ijk.points([0, 0, 8])[0])
    np.testing.assert_allclose(corners[2], grid.lps_from_ijk.points([0, 6, 0])[0])
    np.testing.assert_allclose(corners[-1], centres[-1])


def test_contains_reaches_half_a_voxel_beyond_the_outer_centres(grid: Grid) -> None:
    inside = [[-0.49, -0.49, -0.49], [4.49, 6.49, 8.49], [2, 3, 4]]
    outside = [[-0.51, 0, 0], [0, 6.51, 0], [0, 0, 8.51], [4.51, 6, 8]]
    assert grid.contains(grid.lps_from_ijk.points(inside)).all()
    assert not grid.contains(grid.lps_from_ijk.points(outside)).any()


def test_crop_keeps_every_voxel_in_its_place(grid: Grid) -> None:
    part = grid.crop((1, 2, 3), (4, 6, 9))
    assert part.shape == (3, 4, 6)
    np.testing.assert_allclose(
        part.lps_from_ijk.points([2, 3, 5]), grid.lps_from_ijk.points([3, 5, 8])
    )


def test_a_box_beyond_the_grid_stays_on_the_lattice(grid: Grid) -> None:
    wider = grid.crop((-2, 0, -1), (6, 7, 9))
    assert wider.shape == (8, 7, 10)
    np.testing.assert_allclose(wider.lps_from_ijk.points([2, 0, 1])[0], ORIGIN)


def test_an_empty_box_is_refused(grid: Grid) -> None:
    with pytest.raises(InputError, match="three sizes of at least 1"):
        grid.crop((2, 0, 0), (2, 3, 3))


def test_a_tilted_stack_is_seen() -> None:
    # gantry tilt of 10 degrees: rows stay, slices slide by tan(10 deg) * 2.5 mm = 0.441 mm
    matrix = matrix_of("LPS")
    matrix[1, 2] = 0.441
    assert Grid.from_matrix(SHAPE, matrix).is_sheared


def test_grid_refuses_no_voxels_and_the_wrong_map() -> None:
    with pytest.raises(InputError, match="three sizes"):
        Grid.from_matrix((0, 1, 1), np.eye(4))
    with pytest.raises(InputError, match="three sizes"):
        Grid.from_matrix((3, 3), np.eye(4))  # type: ignore[arg-type]
    other_way = Transform(np.eye(4), target=Frame.IMAGE_IJK, source=Frame.PATIENT_LPS)
    with pytest.raises(FrameError, match="lps_from_ijk"):
        Grid((1, 1, 1), other_way)


def test_volume_hands_out_a_read_only_view_that_fits(grid: Grid) -> None:
    values = np.zeros(SHAPE, np.int16)
    volume = Volume(grid, values)
    assert np.shares_memory(volume.values, values)
    with pytest.raises(ValueError, match="read-only"):
        volume.values[0, 0, 0] = 1
    with pytest.raises(InputError, match="must agree"):
        Volume(grid, values.transpose())
