"""What belongs to which vertebra: ribs with their joints, roots, segmental vessels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import Anatomy, Rib
from vertebloc.anatomy.outlines import outline_mask
from vertebloc.anatomy.pedicles import find_pedicles
from vertebloc.anatomy.roots import find_roots
from vertebloc.anatomy.segmental import find_segmental_vessels
from vertebloc.anatomy.strands import Strand
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume

_STRADDLE = range(2, 10)  #: heads of these ribs touch the vertebra above and the disc as well
_EITHER = 10  #: this one often touches its own vertebra only: its height decides
_FACET_SHARE = 0.12  #: of the vertebra's height: a head above this below the endplate straddles


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CostovertebralJoint:
    """Where the head of a rib meets the spine, and with which vertebrae."""

    level: Level  #: the rib's own vertebra
    side: Side
    lps_mm: NDArray[np.float64]  #: (3,) the rib's inner end
    joins: tuple[Level, ...]  #: from head to feet: its own, for many ribs also the one above
    about: str  #: how that is known


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Owners:
    """Everything that hangs on the vertebrae in view, each with its level and side."""

    joints: tuple[CostovertebralJoint, ...]
    roots: tuple[Strand, ...]
    segmental_vessels: tuple[Strand, ...]
    notes: tuple[str, ...]  #: what could not be found or modelled, one sentence each

    def root(self, level: Level, side: Side) -> Strand | None:
        """The root of one level and side.

        Parameters
        ----------
        level : Level
            Of its number.
        side : Side
            Left or right of the patient.

        Returns
        -------
        Strand or None
            None if it is neither drawn nor modelled.
        """
        return next((one for one in self.roots if one.key == (level, side)), None)

    def vessel(self, level: Level, side: Side) -> Strand | None:
        """The segmental vessel of one level and side.

        Parameters
        ----------
        level : Level
            Of its number.
        side : Side
            Left or right of the patient.

        Returns
        -------
        Strand or None
            None if there is none.
        """
        return next((one for one in self.segmental_vessels if one.key == (level, side)), None)


def find_owners(contours: ContourSet, anatomy: Anatomy) -> Owners:
    """Joints, roots and segmental vessels of the vertebrae in view.

    Parameters
    ----------
    contours : ContourSet
        All outlines; what is drawn goes before what is modelled.
    anatomy : Anatomy
        From ``describe_anatomy``.

    Returns
    -------
    Owners
        Each with level and side, from head to feet.
    """
    bones = {}
    for level, bone in anatomy.bone.items():
        mask = bone if isinstance(bone, Volume) else outline_mask(contours, (bone,))
        if mask is not None and level in anatomy.vertebrae:
            bones[level] = mask
    pedicles = {
        level: find_pedicles(anatomy.vertebrae[level], bone) for level, bone in bones.items()
    }
    roots, notes = find_roots(contours, anatomy, pedicles)
    return Owners(
        joints=tuple(_joint(rib, anatomy) for rib in anatomy.ribs if rib.level is not None),
        roots=roots,
        segmental_vessels=find_segmental_vessels(contours, anatomy, bones),
        notes=notes,
    )


def _joint(rib: Rib, anatomy: Anatomy) -> CostovertebralJoint:
    """By the rib's number; the tenth one's by the height of its head."""
    own = rib.level
    assert own is not None
    above = max((level for level in anatomy.vertebrae if level < own), default=None)
    about = f"by its number, {own.number}"
    straddles = own.number in _STRADDLE
    if own.number == _EITHER and own in anatomy.vertebrae:
        vertebra = anatomy.vertebrae[own]
        z = float(vertebra.lps_from_vertebra.inverse.points(rib.head)[0, 2])
        tall = vertebra.upper_endplate_mm - vertebra.lower_endplate_mm
        straddles = z > vertebra.upper_endplate_mm - _FACET_SHARE * tall
        about = "by the height of its head (assumed border)"
    joins = (above, own) if straddles and above is not None else (own,)
    if straddles and above is None:
        about += "; the vertebra above is not in view"
    head = np.array(rib.head, dtype=np.float64)
    head.setflags(write=False)
    return CostovertebralJoint(
        level=own, side=rib.side, lps_mm=head, joins=joins, about=about
    )  # fmt: skip
