"""Which cells of the unrolled ring hold bone that the plan takes piecemeal."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vertebloc.access.ring_model import RingMap
from vertebloc.space.fields import distance_field_of_surface
from vertebloc.space.surfaces import TriangleSurface


def nibbled_on_ring(ring: RingMap, nibbled: TriangleSurface | None) -> NDArray[np.bool_]:
    """Mark bone taken piecemeal.

    Parameters
    ----------
    ring : RingMap
        The unrolled ring.
    nibbled : TriangleSurface or None
        Bone that the plan takes piecemeal.

    Returns
    -------
    (h, a) bool
        False where there is no bone.
    """
    found = np.zeros(ring.wall_mm.shape, dtype=np.bool_)
    if nibbled is None:
        return found
    field = distance_field_of_surface(nibbled, pitch_mm=1.0, rim_mm=2.0)
    inside = np.asarray(field.signed_distance_mm(ring.bone_lps.reshape(-1, 3))) <= 0.5
    return np.asarray(inside.reshape(found.shape) & ~np.isnan(ring.wall_mm))
