"""What is found out about opening the bony ring: gaps, openings, the least contaminated one."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from vertebloc.errors import InputError
from vertebloc.space.frames import Side
from vertebloc.staging import Answer


class Demand(Enum):
    """What the kind of resection asks of the ring."""

    OPENING = "an opening for the sac"  #: whole bodies
    BOTH_SIDES = "a clean cut on each side"  #: the arch alone leaves to the back
    ONE_PLACE = "one clean cut"  #: half a body leaves to its own side


class Surrogate(Enum):
    """Which outline the sac's size is taken from."""

    SAC = "sac"
    CORD = "spinal cord"  #: the sac is wider than it, at most as wide as the canal
    CANAL = "bony canal"  #: the sac is no wider


@dataclass(frozen=True, slots=True, kw_only=True)
class RingSettings:
    """Choices behind the ring. All of them are ASSUMED: no source gives them."""

    contour_error_mm: float  #: how far outlines may be wrong
    depth_mm: float = 15.0  #: bone and tumour up to so far outside the canal's wall are the ring
    plane_spacing_mm: float = 1.0  #: between heights
    radial_step_mm: float = 0.5  #: between samples along a ray
    search_mm: float = 10.0  #: from tumour: farther off it does not matter
    beside_sac_deg: float = 90.0  #: from the back: an opening reaches so far round on its side
    body_edge_mm: float = 2.0  #: a wall farther than this behind the body's back wall is arch
    window_step_deg: float = 3.0  #: between the banks that are tried
    sac_gives_mm: float = 0.5  #: a soft sac passes an opening narrower by so much

    def __post_init__(self) -> None:
        """Refuse lengths and angles without meaning.

        Raises
        ------
        InputError
            If a step is not above 0, or the contour error not within the search.
        """
        for name in ("depth_mm", "plane_spacing_mm", "radial_step_mm", "window_step_deg"):
            if not getattr(self, name) > 0.0:
                raise InputError(f"{name} must be above 0, got {getattr(self, name)}")
        if not 0.0 <= self.contour_error_mm < self.search_mm:
            raise InputError(
                f"contour_error_mm must be at least 0 and below {self.search_mm}, got "
                f"{self.contour_error_mm}"
            )

    @property
    def assumptions(self) -> tuple[str, ...]:
        """The settings that decide, one sentence each, for the sheet."""
        return (
            f"The ring is the bone up to {self.depth_mm:.0f} mm outside the canal's wall "
            "(assumed).",
            f"A soft sac passes an opening that is up to {self.sac_gives_mm:.1f} mm narrower than "
            "it (assumed).",
            "An opening is on a side if it reaches round to beside the middle of the sac there; "
            "one that does not lets the piece leave to the front only (assumed).",
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RingMap:
    """The unrolled ring: heights by angles about the sac, -180 to 180 degrees, 0 at the back.

    Positive angles lie to the patient's left. Row 0 is at the head.
    """

    heights_mm: NDArray[np.float64]  #: (h,) along the canal from the diseased body's middle,
    #: positive towards the head
    angles_deg: NDArray[np.float64]  #: (a,)
    wall_mm: NDArray[np.float64]  #: (h, a) where bone begins, from the sac's middle; NaN: none
    growth_mm: NDArray[np.float64]  #: (h, a) least signed distance to tumour in the ring
    tumour_mm: NDArray[np.float64]  #: (3, h, a) where tumour begins, shrunk, as drawn, grown
    crossed_mm2: NDArray[np.float64]  #: (a,) tumour that a cut across the ring goes through
    tract: NDArray[np.bool_]  #: (h, a) biopsy tract in the ring
    sac_mm: NDArray[np.float64]  #: (h, a) radius of the sac, or of what stands for it; NaN: none
    is_arch: NDArray[np.bool_]  #: (a,) rays that meet the arch, not the body
    canal_mm: NDArray[np.float64]  #: (a,) radius of the bony canal over all heights
    bone_lps: NDArray[np.float64]  #: (h, a, 3) mm, a little behind the wall in each cell
    middle_words: str  #: what the angles turn about
    surrogate: Surrogate
    settings: RingSettings

    def __post_init__(self) -> None:
        """Make the arrays read-only."""
        for name in (
            "heights_mm", "angles_deg", "wall_mm", "growth_mm", "tumour_mm", "crossed_mm2",
            "tract", "sac_mm", "is_arch", "canal_mm", "bone_lps",
        ):  # fmt: skip
            array = np.array(getattr(self, name))
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    @property
    def edges_deg(self) -> tuple[float, float]:
        """Where the arch meets the body: on the right (negative) and on the left."""
        front = self.angles_deg[~self.is_arch]
        right, left = front[front < 0.0], front[front > 0.0]
        return (
            float(right.max()) if len(right) else -180.0,
            float(left.min()) if len(left) else 180.0,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A stretch of the arch without tumour, as the outlines are drawn."""

    first_deg: float
    last_deg: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """The best tumour-free opening on one side, or behind only, with its three answers."""

    side: Side | None  #: None: it reaches beside the sac on no side
    first_deg: float  #: banks, from right to left; as drawn
    last_deg: float
    width_mm: float  #: between its banks; infinite: no bone left in the sac's way; 0: no gap
    needed_mm: float  #: the sac's width across it
    answer: Answer
    words: str

    @property
    def is_clear(self) -> bool:
        """Whether no bone that is left stands in the sac's way."""
        return bool(np.isinf(self.width_mm))


@dataclass(frozen=True, slots=True, kw_only=True)
class LeastContaminated:
    """The opening that crosses least tumour where none is clean."""

    side: Side
    first_deg: float
    last_deg: float
    crossed_mm2: float  #: tumour cut through at its two banks
    between_share: float  #: of the strip between the banks, 0 to 1: holds tumour
    margin_class: str  #: planned margin there, in words
    place: str  #: in words


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ring:
    """Where the ring can be opened."""

    demand: Demand
    answer: Answer
    decided_by: str
    gaps: tuple[Gap, ...]
    openings: tuple[Opening, ...]  #: left, right, behind only
    least: LeastContaminated | None  #: None where a clean opening does
    planned_side: Side
    planned_words: str  #: what the plan's own side comes to
    rule_words: str  #: the published rules' verdict
    disagreements: tuple[str, ...]  #: visible warnings
    map: RingMap
    nibbled: NDArray[np.bool_]  #: (h, a) bone that the plan takes piecemeal
    assumptions: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnmeasuredRing:
    """The answer where the ring could not be measured: cannot tell, and why."""

    demand: Demand
    decided_by: str
    planned_side: Side
    rule_words: str  #: the published rules go by sectors, not by the ring: they are still said
    disagreements: tuple[str, ...]

    @property
    def answer(self) -> Answer:
        """It cannot be told."""
        return Answer.CANNOT_TELL
