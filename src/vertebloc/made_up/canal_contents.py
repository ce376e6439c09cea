"""Sac and cord in the canal."""

from __future__ import annotations

import numpy as np

from vertebloc.made_up.rods import make_flat_rod
from vertebloc.made_up.sizes import DISEASED, EPIDURAL_GAP_MM
from vertebloc.made_up.spine import MadeUpSpine, PlacedVertebra
from vertebloc.published.morphometry import CORD_DEPTH_T8, CORD_WIDTH_T8
from vertebloc.space.solids import Solid

#: the sac is pushed away by the tumour around T10's pedicle, mm: to the right, back, thinner
_PUSH_MM = (2.2, 0.9, 1.3)
_PUSH_REACH_MM = 9.0


def make_sac_and_cord(
    spine: MadeUpSpine, *, push_mm: tuple[float, float, float] = _PUSH_MM
) -> tuple[Solid, Solid]:
    """Sac and cord along the canal of a thoracic spine, pushed aside at T10.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine that it follows.
    push_mm : tuple of float, mm
        How far: to the right, back, and thinner.

    Returns
    -------
    tuple of Solid
        Sac and cord; exact outside.
    """
    p = spine.canal_curve(3.0)
    placed = spine.vertebrae[DISEASED]
    sizes = placed.shape.sizes
    near = np.exp(-0.5 * ((p[:, 2] - _pedicle_z(placed)) / _PUSH_REACH_MM) ** 2)
    shift = near[:, None] * np.array([-push_mm[0], push_mm[1], 0.0])
    radius = 0.5 * sizes.canal_depth.value - EPIDURAL_GAP_MM - push_mm[2] * near
    side = np.broadcast_to([1.0, 0.0, 0.0], p.shape)
    sac = make_flat_rod(p + shift, radius, np.full(len(p), 1.0), side)
    half = 0.5 * CORD_DEPTH_T8.value
    wide = np.full(len(p), 0.5 * CORD_WIDTH_T8.value - half)
    cord = make_flat_rod(p + 0.9 * shift, np.full(len(p), half), wide, side)
    return sac, cord


def make_free_sac_and_cord(spine: MadeUpSpine, cord_ends_mm: float | None) -> tuple[Solid, Solid]:
    """Sac and cord along any spine's canal, in its middle.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine that it follows.
    cord_ends_mm : float, mm, or None
        Height below which there is no cord, only roots; None if the cord goes on.

    Returns
    -------
    tuple of Solid
        Sac, as deep as the narrowest canal lets it be, and cord; exact outside.
    """
    p = spine.canal_curve(3.0)
    depth = min(v.shape.sizes.canal_depth.value for v in spine.vertebrae.values())
    side = np.broadcast_to([1.0, 0.0, 0.0], p.shape)
    radius = np.full(len(p), 0.5 * depth - EPIDURAL_GAP_MM)
    sac = make_flat_rod(p, radius, np.full(len(p), 1.0), side)
    if cord_ends_mm is not None:
        kept = p[:, 2] > cord_ends_mm
        p, side = p[kept], side[kept]
    half = 0.5 * CORD_DEPTH_T8.value
    wide = np.full(len(p), 0.5 * CORD_WIDTH_T8.value - half)
    return sac, make_flat_rod(p, np.full(len(p), half), wide, side)


def make_canal(spine: MadeUpSpine) -> Solid:
    """The canal as one tube, for filling it with fat.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine that it follows.

    Returns
    -------
    Solid
        A tube as deep as the second vertebra's canal; bone is drawn over it.
    """
    p = spine.canal_curve(3.0)
    second = list(spine.vertebrae.values())[1]
    half = 0.5 * second.shape.sizes.canal_depth.value
    side = np.broadcast_to([1.0, 0.0, 0.0], p.shape)
    return make_flat_rod(p, np.full(len(p), half), np.full(len(p), 1.8), side)


def _pedicle_z(placed: PlacedVertebra) -> float:
    shape = placed.shape
    return float(placed.at([0.0, shape.canal_middle_mm, shape.pedicle_z_mm])[0, 2])
