"""The fit of point pairs against a known answer and SciPy; the error formula by simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from vertebloc.alignment import fit_landmarks, target_error_mm
from vertebloc.errors import InputError

SQUARE = np.array([[50.0, 50, 0], [50, -50, 0], [-50, 50, 0], [-50, -50, 0]])


def test_a_quarter_turn_by_hand() -> None:
    """By hand: a quarter turn about z takes (x, y) to (-y, x); then 10 mm to the left."""
    fit = fit_landmarks(
        [[1.0, 0, 0], [0, 20, 0], [0, 0, 30], [10, 10, 10]],
        [[10.0, 1, 0], [-10, 0, 0], [10, 0, 30], [0, 10, 10]],
    )
    assert fit.moving_from_fixed.matrix == pytest.approx(
        np.array([[0, -1, 0, 10], [1, 0, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1.0]]), abs=1e-12
    )
    assert fit.rms_mm == pytest.approx(0.0, abs=1e-12)


def test_noisy_pairs_fit_as_scipys_independent_solution(rng: np.random.Generator) -> None:
    """scipy.spatial.transform.Rotation.align_vectors solves the rotation on its own."""
    a = rng.uniform(-40.0, 40.0, (7, 3))
    turn = Rotation.from_rotvec([0.2, -0.4, 0.9])
    b = turn.apply(a) + np.array([5.0, -8.0, 12.0]) + rng.normal(0.0, 1.5, (7, 3))
    fit = fit_landmarks(a, b)
    theirs, left = Rotation.align_vectors(b - b.mean(axis=0), a - a.mean(axis=0))
    assert fit.moving_from_fixed.matrix[:3, :3] == pytest.approx(theirs.as_matrix(), abs=1e-9)
    assert fit.rms_mm * np.sqrt(7.0) == pytest.approx(left, abs=1e-9)


def test_mirrored_points_give_no_mirror_image(rng: np.random.Generator) -> None:
    a = rng.uniform(-40.0, 40.0, (6, 3))
    fit = fit_landmarks(a, a * [-1.0, 1.0, 1.0])
    assert np.linalg.det(fit.moving_from_fixed.matrix[:3, :3]) == pytest.approx(1.0)
    assert fit.rms_mm > 5.0  # and it says so


def test_the_target_error_of_the_worked_example() -> None:
    """Worked by hand: f^2 = 2500, 2500, 5000; d^2 = 100^2, 100^2, 0; sum of ratios 8.

    sqrt((1 + 8/3) / 4) = 0.95743; Fitzpatrick, West, Maurer 1998, formula quoted from memory.
    """
    assert target_error_mm(SQUARE, [0.0, 0.0, 100.0], 1.0) == pytest.approx(0.95743, abs=1e-5)


def test_the_target_error_by_simulation() -> None:
    """5,000 draws: 1 mm error per pair (1/sqrt(3) an axis); the rms error at the target."""
    rng = np.random.default_rng(11)
    target = np.array([[0.0, 0.0, 100.0]])
    errors, left = [], []
    for _ in range(5_000):
        fit = fit_landmarks(SQUARE, SQUARE + rng.normal(0.0, 1.0 / np.sqrt(3.0), (4, 3)))
        errors.append(np.sum((fit.moving_from_fixed.points(target) - target) ** 2))
        left.append(fit.rms_mm**2)
    # the mean of 5,000 squares errs by 1.4 %, so its root by 0.7 %: 2 % is three of them
    assert np.sqrt(np.mean(errors)) == pytest.approx(0.95743, rel=0.02)
    assert np.mean(left) == pytest.approx(0.5, rel=0.045)  # <FRE^2> = (1 - 2/4) <FLE^2>


def test_an_uneven_set_of_points_by_simulation() -> None:
    """The same for six uneven points and a target beside them: no symmetry helps."""
    rng = np.random.default_rng(12)
    points = rng.uniform(-30.0, 30.0, (6, 3)) * [1.0, 0.5, 1.4]
    target = np.array([[12.0, -35.0, 40.0]])
    errors = []
    for _ in range(5_000):
        fit = fit_landmarks(points, points + rng.normal(0.0, 0.8 / np.sqrt(3.0), (6, 3)))
        errors.append(np.sum((fit.moving_from_fixed.points(target) - target) ** 2))
    assert np.sqrt(np.mean(errors)) == pytest.approx(
        target_error_mm(points, target[0], 0.8), rel=0.025
    )


def test_the_error_told_for_a_fit_follows_its_residuals(rng: np.random.Generator) -> None:
    noisy = SQUARE + rng.normal(0.0, 1.0, (4, 3))
    fit = fit_landmarks(SQUARE, noisy)
    click = fit.rms_mm / np.sqrt(0.5)
    assert fit.click_error_mm == pytest.approx(click)
    assert fit.error_at_mm([0.0, 0.0, 100.0]) == pytest.approx(0.95743 * click, rel=1e-4)


@pytest.mark.parametrize(
    ("a", "b", "match"),
    [
        (SQUARE[:2], SQUARE[:2], "at least 3 pairs of points are needed, got 2"),
        (SQUARE, SQUARE[:3], "points come in pairs, got 4 in one image, 3 in the other"),
        (
            [[0.0, 0, 0], [0, 0, 10], [0, 0, 25], [1, 0, 40]],
            SQUARE,
            "the points in the CT lie on one line .* add a point",
        ),
    ],
)
def test_points_that_fix_nothing_are_refused(a, b, match: str) -> None:
    with pytest.raises(InputError, match=match):
        fit_landmarks(a, b)
