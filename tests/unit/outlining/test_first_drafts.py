"""Parts of the first drafts against SimpleITK, SciPy and closed forms."""

import numpy as np
import pytest
import SimpleITK
from scipy import ndimage, sparse
from scipy.sparse.csgraph import dijkstra

from vertebloc.errors import InputError
from vertebloc.outlining.first_drafts._kernels import grow
from vertebloc.outlining.first_drafts.aorta import draft_vessel
from vertebloc.outlining.first_drafts.box import cut_box, on_grid
from vertebloc.outlining.first_drafts.discs import _chain, disc_score
from vertebloc.outlining.first_drafts.sheets import smoothest_sheet
from vertebloc.outlining.first_drafts.skeleton import draft_bone
from vertebloc.outlining.first_drafts.soft import draft_lung, draft_skin
from vertebloc.space.grids import Grid, Volume


def volume(values: np.ndarray, spacing: tuple[float, float, float]) -> Volume:
    grid = Grid.from_matrix(values.shape, np.diag([*spacing, 1.0]))
    return Volume(grid, values.astype(np.int16))


def places(shape: tuple[int, int, int], spacing: tuple[float, float, float]) -> np.ndarray:
    return np.indices(shape).transpose(1, 2, 3, 0) * np.array(spacing)


@pytest.mark.parametrize("flip", [1.0, -1.0])
def test_a_box_holds_what_simpleitk_resamples(rng: np.random.Generator, flip: float) -> None:
    """Left-handed and right-handed grids; ResampleImageFilter with linear interpolation."""
    values = ndimage.gaussian_filter(rng.normal(0.0, 900.0, (20, 24, 16)), 1.5).astype(np.int16)
    spacing, origin = np.array([0.7, 0.8, 2.5]), np.array([10.0, -20.0, 30.0])
    matrix = np.diag([*(spacing * [flip, 1.0, 1.0]), 1.0])
    matrix[:3, 3] = origin
    grid = Grid.from_matrix(values.shape, matrix)
    ends = grid.corners()
    box = cut_box(Volume(grid, values), ends.min(axis=0), ends.max(axis=0), 0.75)
    image = SimpleITK.GetImageFromArray(values.astype(np.float32).transpose(2, 1, 0))
    image.SetSpacing(spacing.tolist())
    image.SetOrigin(origin.tolist())
    image.SetDirection([flip, 0, 0, 0, 1, 0, 0, 0, 1])
    found = SimpleITK.Resample(
        image, box.grid.shape, SimpleITK.Transform(), SimpleITK.sitkLinear,
        box.grid.lps_from_ijk.origin.tolist(), [0.75] * 3, [1, 0, 0, 0, 1, 0, 0, 0, 1],
        -1024.0,
    )  # fmt: skip
    theirs = SimpleITK.GetArrayFromImage(found).transpose(2, 1, 0)
    inner = (slice(1, -1),) * 3
    assert np.abs(box.values[inner] - theirs[inner]).max() < 0.02  # float32


def test_a_box_outside_the_images_is_refused() -> None:
    ct = volume(np.zeros((8, 8, 8)), (1.0, 1.0, 1.0))
    with pytest.raises(InputError, match="outside the images"):
        cut_box(ct, [100.0, 0.0, 0.0], [120.0, 8.0, 8.0], 1.0)


def test_a_draft_comes_back_on_the_same_voxels() -> None:
    share = np.zeros((12, 12, 12), dtype=np.float32)
    share[3:7, 4:9, 2:6] = 1.0
    grid = Grid.from_matrix((12, 12, 12), np.eye(4))
    back = on_grid(Volume(grid, share), grid)
    assert back.values.sum() == 4 * 5 * 4
    np.testing.assert_allclose(back.grid.lps_from_ijk.points(np.argwhere(back.values)[0])[0],
                               [3.0, 4.0, 2.0])  # fmt: skip


def test_seeds_arrive_when_dijkstra_says(rng: np.random.Generator) -> None:
    """SciPy's shortest paths on the same graph of 18 neighbours."""
    cost = rng.uniform(0.5, 5.0, (6, 7, 5)).astype(np.float32)
    cost[rng.random(cost.shape) < 0.15] = 0.0
    seeds = np.zeros(cost.shape, dtype=np.int32)
    first, second = np.argwhere(cost > 0)[[0, -1]]
    seeds[tuple(first)], seeds[tuple(second)] = 1, 2
    arrival, owner, _ = grow(cost, seeds, np.zeros(3, dtype=np.float32))
    rows, columns, weights = [], [], []
    for p in np.argwhere(cost > 0):
        for step in np.argwhere(np.ones((3, 3, 3))) - 1:
            q = p + step
            if not 1 <= np.abs(step).sum() <= 2 or np.any(q < 0) or np.any(q >= cost.shape):
                continue
            if cost[tuple(q)] > 0:
                rows.append(np.ravel_multi_index(tuple(p), cost.shape))
                columns.append(np.ravel_multi_index(tuple(q), cost.shape))
                far = np.sqrt(np.abs(step).sum())
                weights.append(far * 0.5 * float(cost[tuple(p)] + cost[tuple(q)]))
    graph = sparse.csr_matrix((weights, (rows, columns)), shape=(cost.size, cost.size))
    starts = [np.ravel_multi_index(tuple(p), cost.shape) for p in (first, second)]
    theirs = dijkstra(graph, indices=starts)
    inside = (cost > 0).ravel()
    np.testing.assert_allclose(arrival.ravel()[inside], theirs.min(axis=0)[inside], rtol=1e-5)
    reached = inside & np.isfinite(theirs.min(axis=0))
    assert np.all(owner.ravel()[reached] == theirs.argmin(axis=0)[reached] + 1)


def test_a_sheet_follows_an_ellipse_through_noise_and_past_a_gap(rng: np.random.Generator) -> None:
    """Closed form: the ellipse's radius; on a third of the rays of some rings there is no sign."""
    angle = 2.0 * np.pi * np.arange(72) / 72
    true = 18.0 / np.sqrt(np.cos(angle) ** 2 + (0.8 * np.sin(angle)) ** 2)
    samples = np.arange(40)
    cost = -np.exp(-0.5 * ((samples - true[:, None]) / 1.5) ** 2)
    cost = np.repeat(cost[None], 12, axis=0) + rng.normal(0.0, 0.1, (12, 72, 40))
    cost[3:9, 20:30] = 0.0
    found = smoothest_sheet(cost, 0.1)
    assert np.abs(found - true).max() < 2.0
    assert np.abs(found - true).mean() < 0.4


@pytest.mark.parametrize(("spongy", "disc"), [(190.0, 70.0), (110.0, 190.0)])
def test_discs_are_found_darker_or_brighter_than_bodies(spongy: float, disc: float) -> None:
    """Made profile: bodies of 18 mm, endplates of 320 HU, discs of 4 mm, every 24 mm."""
    s = np.arange(0.0, 200.0)
    middles = np.arange(12.0, 200.0, 24.0)
    off = np.abs(s[:, None] - middles).min(axis=1)
    profile = np.where(off <= 2.0, disc, np.where(off <= 4.0, 320.0, spongy))
    found = _chain(s, disc_score(ndimage.gaussian_filter1d(profile, 1.0)))
    inner = middles[(middles > 5.0) & (middles < 195.0)]
    assert len(found) == len(inner)
    # the plane is settled afterwards over 4 mm either way
    assert np.abs(np.array(found) - inner).max() < 3.0


def test_a_vessel_has_the_volume_of_its_tube() -> None:
    """Closed form: pi r^2 L of blood of 300 HU; the wall of 1 mm (assumed) is drawn around it."""
    shape, spacing = (70, 70, 60), (1.0, 1.0, 2.0)
    where = places(shape, spacing)
    far = np.hypot(where[..., 0] - 35.0, where[..., 1] - 35.0)
    ct = volume(40.0 + 260.0 * np.clip(10.5 - far, 0.0, 1.0), spacing)
    found = draft_vessel(ct, [35.0, 34.0, 20.0], [36.0, 35.0, 100.0])
    wanted = np.pi * 11.0**2 * 80.0
    assert found.values.sum() * 2.0 == pytest.approx(wanted, rel=0.07)
    with pytest.raises(InputError, match="differ too much"):
        draft_vessel(ct, [35.0, 34.0, 20.0], [5.0, 5.0, 100.0])


def test_an_arch_is_followed_past_a_bright_neighbour_behind_a_thin_wall() -> None:
    """A hook of 11 mm radius about a ball as bright, 2 mm of wall between them; by Pappus.

    The straight way through the ball is 64 mm long, that round the hook some 270.
    """
    shape, spacing = (64, 36, 100), (2.0, 2.0, 2.0)
    where = places(shape, spacing)
    x, y, z = where[..., 0] - 64.0, where[..., 1] - 36.0, where[..., 2] - 120.0
    ring = np.hypot(np.hypot(x, np.maximum(z, 0.0)) - 32.0, y)
    ring = np.where(z < 0.0, np.hypot(np.abs(x) - 32.0, y), ring)
    ball = np.sqrt(x**2 + y**2 + (z + 45.0) ** 2)
    values = np.where(ring < 11.0, 320.0, np.where((ring > 13.0) & (ball < 34.0), 330.0, 30.0))
    ct = volume(ndimage.gaussian_filter(values, 0.4), spacing)
    found = draft_vessel(ct, [32.0, 36.0, 30.0], [96.0, 36.0, 30.0])
    wanted = np.pi * 12.0**2 * (np.pi * 32.0 + 2.0 * 90.0)  # the wall of 1 mm with it
    assert found.values.sum() * 8.0 == pytest.approx(wanted, rel=0.15)
    high = found.grid.lps_from_ijk.points(np.argwhere(found.values))[:, 2].max()
    assert high > 120.0 + 32.0 + 4.0  # the top of the arch, of 164 mm: voxels of 2 mm, smoothed


def test_contrast_is_no_bone_and_bone_is() -> None:
    """A tube of 300 HU beside a bone of 150 HU with a cortex of 600 HU, 2 mm of fat between."""
    shape, spacing = (90, 60, 40), (1.0, 1.0, 1.0)
    where = places(shape, spacing)
    tube = np.hypot(where[..., 0] - 25.0, where[..., 1] - 30.0) < 12.0
    bone = np.hypot(where[..., 0] - 55.0, where[..., 1] - 30.0) < 16.0
    core = np.hypot(where[..., 0] - 55.0, where[..., 1] - 30.0) < 14.0
    values = np.full(shape, -60.0)
    values[tube], values[bone], values[core] = 300.0, 600.0, 190.0
    ct = volume(ndimage.gaussian_filter(values, 0.6), spacing)
    found = draft_bone(ct, [55.0, 30.0, 20.0])
    mask = np.zeros(shape, dtype=bool)
    start = np.rint(found.grid.lps_from_ijk.origin).astype(int)
    mask[tuple(slice(a, a + n) for a, n in zip(start, found.values.shape, strict=True))] = (
        found.values
    )
    assert (mask & tube).sum() < 0.02 * tube.sum()
    assert (mask & bone).sum() > 0.95 * bone.sum()
    with pytest.raises(InputError, match="no bone"):
        draft_bone(ct, [25.0, 30.0, 20.0])


def chest() -> tuple[Volume, np.ndarray, np.ndarray]:
    shape, spacing = (110, 80, 50), (2.0, 2.0, 2.0)
    where = places(shape, spacing)
    person = np.hypot((where[..., 0] - 110.0) / 95.0, (where[..., 1] - 80.0) / 65.0) < 1.0
    values = np.full(shape, -1000.0)
    values[person] = 40.0
    lungs = []
    for x in (65.0, 155.0):
        off = (where - np.array([x, 80.0, 50.0])) / np.array([32.0, 42.0, 40.0])
        lungs.append(np.linalg.norm(off, axis=-1) < 1.0)
        values[lungs[-1]] = -850.0
    return volume(values, spacing), lungs[0], person


def test_one_lung_is_drafted_and_no_air_around() -> None:
    ct, lung, _ = chest()
    found = draft_lung(ct, [65.0, 80.0, 50.0])
    assert found.values.sum() == pytest.approx(lung.sum(), rel=0.06)
    middle = found.grid.lps_from_ijk.points(np.argwhere(found.values)).mean(axis=0)
    np.testing.assert_allclose(middle, [65.0, 80.0, 50.0], atol=1.0)
    with pytest.raises(InputError, match="no lung"):
        draft_lung(ct, [110.0, 80.0, 50.0])


def test_skin_is_a_layer_under_the_air() -> None:
    ct, _, person = chest()
    found = draft_skin(ct, [110.0, 16.0, 50.0])
    inside = found.grid.lps_from_ijk.points(np.argwhere(found.values)) / 2.0
    index = np.rint(inside).astype(int)
    assert person[tuple(index.T)].mean() > 0.98
    depth = ndimage.distance_transform_edt(np.pad(person, 1, mode="edge"))[1:-1, 1:-1, 1:-1] * 2.0
    assert depth[tuple(index.T)].max() <= 6.0
    with pytest.raises(InputError, match="in the air"):
        draft_skin(ct, [2.0, 2.0, 50.0])
