"""Tumour that would not come out with the piece, and where it would stay."""

from __future__ import annotations

from vertebloc.resection.model import TumourLeft
from vertebloc.resection.piece import ArchBone, BoneSolids, Cuts
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane
from vertebloc.space.sections import Solid, trimmed

#: Less than this is the noise of cutting two triangle surfaces along each other, mm3.
NOISE_MM3 = 2.0


def find_tumour_left(
    bones: BoneSolids, cuts: Cuts, middles: dict[Side, Plane], piece: Solid, arch: ArchBone
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
    arch : ArchBone
        Bone taken piecemeal, and bone that stays.

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
    if cuts.is_arch_only:
        return _beside_arch(rest, cuts, middles, arch)
    volumes = dict.fromkeys(
        ("above the cranial cut", "below the caudal cut", "beyond the sagittal cut",
         "in bone that is nibbled away", "in arch bone that stays", "behind the arch cut"), 0.0,
    )  # fmt: skip
    if cuts.sagittal is not None:
        beyond = trimmed(rest, [cuts.sagittal.plane.turned])
        in_staying = beyond ^ arch.stays
        volumes["in arch bone that stays"] += in_staying.volume()
        volumes["beyond the sagittal cut"] += (beyond - in_staying).volume()
    for side in cuts.sides:
        half = trimmed(rest, [cuts.sagittal.plane if cuts.sagittal else middles[side]])
        cranial, caudal = cuts.between(side)
        above = trimmed(half, [cranial.turned])
        below = trimmed(half - above, [caudal.turned])
        between = trimmed(half, [cranial, caudal])
        in_bone, in_staying = between ^ arch.nibbled, between ^ arch.stays
        volumes["above the cranial cut"] += above.volume()
        volumes["below the caudal cut"] += below.volume()
        volumes["in bone that is nibbled away"] += in_bone.volume()
        volumes["in arch bone that stays"] += in_staying.volume()
        volumes["behind the arch cut"] += (between - in_bone - in_staying).volume()
    return _kept(volumes)


def _beside_arch(
    rest: Solid, cuts: Cuts, middles: dict[Side, Plane], arch: ArchBone
) -> TumourLeft:
    """Arch only: tumour that stays in front of the pedicle cuts, or in bone of the arch."""
    volumes = dict.fromkeys(
        ("in front of the pedicle cuts", "in bone that is nibbled away",
         "in arch bone that stays"), 0.0,
    )  # fmt: skip
    for side, cut in cuts.base.items():
        half = trimmed(rest, [middles[side]])
        front = trimmed(half, [cut.plane.turned])
        behind = half - front
        in_bone = behind ^ arch.nibbled
        volumes["in front of the pedicle cuts"] += front.volume()
        volumes["in bone that is nibbled away"] += in_bone.volume()
        volumes["in arch bone that stays"] += (behind - in_bone).volume()
    return _kept(volumes)


def _kept(volumes: dict[str, float]) -> TumourLeft:
    kept = {place: v / 1000.0 for place, v in volumes.items() if v >= NOISE_MM3}
    return TumourLeft(by_place_ml=kept, total_ml=sum(kept.values()))
