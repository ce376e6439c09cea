"""Mutual information against a closed form, its derivative, and SimpleITK."""

from __future__ import annotations

import numpy as np
import pytest
import SimpleITK as sitk  # noqa: N813
from scipy import ndimage
from scipy.spatial.transform import Rotation

from vertebloc.alignment.refine import perturbed, prepare_moving, refine
from vertebloc.alignment.shared_information import Samples, bin_fixed, bin_moving, measure_match
from vertebloc.errors import InputError, NoSolutionError
from vertebloc.space.frames import Frame
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.transforms import Transform

STILL = Transform(np.eye(4), target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)


def on_grid(values: np.ndarray, mm: float = 1.5) -> Volume:
    matrix = np.diag([mm, mm, mm, 1.0])
    matrix[:3, 3] = -0.5 * mm * (np.array(values.shape) - 1.0)
    return Volume(Grid.from_matrix(values.shape, matrix), values)


def samples_of(volume: Volume, keep: float, rng: np.random.Generator) -> Samples:
    p = volume.grid.centres()
    inside = np.all(np.abs(p) < np.abs(p).max(axis=0) - 8.0, axis=1)
    chosen = np.flatnonzero(inside)
    chosen = chosen[rng.random(len(chosen)) < keep]
    values = np.asarray(volume.values, dtype=float).reshape(-1)
    low, high = np.percentile(values, (0.5, 99.5))
    return Samples(p[chosen], bin_fixed(values[chosen], low, high))


def blobs(rng: np.random.Generator, shape=(60, 64, 56)) -> np.ndarray:
    return ndimage.gaussian_filter(rng.normal(0.0, 1.0, shape), 3.0) * 100.0


@pytest.mark.parametrize("rho", [0.0, 0.6, 0.9])
def test_two_normal_images_share_what_the_closed_form_says(rho: float) -> None:
    """Closed form: -1/2 ln(1 - rho^2) for a bivariate normal.

    Tolerance: splines and boxes of 1/6 standard deviation blur rho a little, and the histogram
    adds about (31 x 31) / 2n = 0.002.
    """
    rng = np.random.default_rng(1)
    a, b = rng.normal(0.0, 1.0, (2, 64, 64, 64))
    b = rho * a + np.sqrt(1.0 - rho**2) * b
    volume = on_grid(a)
    samples = samples_of(volume, 1.0, rng)
    image = bin_moving(b, volume.grid.lps_from_ijk.inverse)
    match = measure_match(samples, image, STILL, np.zeros(3))
    assert match.inside == len(samples.points)
    assert match.nats == pytest.approx(-0.5 * np.log(1.0 - rho**2), abs=0.035)


def test_the_derivative_is_that_of_finite_differences(rng: np.random.Generator) -> None:
    a = blobs(rng)
    fixed = on_grid(a)
    samples = samples_of(fixed, 0.2, rng)
    image = bin_moving(np.abs(a).astype(np.float32), fixed.grid.lps_from_ijk.inverse)
    at = perturbed(STILL, np.zeros(3), np.array([1.1, -0.7, 0.4]), np.array([2.0, -1.0, 3.0]))
    centre = at.points([0.0, 0.0, 0.0])[0]
    match = measure_match(samples, image, at, centre)
    for axis in range(3):
        step = np.zeros(3)
        step[axis] = 0.01
        ends = []
        for sign in (1.0, -1.0):
            moved = np.eye(4)
            moved[:3, 3] = sign * step
            ends.append(_nats(samples, image, moved, at))
        assert match.pull[axis] == pytest.approx((ends[0] - ends[1]) / 0.02, abs=3e-4)
        ends = []
        for sign in (1.0, -1.0):
            turn = np.eye(4)
            turn[:3, :3] = Rotation.from_rotvec(sign * step * 0.05).as_matrix()
            turn[:3, 3] = centre - turn[:3, :3] @ centre
            ends.append(_nats(samples, image, turn, at))
        assert match.turn[axis] == pytest.approx((ends[0] - ends[1]) / 0.001, abs=6e-3)
    assert np.abs(match.pull).max() > 0.01 and np.abs(match.turn).max() > 0.1


def _nats(samples, image, step, at) -> float:
    moved = Transform(step, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS) @ at
    return measure_match(samples, image, moved, np.zeros(3)).nats


def test_a_known_motion_is_found_and_simpleitk_finds_the_same(rng: np.random.Generator) -> None:
    """SimpleITK's own Mattes registration from the same start, on the same two images."""
    a = blobs(rng)
    fixed = on_grid(a)
    truth = perturbed(STILL, np.zeros(3), np.array([2.5, -3.0, 1.5]), np.array([3.0, -4.0, 2.0]))
    moving_values = ndimage.map_coordinates(
        np.sqrt(np.abs(a)),
        fixed.grid.lps_from_ijk.inverse.points(truth.inverse.points(fixed.grid.centres())).T,
        order=3,
    ).reshape(a.shape)
    moving = Volume(fixed.grid, moving_values + rng.normal(0.0, 0.05, a.shape))
    samples = samples_of(fixed, 0.3, rng)
    found = refine(samples, prepare_moving(moving), STILL).moving_from_fixed
    p = rng.uniform(-25.0, 25.0, (100, 3))
    assert np.linalg.norm(found.points(p) - truth.points(p), axis=1).max() < 0.15
    theirs = _simpleitk(fixed, moving)
    other = np.array([theirs.TransformPoint(tuple(map(float, point))) for point in p])
    assert np.linalg.norm(other - truth.points(p), axis=1).max() < 0.5  # it converged too
    assert np.linalg.norm(found.points(p) - other, axis=1).max() < 0.5


def _simpleitk(fixed: Volume, moving: Volume) -> sitk.Transform:
    images = []
    for volume in (fixed, moving):
        image = sitk.GetImageFromArray(np.asarray(volume.values, dtype=np.float32).T.copy())
        image.SetSpacing(tuple(map(float, volume.grid.spacing_mm)))
        image.SetOrigin(tuple(map(float, volume.grid.lps_from_ijk.origin)))
        images.append(image)
    sitk.ProcessObject.SetGlobalDefaultNumberOfThreads(1)
    method = sitk.ImageRegistrationMethod()
    method.SetMetricAsMattesMutualInformation(32)
    method.SetInterpolator(sitk.sitkLinear)
    method.SetOptimizerAsRegularStepGradientDescent(1.0, 1e-4, 200)
    method.SetOptimizerScalesFromPhysicalShift()
    method.SetInitialTransform(sitk.Euler3DTransform(), inPlace=False)
    return method.Execute(*images)


def test_an_image_elsewhere_is_refused(rng: np.random.Generator) -> None:
    fixed = on_grid(blobs(rng))
    samples = samples_of(fixed, 0.1, rng)
    far = perturbed(STILL, np.zeros(3), np.array([500.0, 0.0, 0.0]), np.zeros(3))
    with pytest.raises(NoSolutionError, match=r"only 0 % of the vertebrae .* lie in the other"):
        refine(samples, prepare_moving(fixed), far)


def test_an_empty_image_is_refused() -> None:
    with pytest.raises(InputError, match=r"of one brightness \(7\): is it empty"):
        bin_moving(np.full((8, 8, 8), 7.0), on_grid(np.zeros((8, 8, 8))).grid.lps_from_ijk)
