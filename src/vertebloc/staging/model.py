"""What staging finds out: sectors and layers, how full, and how near to flipping."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from vertebloc.anatomy.levels import Level
from vertebloc.errors import InputError
from vertebloc.space.frames import Side
from vertebloc.staging.sectors import Sector

ASKED = "asked"  #: the answer is not computed here: a person gives it


class Layer(Enum):
    """How deep tumour lies, from the muscle to the cord. The value is the published letter."""

    SOFT_TISSUE = "A"
    SUPERFICIAL = "B"
    DEEP = "C"
    EPIDURAL = "D"
    INTRADURAL = "E"

    @property
    def words(self) -> str:
        """What the letter stands for."""
        return _LAYER_WORDS[self]


_LAYER_WORDS = {
    Layer.SOFT_TISSUE: "outside bone, in soft tissue",
    Layer.SUPERFICIAL: "in bone, superficial",
    Layer.DEEP: "in bone, deep",
    Layer.EPIDURAL: "outside bone, epidural",
    Layer.INTRADURAL: "outside bone, inside the sac",
}


class Answer(Enum):
    """One of three answers: between yes and no lies cannot tell."""

    YES = "yes"
    NO = "no"
    CANNOT_TELL = "cannot tell"


class TumourSide(Enum):
    """On which side of the vertebra's mid-plane a tumour lies."""

    LEFT = "left"
    RIGHT = "right"
    BOTH = "both"


@dataclass(frozen=True, slots=True, kw_only=True)
class StagingSettings:
    """Choices behind the sectors and layers. All of them are ASSUMED: no source gives them."""

    plane_spacing_mm: float = 1.0  #: between planes along the canal
    involved_fraction: float = 0.05  #: share of a sector from which it counts as involved
    least_sector_mm2: float = 20.0  #: a sector's area counts as no less: slivers stay slivers
    least_layer_mm2: float = 5.0  #: tumour area in one plane from which a layer is involved
    deep_below: float = 0.5  #: bone nearer to the canal than this share of its depth is deep
    wall_ratio: float = 1.8  #: bone farther than this x the median is not the canal's wall
    search_mm: float = 10.0  #: growth of the outline up to which a flip is searched for
    reach_mm: float = 80.0  #: how far from the canal's middle bone is looked for
    radial_step_mm: float = 0.5  #: of the samples in a plane
    contour_error_mm: float = 1.0  #: error of the tumour's outline that verdicts allow for
    side_share: float = 0.75  #: share of the volume on one side from which that side is named

    def __post_init__(self) -> None:
        """Refuse settings without meaning.

        Raises
        ------
        InputError
            If a length or area is not > 0, or a share not between 0 and 1.
        """
        for name in ("involved_fraction", "deep_below", "side_share"):
            share = getattr(self, name)
            if not 0.0 < share <= 1.0:
                raise InputError(f"{name} must be above 0 and at most 1, got {share}")
        for name in (
            "plane_spacing_mm",
            "least_sector_mm2",
            "least_layer_mm2",
            "search_mm",
            "reach_mm",
            "radial_step_mm",
        ):
            size = getattr(self, name)
            if not (np.isfinite(size) and size > 0.0):
                raise InputError(f"{name} must be above 0, got {size}")
        if not self.wall_ratio >= 1.0:
            raise InputError(f"wall_ratio must be at least 1, got {self.wall_ratio}")
        if not 0.0 <= self.contour_error_mm <= self.search_mm:
            raise InputError(
                f"contour_error_mm must be between 0 and search_mm ({self.search_mm}), "
                f"got {self.contour_error_mm}"
            )
        if not self.side_share > 0.5:
            raise InputError(f"side_share must be above 0.5, got {self.side_share}")

    @property
    def assumptions(self) -> tuple[str, ...]:
        """The settings that decide a result, one sentence each, for the sheet."""
        return (
            f"A sector is involved from {self.involved_fraction:.0%} of its area in the worst "
            "plane on (assumed).",
            f"A sector's area counts as at least {self.least_sector_mm2:g} mm2 (assumed).",
            f"A layer is involved from {self.least_layer_mm2:g} mm2 in one plane on (assumed).",
            f"Bone in the inner {self.deep_below:.0%} between canal and outer surface is deep, "
            "layer C (assumed).",
            f"Sector verdicts allow for an outline wrong by {self.contour_error_mm:g} mm "
            "(assumed).",
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class SectorSpread:
    """Tumour in one sector, in the plane where it fills most of it."""

    sector: Sector
    area_fraction: float  #: 0 to 1, in the worst plane
    tumour_mm2: float  #: tumour area in the worst plane
    worst_s_mm: float  #: where along the canal that plane lies
    involved: bool
    flips_after_mm: float  #: growth (if free) or shrinking (if involved) of the outline
    flip_found: bool  #: False: no flip up to ``flips_after_mm``, the end of the search

    @property
    def growth_to_flip_mm(self) -> float:
        """``flips_after_mm`` with a sign: positive if the outline must grow."""
        return -self.flips_after_mm if self.involved else self.flips_after_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class LayerSpread:
    """Tumour in one layer. The figures are None where the images cannot tell."""

    layer: Layer
    involved: Answer
    area_mm2: float | None  #: largest area in one plane
    volume_mm3: float | None
    flips_after_mm: float | None  #: growth (if free) or shrinking (if involved) of the outline
    flip_found: bool  #: False: no flip up to ``flips_after_mm``, or nothing to tell it from


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Staging:
    """How far a tumour has grown about the canal of one vertebra."""

    level: Level | None
    sectors: tuple[SectorSpread, ...]  #: twelve, in the order of ``SECTORS``
    layers: tuple[LayerSpread, ...]  #: five, A to E
    planes_s_mm: NDArray[np.float64]  #: (n,) planes that hold tumour, along the canal
    area_fractions: NDArray[np.float64]  #: (n, 12) of each plane and sector
    upper_s_mm: float  #: head end of the tumour along the canal
    lower_s_mm: float  #: foot end
    epidural_compression: str  #: always ``asked``: the grade needs sac and cord on T2 images
    settings: StagingSettings
    warnings: tuple[str, ...]

    def __post_init__(self) -> None:
        """Make the arrays read-only."""
        for name in ("planes_s_mm", "area_fractions"):
            array = np.array(getattr(self, name), dtype=np.float64)
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    @property
    def involved_sectors(self) -> frozenset[Sector]:
        """The sectors that tumour involves."""
        return frozenset(spread.sector for spread in self.sectors if spread.involved)

    @property
    def layer_letters(self) -> tuple[str, ...]:
        """Letters of the layers that tumour involves, A to E."""
        return tuple(s.layer.value for s in self.layers if s.involved is Answer.YES)

    def sectors_if_outline_moved(self, growth_mm: float) -> frozenset[Sector]:
        """Find the sectors that would be involved if the whole outline were moved.

        Parameters
        ----------
        growth_mm : float, mm
            How far the outline is moved outward; inward if < 0. At most ``search_mm``.

        Returns
        -------
        frozenset of Sector
            The sectors then involved.
        """
        return frozenset(
            spread.sector
            for spread in self.sectors
            if (spread.flip_found or spread.involved) and spread.growth_to_flip_mm <= growth_mm
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelReach:
    """Whether tumour reaches the planes of one vertebra's body, measured along the canal."""

    level: Level
    reached: bool
    flips_after_mm: float  #: length along the canal by which tumour reaches in, or stays away


@dataclass(frozen=True, slots=True, kw_only=True)
class SideShare:
    """On which side a tumour lies, and how much of it."""

    side: TumourSide
    left_share: float  #: 0 to 1, of the volume
    volume_mm3: float

    @property
    def share_of(self) -> dict[Side, float]:
        """Share of the volume on either side of the mid-plane."""
        return {Side.LEFT: self.left_share, Side.RIGHT: 1.0 - self.left_share}
