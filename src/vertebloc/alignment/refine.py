"""From a start near enough to the place where two images share most information."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from vertebloc.alignment.shared_information import (
    BinnedImage,
    Match,
    Samples,
    bin_moving,
    measure_match,
    smooth,
)
from vertebloc.errors import NoSolutionError
from vertebloc.space.frames import Frame
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Transform

#: blur of the moving image at each step from coarse to fine, mm (assumed; the pair of made-up
#: images is found again from 10 mm and 8 degrees with them)
BLURS_MM = (3.0, 0.6)
_ARM_MM = 35.0  #: a turn is counted as the shift that it makes at this distance
_LEAST_SHARE = 0.25  #: of the points must lie in the moving image
_MOST_STEPS = 60
_COARSE_POINTS = 6_000  #: enough for the blurred image


@dataclass(frozen=True, slots=True, eq=False)
class Moving:
    """The image that is laid on the CT, from coarse to fine."""

    volume: Volume
    levels: tuple[BinnedImage, ...]

    @property
    def finest(self) -> BinnedImage:
        """Its least blurred form."""
        return self.levels[-1]


@dataclass(frozen=True, slots=True, eq=False)
class Refined:
    """Where the search ended."""

    moving_from_fixed: Transform
    match: Match


def prepare_moving(volume: Volume) -> Moving:
    """Blur the moving image for the steps of the search.

    Parameters
    ----------
    volume : Volume
        Any unit.

    Returns
    -------
    Moving
        With its brightness in bins.
    """
    inverse = volume.grid.lps_from_ijk.inverse
    return Moving(volume, tuple(bin_moving(smooth(volume, mm), inverse) for mm in BLURS_MM))


def refine(
    samples: Samples, moving: Moving, start: Transform, *, levels: Sequence[int] = (0, 1)
) -> Refined:
    """Climb to the nearest place of most shared information.

    Parameters
    ----------
    samples : Samples
        Points of the fixed image.
    moving : Moving
        The other image.
    start : Transform
        Where a point of the fixed image lies in the moving one, nearly.
    levels : sequence of int
        Which of the blurs to go through.

    Returns
    -------
    Refined
        A rigid map.

    Raises
    ------
    NoSolutionError
        If fewer than a quarter of the points lie in the moving image.

    Notes
    -----
    Six numbers (shift, turn about the points' middle) by BFGS with the exact derivative. Finds
    the nearest hill, not the highest: another vertebra is another hill.
    """
    found = start
    for level in levels:
        few = level == 0 and len(samples.points) > _COARSE_POINTS
        seen = samples.take(np.arange(_COARSE_POINTS)) if few else samples
        found = _climb(seen, moving.levels[level], found)
    middle = found.points(samples.points.mean(axis=0))[0]
    match = measure_match(samples, moving.levels[levels[-1]], found, middle)
    _refuse_outside(match.inside, len(samples.points))
    return Refined(found, match)


def _refuse_outside(inside: int, count: int) -> None:
    if inside < _LEAST_SHARE * count:
        raise NoSolutionError(
            f"only {100.0 * inside / count:.0f} % of the vertebrae around the tumour lie in the "
            f"other image, at least {100 * _LEAST_SHARE:.0f} % must: is it of this region, and "
            "are the points clicked at the same places?",
            ("the two images hardly overlap there",),
        )


def _climb(samples: Samples, image: BinnedImage, start: Transform) -> Transform:
    middle = start.points(samples.points.mean(axis=0))[0]
    first = measure_match(samples, image, start, middle)
    _refuse_outside(first.inside, len(samples.points))

    def loss(six: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        step = _step(six, middle)
        centre = middle + six[:3]
        match = measure_match(samples, image, step @ start, centre)
        if match.inside < _LEAST_SHARE * len(samples.points):
            return 0.0, np.zeros(6)  # flat: the search turns back
        turn = _turn_gradient(six[3:] / _ARM_MM, match.turn) / _ARM_MM
        return -match.nats, -np.concatenate((match.pull, turn))

    result = minimize(
        loss, np.zeros(6), jac=True, method="BFGS",
        options={"maxiter": _MOST_STEPS, "gtol": 1e-4},
    )  # fmt: skip
    return _step(np.asarray(result.x), middle) @ start


def _step(six: NDArray[np.float64], middle: NDArray[np.float64]) -> Transform:
    """Turn about the middle by a rotation vector (in mm at the arm), then shift."""
    matrix = np.eye(4)
    matrix[:3, :3] = Rotation.from_rotvec(six[3:] / _ARM_MM).as_matrix()
    matrix[:3, 3] = middle + six[:3] - matrix[:3, :3] @ middle
    return Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)


def _turn_gradient(vector: NDArray[np.float64], turn: NDArray[np.float64]) -> NDArray[np.float64]:
    """Gain per radian of a small further turn, turned into gain per rotation vector.

    exp(w + dw) = exp(J_l(w) dw) exp(w), with the left Jacobian of rotations.
    """
    angle = float(np.linalg.norm(vector))
    x, y, z = vector
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    if angle < 1e-6:
        left = np.eye(3) + 0.5 * cross
    else:
        left = (
            np.eye(3)
            + (1.0 - np.cos(angle)) / angle**2 * cross
            + (angle - np.sin(angle)) / angle**3 * (cross @ cross)
        )
    return np.asarray(left.T @ turn)


def perturbed(
    start: Transform, about: NDArray[np.float64], shift_mm: NDArray[np.float64],
    turn_deg: NDArray[np.float64],
) -> Transform:  # fmt: skip
    """Shift a placement and turn it about a place of the fixed image.

    Parameters
    ----------
    start : Transform
        The placement.
    about : (3,) float64, mm, patient LPS
        Place in the fixed image.
    shift_mm : (3,) float64, mm
        Shift, along the moving image's axes.
    turn_deg : (3,) float64, degrees
        Rotation vector, in the same axes.

    Returns
    -------
    Transform
        The moved placement.
    """
    middle = start.points(about)[0]
    six = np.concatenate((shift_mm, np.deg2rad(turn_deg) * _ARM_MM))
    return _step(six, middle) @ start
