"""Tumour that would not come out with the piece, and where it would stay."""

from __future__ import annotations

from vertebloc.resection.model import TumourLeft
from vertebloc.resection.piece import BoneSolids, Cuts
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane
from vertebloc.space.sections import Solid, trimmed

#: Less than this is the noise of cutting two triangle surfaces along each other, mm3.
NOISE_MM3 = 2.0


def find_tumour_left(
    bones: BoneSolids, cuts: Cuts, middles: dict[Side, Plane], piece: Solid, nibbled: Solid
) -> TumourLeft:
    """Volume of tumour outside the piece, by the place where it stays.

    Parameters
    ----------
    bones : BoneSolids
        Holds the tumour.
    cuts : Cuts
        All planes.
    middles : dict of Side to Plane
        The mid-plane, its negative side being that side of the patient.
    piece : Solid
        What comes out.
    nibbled : Solid
        Bone taken piecemeal.

    Returns
    -------
    TumourLeft
        0 ml means that all outlined tumour lies in the piece.

    Notes
    -----
    Face margins cannot see this: tumour may pass beside a face, or lie apart in bone that
    stays, and every face still reads clean.
    """
    rest = bones.tumour - piece
    if rest.volume() < NOISE_MM3:
        return TumourLeft(by_place_ml={}, total_ml=0.0)
    volumes = dict.fromkeys(
        ("above the cranial cut", "below the caudal cut", "in bone that is nibbled away",
         "behind the arch cut"), 0.0,
    )  # fmt: skip
    for side in Side:
        half = trimmed(rest, [middles[side]])
        cranial, caudal = cuts.between(side)
        above = trimmed(half, [_turned(cranial)])
        below = trimmed(half - above, [_turned(caudal)])
        between = trimmed(half, [cranial, caudal])
        in_bone = between ^ nibbled
        volumes["above the cranial cut"] += above.volume()
        volumes["below the caudal cut"] += below.volume()
        volumes["in bone that is nibbled away"] += in_bone.volume()
        volumes["behind the arch cut"] += (between - in_bone).volume()
    kept = {place: v / 1000.0 for place, v in volumes.items() if v >= NOISE_MM3}
    return TumourLeft(by_place_ml=kept, total_ml=sum(kept.values()))


def _turned(plane: Plane) -> Plane:
    return Plane(plane.point, -plane.normal)
