"""The made-up CT and label map against the closed forms they are drawn from."""

import hashlib

import numpy as np
import pytest
import SimpleITK

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.made_up import default_grid, hounsfield_volume, label_map, lead_patient
from vertebloc.made_up.images import NOISE_HU
from vertebloc.made_up.spine import make_spine
from vertebloc.space.frames import Side
from vertebloc.space.grids import Grid

PATIENT = lead_patient()
T10 = Contour(Structure.VERTEBRA, Level("T10"))
TUMOUR, TRACT = Contour(Structure.TUMOUR), Contour(Structure.TRACT)
SAC, CORD = Contour(Structure.SAC), Contour(Structure.CORD)


def _grid(shape, spacing, origin):
    matrix = np.diag([*spacing, 1.0])
    matrix[:3, 3] = origin
    return Grid.from_matrix(shape, matrix)


#: around T10, symmetrical about the midsagittal plane
CROP = _grid((128, 120, 36), (0.75, 0.75, 1.5), (-47.625, -42.0, -27.0))


@pytest.fixture(scope="module")
def labels():
    return label_map(PATIENT, CROP)


@pytest.fixture(scope="module")
def ct():
    return hounsfield_volume(PATIENT, CROP, np.random.default_rng(20))


def _mask(found, contour):
    return np.isin(found.volume.values, found.values_of(contour))


def _inside(contour, grid):
    pieces = np.array_split(grid.centres(), 200)
    solid = PATIENT.solids[contour]
    found = np.concatenate([solid.signed_distance_mm(piece) for piece in pieces])
    return (found < 0.0).reshape(grid.shape)


@pytest.mark.parametrize(
    "contour", [TUMOUR, TRACT, *(pytest.param(c, marks=pytest.mark.slow) for c in (SAC, CORD))]
)
def test_upper_labels_hold_exactly_the_voxels_whose_centre_lies_within(labels, contour):
    """Every voxel asked one by one, without the blocks that save time."""
    expected = _inside(contour, CROP)
    if contour is not TRACT:
        expected &= ~_inside(TRACT, CROP) | _inside(TUMOUR, CROP)
    assert np.array_equal(_mask(labels, contour), expected)


@pytest.mark.slow
def test_bone_keeps_the_voxels_that_tumour_takes(labels):
    bone, tumour, tract = (_inside(c, CROP) for c in (T10, TUMOUR, TRACT))
    assert np.array_equal(_mask(labels, T10), bone)
    both = [v for v, named in labels.names.items() if set(named) == {T10, TUMOUR}]
    assert np.array_equal(np.isin(labels.volume.values, both), bone & tumour & ~tract)
    assert labels.names[both[0]][0] == T10  # the bone first, the tumour beside it
    rib = Contour(Structure.RIB, Level("T10"), Side.LEFT)
    assert np.any(_mask(labels, rib) & _mask(labels, TUMOUR))
    assert not np.any(_mask(labels, SAC) & _mask(labels, TUMOUR))


def test_cord_voxels_are_sac_too(labels):
    cord, sac = _mask(labels, CORD), _mask(labels, SAC)
    assert cord.any() and np.all(sac[cord]) and np.any(sac & ~cord)


def test_numbers_run_from_one_without_gaps_and_every_number_has_a_name(labels):
    assert sorted(labels.names) == list(range(1, len(labels.names) + 1))
    assert set(np.unique(labels.volume.values)) <= {0, *labels.names}


def test_tumour_volume_from_voxels_and_from_random_points(labels):
    """Five standard errors of the random points, plus what voxels of 1.1 mm may miss."""
    solid = PATIENT.solids[TUMOUR]
    low, high = solid.bounds_mm()
    p = np.random.default_rng(3).uniform(low, high, (200_000, 3))
    share = (solid.signed_distance_mm(p) < 0.0).mean()
    whole = float(np.prod(high - low))
    error = 5.0 * whole * np.sqrt(share * (1.0 - share) / len(p))
    voxels = float(_mask(labels, TUMOUR).sum()) * CROP.voxel_volume_mm3
    assert voxels == pytest.approx(share * whole, abs=error + 0.002 * share * whole)


@pytest.mark.slow
def test_closed_form_distance_against_an_outside_distance_map():
    """SimpleITK measures to voxel centres: off by at most one voxel's diagonal, never more."""
    grid = _grid((120, 110, 70), (0.6, 0.6, 0.6), (-15.0, -28.0, -25.0))
    inside = _inside(TUMOUR, grid)
    image = SimpleITK.GetImageFromArray(inside.transpose(2, 1, 0).astype(np.uint8))
    image.SetSpacing((0.6, 0.6, 0.6))
    maurer = SimpleITK.SignedMaurerDistanceMap(
        image, insideIsPositive=False, squaredDistance=False, useImageSpacing=True
    )
    theirs = SimpleITK.GetArrayFromImage(maurer).transpose(2, 1, 0)
    solid = PATIENT.solids[TUMOUR]
    ours = np.concatenate(
        [solid.signed_distance_mm(q) for q in np.array_split(grid.centres(), 100)]
    ).reshape(grid.shape)
    outside = ours > 0.0  # a union is exact there
    assert np.abs(ours - theirs)[outside].max() < 0.6 * np.sqrt(3.0)
    assert abs((theirs - ours)[outside].mean()) < 0.6


@pytest.mark.parametrize("flip", [False, True])
def test_oblique_and_left_handed_grids_are_drawn_where_they_lie(flip):
    turn = np.array([[0.0, 0.8, 0.6], [1.0, 0.0, 0.0], [0.0, 0.6, -0.8]])
    matrix = np.eye(4)
    matrix[:3, :3] = turn * [-1.5 if flip else 1.5, 1.5, 2.0]
    matrix[:3, 3] = np.array([8.0, 2.0, 0.0]) - matrix[:3, :3] @ [22.0, 22.0, 15.0]
    grid = Grid.from_matrix((45, 45, 31), matrix)
    drawn = label_map(PATIENT, grid)
    assert np.array_equal(_mask(drawn, T10), _inside(T10, grid))
    assert _mask(drawn, T10).sum() > 1000


@pytest.mark.slow
def test_twin_voxels_are_the_exact_mirror(labels, ct):
    twin = PATIENT.mirrored()
    other = label_map(twin, CROP)
    assert np.array_equal(other.volume.values, labels.volume.values[::-1])
    for value, named in labels.names.items():
        for mine, theirs in zip(named, other.names[value], strict=True):
            assert mine.structure is theirs.structure and mine.level == theirs.level
            assert theirs.side is (mine.side.other if mine.side else None)
    seen = hounsfield_volume(twin, CROP, np.random.default_rng(20))
    assert np.array_equal(seen.values, ct.values[::-1])
    # and the twin's labels agree with the twin's own solids, not only with the flipped array
    points = CROP.centres()
    tumour = np.concatenate(
        [twin.solids[TUMOUR].signed_distance_mm(q) for q in np.array_split(points, 200)]
    )
    assert np.array_equal(_mask(other, TUMOUR).ravel(), tumour < 0.0)


@pytest.mark.parametrize(
    ("contour", "low", "high"),
    [
        (TUMOUR, 60.0, 110.0),
        (Contour(Structure.AORTA), 150.0, 220.0),
        (Contour(Structure.MUSCLE, side=Side.RIGHT), 40.0, 70.0),
        (Contour(Structure.LUNG, side=Side.RIGHT), -860.0, -800.0),
    ],
)
def test_tissues_have_their_usual_densities(labels, ct, contour, low, high):
    """Deep voxels only: 2 mm and more under the surface, where no neighbour blurs in."""
    deep = [v for v in labels.values_of(contour) if labels.names[v] == (contour,)]
    points = np.argwhere(np.isin(labels.volume.values, deep))
    points = points[np.random.default_rng(4).permutation(len(points))[:4000]]
    depth = PATIENT.solids[contour].signed_distance_mm(CROP.lps_from_ijk.points(points))
    found = ct.values[tuple(points[depth < -2.2].T)]
    assert len(found) > 200
    assert low < np.median(found) < high


def test_cortex_is_denser_than_spongy_bone_and_noise_is_as_stated(labels, ct):
    points = np.argwhere(_mask(labels, T10))
    lps = CROP.lps_from_ijk.points(points)
    for other in (TUMOUR, TRACT):  # and what its blur reaches
        clear = PATIENT.solids[other].signed_distance_mm(lps) > 2.5
        points, lps = points[clear], lps[clear]
    depth = -PATIENT.solids[T10].signed_distance_mm(lps)
    hu = ct.values[tuple(points.T)].astype(float)
    shell, core = hu[(depth > 0.5) & (depth < 0.9)], hu[depth > 4.0]
    assert shell.mean() > 500.0 > 230.0 > core.mean() > 150.0
    assert core.std() == pytest.approx(NOISE_HU, rel=0.1)


def test_canal_is_open_and_the_ring_closed_around_it():
    """At the height of the pedicles bone lies all round the sac; along the canal none."""
    solid = PATIENT.solids[T10]
    own = make_spine().vertebrae[Level("T10")]
    shape = own.shape
    middle = np.array([0.0, shape.canal_middle_mm, shape.pedicle_z_mm])
    for angle in np.linspace(0.0, 2.0 * np.pi, 60, endpoint=False):
        out = np.array([np.cos(angle), np.sin(angle), 0.0])
        ray = own.at(middle + np.linspace(0.0, 16.0, 80)[:, None] * out)
        assert np.any(solid.signed_distance_mm(ray) < 0.0), np.degrees(angle)
    along = own.at(middle + np.linspace(-30.0, 30.0, 120)[:, None] * [0.0, 0.0, 1.0])
    assert np.all(solid.signed_distance_mm(along) > 5.0)


@pytest.mark.slow
def test_same_seed_same_bytes_and_another_seed_others(ct):
    again = hounsfield_volume(PATIENT, CROP, np.random.default_rng(20))
    assert np.array_equal(again.values, ct.values)
    other = hounsfield_volume(PATIENT, CROP, np.random.default_rng(21))
    assert not np.array_equal(other.values, ct.values)


@pytest.mark.slow
def test_bytes_are_those_once_looked_at(ct):
    """Frozen when the pictures were looked at; made by this package itself.

    Anew since roots, segmental vessels, oesophagus and cava were added: every older structure
    kept its voxels.
    """
    coarse = _grid((128, 128, 95), (2.0, 2.0, 2.0), (-127.0, -164.0, -93.5))
    whole = label_map(PATIENT, coarse).volume.values
    assert hashlib.sha256(whole.tobytes()).hexdigest() == LABELS_SHA256
    assert hashlib.sha256(ct.values.tobytes()).hexdigest() == CT_SHA256


LABELS_SHA256 = "051ec1f13a66702be167488de1564de43a47bdaef67653700fe8ca335d4921c9"
CT_SHA256 = "6e080eeeb3ce55960e7cc920bf6b11782fd5daf21ff1b3bc62ae6e0089a95989"


def test_default_grid_is_symmetrical_and_holds_the_spine():
    grid = default_grid(PATIENT)
    assert grid.shape == (512, 512, 190)
    assert grid.spacing_mm == pytest.approx([0.5, 0.5, 1.0])
    x = grid.lps_from_ijk.points([[0, 0, 0], [511, 0, 0]])[:, 0]
    assert x[0] == -x[1]
    for solid in (*PATIENT.of(Structure.VERTEBRA).values(), PATIENT.solids[TUMOUR]):
        low, high = solid.bounds_mm()
        assert grid.contains([low + 4.0, high - 4.0]).all()
