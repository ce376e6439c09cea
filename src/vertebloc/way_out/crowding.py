"""Patches of the sac that had room at rest: they must not be crowded on the way."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from vertebloc.space.surfaces import TriangleSurface
from vertebloc.way_out.clearances import field_of
from vertebloc.way_out.model import Obstacle, Substance, WayOutSettings
from vertebloc.way_out.samples import sample_surface

#: Obstacles farther than this from the piece's middle along the spine do not count, mm.
NEAR_MM = 60.0


def patches_with_room(
    sac: TriangleSurface, piece: TriangleSurface, settings: WayOutSettings
) -> Iterator[Obstacle]:
    """Patches of the sac that are clear of the piece at rest.

    Parameters
    ----------
    sac, piece : TriangleSurface
        In the frame of travel, at rest.
    settings : WayOutSettings
        The room wanted, and how finely it is looked.

    Yields
    ------
    Obstacle
        One, or none if the piece lies near all of the sac.
    """
    samples = sample_surface(sac, settings.edge_mm)
    points = samples.points[np.abs(samples.points[:, 2]) < NEAR_MM]
    clear = field_of(piece, settings).signed_distance_mm(points) >= settings.least_mm
    if clear.any():
        yield Obstacle(
            name="sac that had room",
            substance=Substance.CROWDED,
            line=points[clear],
            cover_mm=samples.cover_mm,
            may_press_mm=-settings.least_mm,
        )
