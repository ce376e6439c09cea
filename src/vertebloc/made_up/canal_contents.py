"""Sac and cord in the canal."""

from __future__ import annotations

import numpy as np

from vertebloc.made_up.rods import make_flat_rod
from vertebloc.made_up.sizes import DISEASED, EPIDURAL_GAP_MM, OUTLINED
from vertebloc.made_up.spine import MadeUpSpine
from vertebloc.published.morphometry import CORD_DEPTH_T8, CORD_WIDTH_T8
from vertebloc.space.solids import Solid

#: the sac is pushed away by the tumour around T10's pedicle, mm: to the right, back, thinner
_PUSH_MM = (2.2, 0.9, 1.3)
_PUSH_REACH_MM = 9.0


def make_sac_and_cord(spine: MadeUpSpine) -> tuple[Solid, Solid]:
    """Sac and cord along the canal, pushed to the right and back at T10.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine that it follows.

    Returns
    -------
    tuple of Solid
        Sac and cord; exact outside.
    """
    p = spine.canal_curve(3.0)
    sizes = spine.vertebrae[DISEASED].shape.sizes
    near = np.exp(-0.5 * ((p[:, 2] - _pedicle_z(spine)) / _PUSH_REACH_MM) ** 2)
    shift = near[:, None] * np.array([-_PUSH_MM[0], _PUSH_MM[1], 0.0])
    radius = 0.5 * sizes.canal_depth.value - EPIDURAL_GAP_MM - _PUSH_MM[2] * near
    side = np.broadcast_to([1.0, 0.0, 0.0], p.shape)
    sac = make_flat_rod(p + shift, radius, np.full(len(p), 1.0), side)
    half = 0.5 * CORD_DEPTH_T8.value
    wide = np.full(len(p), 0.5 * CORD_WIDTH_T8.value - half)
    cord = make_flat_rod(p + 0.9 * shift, np.full(len(p), half), wide, side)
    return sac, cord


def make_canal(spine: MadeUpSpine) -> Solid:
    """The canal as one tube, for filling it with fat.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine that it follows.

    Returns
    -------
    Solid
        A tube as deep as T7's canal; bone is drawn over it.
    """
    p = spine.canal_curve(3.0)
    half = 0.5 * spine.vertebrae[OUTLINED[0]].shape.sizes.canal_depth.value
    side = np.broadcast_to([1.0, 0.0, 0.0], p.shape)
    return make_flat_rod(p, np.full(len(p), half), np.full(len(p), 1.8), side)


def _pedicle_z(spine: MadeUpSpine) -> float:
    placed = spine.vertebrae[DISEASED]
    shape = placed.shape
    return float(placed.at([0.0, shape.canal_middle_mm, shape.pedicle_z_mm])[0, 2])
