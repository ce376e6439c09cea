"""What is where: how does a team's outline of tumour, sac or vessel come about?

Masks in, masks out, on the voxels of the images. Who drew and who confirmed travels along.
"""

from vertebloc.outlining.model import OutlineMask, Stroke
from vertebloc.outlining.record import (
    DrawnOutline,
    OutlineRecord,
    OutlineState,
    Signature,
)
from vertebloc.outlining.strokes import draw, voxels_of_stroke

__all__ = [
    "DrawnOutline",
    "OutlineMask",
    "OutlineRecord",
    "OutlineState",
    "Signature",
    "Stroke",
    "draw",
    "voxels_of_stroke",
]
