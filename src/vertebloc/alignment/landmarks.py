"""Pairs of points seen in both images: the best rigid fit, and what it is worth elsewhere."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.errors import InputError
from vertebloc.space.frames import Frame
from vertebloc.space.transforms import Points, Transform, as_points

LEAST_PAIRS = 3
_LEAST_SPREAD_MM = 5.0  #: assumed: points nearer to one line than this fix no turn about it


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LandmarkFit:
    """How pairs of points lay one image on the other."""

    moving_from_fixed: Transform
    fixed: Points  #: (n, 3) mm, as clicked in the fixed image
    residual_mm: NDArray[np.float64]  #: (n,) what is left at each pair

    @property
    def rms_mm(self) -> float:
        """Root of the mean squared residual: says how well the points agree, no more."""
        return float(np.sqrt(np.mean(self.residual_mm**2)))

    @property
    def click_error_mm(self) -> float:
        """Error of a pair (both clicks together) that such residuals come from, mm, rms.

        <FRE^2> = (1 - 2/N) <FLE^2>; with three pairs the estimate rests on three numbers only.
        """
        count = len(self.residual_mm)
        return self.rms_mm / float(np.sqrt(1.0 - 2.0 / count))

    def error_at_mm(self, target: ArrayLike) -> float:
        """Error expected at a place of the fixed image, mm, rms.

        Parameters
        ----------
        target : (3,) float64, mm, patient LPS
            Where.

        Returns
        -------
        float, mm
            ``target_error_mm`` with the click error that the residuals speak for.
        """
        return target_error_mm(self.fixed, target, self.click_error_mm)


def fit_landmarks(fixed: ArrayLike, moving: ArrayLike) -> LandmarkFit:
    """Rigid map of least squares between pairs of points, in closed form.

    Parameters
    ----------
    fixed, moving : (n, 3) float64, mm, patient LPS
        The same places in the fixed and the moving image, in the same order, n >= 3.

    Returns
    -------
    LandmarkFit
        Never a mirror image, whatever the points say.

    Raises
    ------
    InputError
        If there are fewer than three pairs, or they lie on a line.

    Notes
    -----
    Arun's singular value decomposition with the determinant forced to +1 (Kabsch); known in
    closed form, so it needs no start. Says nothing of whether the right places were clicked.

    References
    ----------
    [arun1987] the solution by singular value decomposition.
    """
    a, b = as_points(fixed), as_points(moving)
    if len(a) != len(b):
        raise InputError(f"points come in pairs, got {len(a)} in one image, {len(b)} in the other")
    if len(a) < LEAST_PAIRS:
        raise InputError(f"at least {LEAST_PAIRS} pairs of points are needed, got {len(a)}")
    for points, which in ((a, "CT"), (b, "other image")):
        spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
        if spread[1] / np.sqrt(len(points)) < _LEAST_SPREAD_MM:
            raise InputError(
                f"the points in the {which} lie on one line (within {_LEAST_SPREAD_MM:g} mm), so "
                "nothing holds the turn about it: add a point to the side, in front or behind"
            )
    u, _, vt = np.linalg.svd((a - a.mean(axis=0)).T @ (b - b.mean(axis=0)))
    keep = np.diag([1.0, 1.0, np.sign(np.linalg.det(vt.T @ u.T))])
    matrix = np.eye(4)
    matrix[:3, :3] = vt.T @ keep @ u.T
    matrix[:3, 3] = b.mean(axis=0) - matrix[:3, :3] @ a.mean(axis=0)
    found = Transform(matrix, target=Frame.PATIENT_LPS, source=Frame.PATIENT_LPS)
    left = np.linalg.norm(found.points(a) - b, axis=1)
    return LandmarkFit(moving_from_fixed=found, fixed=a, residual_mm=left)


def target_error_mm(points: ArrayLike, target: ArrayLike, click_error_mm: float) -> float:
    """Target registration error: what clicking errors do at another place.

    Parameters
    ----------
    points : (n, 3) float64, mm, patient LPS
        The clicked points.
    target : (3,) float64, mm, patient LPS
        The place that matters.
    click_error_mm : float, mm
        Root of the mean squared length of a pair's error (FLE).

    Returns
    -------
    float, mm
        Root of the expected squared error at the target.

    Raises
    ------
    InputError
        If there are fewer than three points.

    Notes
    -----
    <TRE^2> = <FLE^2> / N (1 + 1/3 sum_k d_k^2 / f_k^2): d_k is the target's distance from the
    k-th principal axis of the points, f_k the points' root mean squared distance from it. To
    first order, for errors that are alike in all directions and at all points.

    References
    ----------
    [fitzpatrick1998] the formula.
    """
    p = as_points(points)
    if len(p) < LEAST_PAIRS:
        raise InputError(f"at least {LEAST_PAIRS} points are needed, got {len(p)}")
    centred = p - p.mean(axis=0)
    axes = np.linalg.svd(centred, full_matrices=True)[2]
    at = axes @ (np.asarray(target, dtype=np.float64).reshape(3) - p.mean(axis=0))
    along = centred @ axes.T
    ratio = 0.0
    for k in range(3):
        others = [n for n in range(3) if n != k]
        f2 = float(np.mean(np.sum(along[:, others] ** 2, axis=1)))
        ratio += float(np.sum(at[others] ** 2)) / max(f2, 1e-12)
    return float(click_error_mm * np.sqrt((1.0 + ratio / 3.0) / len(p)))
