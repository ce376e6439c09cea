"""Aorta and azygos vein along the front of the spine."""

from __future__ import annotations

import numpy as np

from vertebloc.made_up.rods import continue_curve, draw_curve
from vertebloc.made_up.spine import MadeUpSpine
from vertebloc.space.solids import Rod, Solid


def make_aorta(spine: MadeUpSpine) -> Solid:
    """The aorta, from the left side of the body of T7 to its front at T12.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine that it follows.

    Returns
    -------
    Solid
        A rod 25 to 22 mm thick; exact outside.

    Notes
    -----
    Its course keeps to the published distance from the left pedicle's entry point at T6 and
    T12; between them it is invented.

    References
    ----------
    [aorta2012] abstract.
    """
    axis = []
    for placed in spine.vertebrae.values():
        x, y = placed.shape.shape.aorta_mm
        axis.append(placed.at([x, y, 0.0])[0])
    p = draw_curve(continue_curve(np.array(axis)), 6.0)
    return Rod(p, np.linspace(12.5, 11.0, len(p)))


def make_azygos(spine: MadeUpSpine) -> Solid:
    """The azygos vein, in front of the bodies, right of the middle.

    Parameters
    ----------
    spine : MadeUpSpine
        The spine that it follows.

    Returns
    -------
    Solid
        A rod 7 mm thick; exact outside.
    """
    axis = [
        v.at([-10.0, -0.5 * v.shape.depth_mm - 4.0, 0.0])[0]
        for level, v in spine.vertebrae.items()
        if level.region == "T" or spine.is_thoracic
    ]
    p = draw_curve(continue_curve(np.array(axis)), 6.0)
    return Rod(p, np.full(len(p), 3.5))
