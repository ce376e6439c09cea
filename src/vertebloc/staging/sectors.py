"""The twelve sectors about the canal: side and region; numbers are only a way of showing them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from vertebloc.errors import InputError
from vertebloc.space.frames import Side

SECTOR_COUNT = 12
SECTOR_DEG = 30.0


class Region(Enum):
    """A sector's part of the vertebra, from the back forward; the same on either side."""

    SPINOUS_PROCESS = "spinous process"
    LAMINA = "lamina"
    FACET = "facet and transverse process"
    PEDICLE = "pedicle"
    BODY_SIDE = "side of the body"
    BODY_MIDDLE = "middle of the body"


@dataclass(frozen=True, slots=True)
class Sector:
    """One twelfth of the ring about the canal. Side and region are the datum."""

    side: Side
    region: Region

    @property
    def words(self) -> str:
        """The sector's name for people, such as ``left pedicle``."""
        half = "half of the " if self.region is Region.SPINOUS_PROCESS else ""
        return f"{self.side.value} {half}{self.region.value}"

    @property
    def mirrored(self) -> Sector:
        """The sector of the same region on the other side."""
        return Sector(self.side.other, self.region)


_FROM_BACK = tuple(Region)

#: All twelve, from the posterior midline over the patient's left round to the right.
SECTORS = tuple(Sector(Side.LEFT, region) for region in _FROM_BACK) + tuple(
    Sector(Side.RIGHT, region) for region in reversed(_FROM_BACK)
)

#: The sectors of the posterior arch without the pedicles.
POSTERIOR = frozenset(
    sector
    for sector in SECTORS
    if sector.region in (Region.SPINOUS_PROCESS, Region.LAMINA, Region.FACET)
)


class Numbering(Enum):
    """A published way of numbering the sectors. The value is its name on paper."""

    COUNTER_CLOCKWISE = "counter-clockwise seen from the feet, 1 = left half of spinous process"
    CLOCKWISE = "clockwise seen from the feet, 1 = right half of spinous process"

    @property
    def caution(self) -> str:
        """What is doubtful about this numbering, in words; empty if nothing is."""
        if self is Numbering.COUNTER_CLOCKWISE:
            return ""
        return (
            "The original clockwise count does not say whether it is seen from the feet or from "
            "the head, so its numbers may name the other side: go by side and region."
        )


def number_sector(sector: Sector, numbering: Numbering = Numbering.COUNTER_CLOCKWISE) -> int:
    """Number of a sector in a published numbering.

    Parameters
    ----------
    sector : Sector
        Side and region.
    numbering : Numbering
        Which way of counting.

    Returns
    -------
    int
        1 to 12.

    Notes
    -----
    The two numberings are mirror images: z becomes 13 - z. Which end the original clockwise
    count is seen from is not known; ``Numbering.caution`` must be shown beside its numbers.

    References
    ----------
    [sector-variants] both directions of counting; sector 1 of the counter-clockwise one.
    """
    number = SECTORS.index(sector) + 1
    return number if numbering is Numbering.COUNTER_CLOCKWISE else SECTOR_COUNT + 1 - number


def find_sector(number: int, numbering: Numbering = Numbering.COUNTER_CLOCKWISE) -> Sector:
    """Side and region of a numbered sector.

    Parameters
    ----------
    number : int
        1 to 12.
    numbering : Numbering
        Which way of counting.

    Returns
    -------
    Sector
        The sector that carries the number.

    Raises
    ------
    InputError
        If there is no such number.
    """
    if number not in range(1, SECTOR_COUNT + 1):
        raise InputError(f"there is no sector {number}: sectors are numbered 1 to {SECTOR_COUNT}")
    if numbering is Numbering.CLOCKWISE:
        number = SECTOR_COUNT + 1 - number
    return SECTORS[number - 1]
