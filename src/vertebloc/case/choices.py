"""What the team decides before a plan can be computed, as plain values.

The same values stand in the case folder's ``choices.toml``; reading and writing that file is
``exchange``'s. Nothing here comes from the images: where a default needs them, it says
``by rule`` and the rule is applied, and named, by the room that plans.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from vertebloc.case.choice_words import (
    Act,
    ArchPart,
    BoneChoice,
    CuffSurface,
    DeliverySide,
    FrontBefore,
    FrontRelease,
    KindChoice,
    OpenSide,
    Placement,
    PlanningExtent,
    RibFateChoice,
    SoftFace,
    StandingSide,
    TractChoice,
)
from vertebloc.case.level_choice import LevelChoice, OtherCount
from vertebloc.case.one_line_text import clean_text
from vertebloc.case.theatre_choice import C_ARM_LIMITS, TheatreChoice
from vertebloc.case.way_out_choice import WAY_OUT_LIMITS, WayOutChoice
from vertebloc.errors import InputError
from vertebloc.space.frames import Side

#: Assumed: nobody measured these. Each is printed among the assumptions of a plan that used it.
ASSUMED_WANTED_MARGIN_MM = 5.0
ASSUMED_KERF_MM = 1.0
ASSUMED_CONTOUR_ERROR_MM = 1.0
#: Of a rib that is cut to the side, from its head outwards: past neck and angle of the joint.
ASSUMED_RIB_LENGTH_MM = 35.0

#: Along the body wall from the rib bed: a finger's length less what the wound takes of it.
ASSUMED_FINGER_REACH_MM = 50.0

#: More levels than this are never taken in one piece here.
MOST_LEVELS = 3

#: Smallest and largest number that can be meant, by the last word of the setting's name.
#: Not clinical limits: they catch a slipped decimal point and centimetres for millimetres.
LIMITS: Mapping[str, tuple[float, float]] = {
    "wanted_margin_mm": (0.0, 50.0),
    "kerf_mm": (0.0, 5.0),
    "finger_reach_mm": (10.0, 150.0),
    "contour_error_mm": (0.0, 10.0),
    "height_mm": (-100.0, 100.0),
    "tilt_deg": (-45.0, 45.0),
    "roll_deg": (-45.0, 45.0),
    "length_mm": (0.0, 300.0),
    "sagittal_cut_mm": (-30.0, 30.0),
    "thickness_mm": (0.0, 50.0),
    **WAY_OUT_LIMITS,
    "height_cm": (0.0, 250.0),
    "weight_kg": (0.0, 400.0),
    "haematocrit_percent": (0.0, 75.0),
    "haematocrit_least_percent": (0.0, 75.0),
    **{name: (0.0, high) for name, (_, high) in C_ARM_LIMITS.items()},
}


def _check_number(name: str, value: float) -> float:
    low, high = LIMITS[name]
    if not (math.isfinite(value) and low <= value <= high):
        raise InputError(f"{name} is {value:g}: use a number from {low:g} to {high:g}")
    return float(value) + 0.0  # -0.0 and 0.0 mean the same


class _Checked:
    """A frozen value whose numbers and texts are checked and cleaned once, when it is made."""

    __slots__ = ()

    def _clean(self, *names: str) -> None:
        for name in names:
            value = getattr(self, name)
            cleaned = clean_text(value) if isinstance(value, str) else _check_number(name, value)
            object.__setattr__(self, name, cleaned)


@dataclass(frozen=True, slots=True, kw_only=True)
class HalfPlacement(_Checked):
    """Where one half of a body cut is placed by hand, in the diseased body's own frame."""

    height_mm: float  #: entry edge above the middle of the diseased body; negative: below
    tilt_deg: float = 0.0  #: about the entry edge; positive: the blade's tip goes to the head
    roll_deg: float = 0.0  #: about the blade's direction

    def __post_init__(self) -> None:
        """Refuse numbers that cannot be meant."""
        self._clean("height_mm", "tilt_deg", "roll_deg")


@dataclass(frozen=True, slots=True, kw_only=True)
class CutChoice:
    """How one body cut is placed: by the rule, or by hand for its left and right half."""

    placed: Placement = Placement.BY_RULE
    halves: Mapping[Side, HalfPlacement] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Refuse a half that contradicts how the cut is placed.

        Raises
        ------
        InputError
            If it is placed by hand and a half is missing, or by rule and a half is given.
        """
        by_hand = self.placed is Placement.BY_HAND
        if set(self.halves) != (set(Side) if by_hand else set()):
            given = " and ".join(sorted(s.value for s in self.halves)) or "none"
            raise InputError(
                f"a cut placed {self.placed.value} needs numbers for "
                f"{'both halves' if by_hand else 'neither half'}, found: {given}"
            )
        object.__setattr__(self, "halves", dict(self.halves))


@dataclass(frozen=True, slots=True, kw_only=True)
class ArchChoice:
    """Where the arch is opened, and the fate of each of its parts."""

    open_side: OpenSide = OpenSide.BY_RULE
    parts: Mapping[ArchPart, BoneChoice] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Name every part: those not given go by the rule."""
        every = {part: self.parts.get(part, BoneChoice.BY_RULE) for part in ArchPart}
        object.__setattr__(self, "parts", every)


@dataclass(frozen=True, slots=True, kw_only=True)
class RibChoice(_Checked):
    """The fate of one rib, and how much of it is taken."""

    fate: RibFateChoice = RibFateChoice.BY_RULE
    length_mm: float | None = None  #: from the rib's head outwards; None: by rule

    def __post_init__(self) -> None:
        """Refuse a length where nothing is taken.

        Raises
        ------
        InputError
            If a length is given for a rib that is kept or goes by the rule.
        """
        if self.length_mm is None:
            return
        if self.fate in (RibFateChoice.BY_RULE, RibFateChoice.KEPT):
            raise InputError(
                f"length_mm is {self.length_mm:g} but fate is {self.fate.value!r}: "
                "a length goes with 'removed' or 'head on piece' only"
            )
        self._clean("length_mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class CuffChoice(_Checked):
    """The soft tissue that is taken with the piece at one of its soft faces."""

    surface: CuffSurface = CuffSurface.ON_TUMOUR
    thickness_mm: float = 0.0  #: of the cuff, outside the tumour

    def __post_init__(self) -> None:
        """Refuse a thickness where the dissection runs on the tumour.

        Raises
        ------
        InputError
            If the surface is the tumour's own and the thickness is not 0 mm.
        """
        self._clean("thickness_mm")
        if self.surface is CuffSurface.ON_TUMOUR and self.thickness_mm != 0.0:
            raise InputError(
                f"thickness_mm is {self.thickness_mm:g} but surface is 'on the tumour': "
                "that leaves no cuff; use 0.0, or surface 'pleura' or 'muscle'"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class SidesChoice(_Checked):
    """Who says that left and right are true although a check contradicts, and why."""

    confirmed_by: str = ""
    reason: str = ""

    def __post_init__(self) -> None:
        """Refuse a name without a reason, or a reason without a name.

        Raises
        ------
        InputError
            If only one of the two is given.
        """
        self._clean("confirmed_by", "reason")
        if bool(self.confirmed_by) != bool(self.reason):
            missing = "reason" if self.confirmed_by else "confirmed_by"
            raise InputError(
                f"{missing} is empty: sides need both confirmed_by and reason, or none"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Override(_Checked):
    """A warning that a named person sets aside for a reason."""

    what: str  #: the warning, as it was printed
    who: str
    reason: str

    def __post_init__(self) -> None:
        """Refuse an override that does not say what, who and why.

        Raises
        ------
        InputError
            If one of the three is empty.
        """
        self._clean("what", "who", "reason")
        for name in ("what", "who", "reason"):
            if not getattr(self, name):
                raise InputError(f"{name} is empty: an override needs what, who and reason")


@dataclass(frozen=True, slots=True, kw_only=True)
class Choices(_Checked):
    """Everything the team decides, with a default for each entry."""

    level: LevelChoice = field(default_factory=LevelChoice)
    wanted_margin_mm: float = ASSUMED_WANTED_MARGIN_MM  #: on every bone face
    kind: KindChoice = KindChoice.WHOLE_BODY
    levels: tuple[str, ...] = ()  #: from head to feet; empty: the diseased vertebra only
    sagittal_cut_mm: float = 0.0  #: half body: left of the mid-plane; negative: right of it
    standing_side: StandingSide = StandingSide.LEFT
    delivery_side: DeliverySide = DeliverySide.UNDECIDED
    planning_extent: PlanningExtent = PlanningExtent.PRE_TREATMENT
    contour_error_mm: float = ASSUMED_CONTOUR_ERROR_MM
    kerf_mm: float = ASSUMED_KERF_MM
    cranial_cut: CutChoice = field(default_factory=CutChoice)
    caudal_cut: CutChoice = field(default_factory=CutChoice)
    arch: ArchChoice = field(default_factory=ArchChoice)
    ribs: Mapping[tuple[str, Side], RibChoice] = field(default_factory=dict)
    cuffs: Mapping[SoftFace, CuffChoice] = field(default_factory=dict)
    tract: TractChoice = TractChoice.WITH_PIECE
    finger_reach_mm: float = ASSUMED_FINGER_REACH_MM  #: along the body wall, from the rib bed
    front_before: FrontBefore = FrontBefore.NOT_SAID  #: surgery or radiation in front before
    front_release: FrontRelease = FrontRelease.NOT_PLANNED
    way_out: WayOutChoice = field(default_factory=WayOutChoice)
    sides: SidesChoice = field(default_factory=SidesChoice)
    acts_order: tuple[Act, ...] = ()  #: empty: by rule
    overrides: tuple[Override, ...] = ()
    other_counts: tuple[OtherCount, ...] = ()  #: of the diseased vertebra, in other series
    theatre: TheatreChoice = field(default_factory=TheatreChoice)  #: for the role sheets

    def __post_init__(self) -> None:
        """Bring choices that mean the same into the same form.

        A rib that goes by the rule is as good as not named, and every soft face has a cuff.

        Raises
        ------
        InputError
            If an act that is done once stands twice in the order of acts, or the kind of
            resection contradicts the levels.
        """
        object.__setattr__(self, "acts_order", tuple(self.acts_order))
        once = [act for act in self.acts_order if act is not Act.SIGNAL_RUN]
        twice = sorted({act.value for act in once if once.count(act) > 1})
        if twice:
            raise InputError(f"acts_order names {twice[0]!r} twice: name each act once")
        self._clean("wanted_margin_mm", "contour_error_mm", "kerf_mm", "sagittal_cut_mm")
        self._clean("finger_reach_mm")
        object.__setattr__(self, "levels", tuple(self.levels))
        self._check_kind()
        named = {
            key: rib for key, rib in self.ribs.items() if rib.fate is not RibFateChoice.BY_RULE
        }
        object.__setattr__(self, "ribs", named)
        every = {face: self.cuffs.get(face, CuffChoice()) for face in SoftFace}
        object.__setattr__(self, "cuffs", every)

    def _check_kind(self) -> None:
        listed = ", ".join(self.levels)
        if len(self.levels) > MOST_LEVELS or len(set(self.levels)) < len(self.levels):
            raise InputError(
                f"levels names {listed}: use one to {MOST_LEVELS} different vertebrae, from head "
                "to feet"
            )
        if len(self.levels) > 1 and self.kind is not KindChoice.WHOLE_BODY:
            raise InputError(
                f"kind = {self.kind.value!r} is for one vertebra, but levels names {listed}: "
                "name one, or use kind 'whole body'"
            )
        if self.levels and self.level.diseased and self.level.diseased not in self.levels:
            raise InputError(
                f"levels names {listed}, without the diseased vertebra {self.level.diseased}: "
                "add it"
            )
        if self.sagittal_cut_mm != 0.0 and self.kind is not KindChoice.HALF_BODY:
            raise InputError(
                f"sagittal_cut_mm is {self.sagittal_cut_mm:g} but kind is {self.kind.value!r}: "
                "a sagittal cut goes with 'half body' only; use 0.0"
            )

    def rib(self, level: str, side: Side) -> RibChoice:
        """Look up the choice for one rib; by rule if it is not named.

        Parameters
        ----------
        level : str
            Vertebra the rib belongs to, such as ``T10``.
        side : Side
            Side of the patient.

        Returns
        -------
        RibChoice
            Its fate and length.
        """
        return self.ribs.get((level, side), RibChoice())


def assumed_settings(choices: Choices) -> tuple[str, ...]:
    """Say which settings still stand at a default that nobody measured.

    Parameters
    ----------
    choices : Choices
        The team's choices.

    Returns
    -------
    tuple of str
        One phrase each, such as ``wanted margin 5.0 mm (assumed default)``.
    """
    defaults = (
        ("wanted margin", choices.wanted_margin_mm, ASSUMED_WANTED_MARGIN_MM),
        ("kerf", choices.kerf_mm, ASSUMED_KERF_MM),
        ("contour error", choices.contour_error_mm, ASSUMED_CONTOUR_ERROR_MM),
    )
    return tuple(
        f"{name} {value:.1f} mm (assumed default)"
        for name, value, default in defaults
        if value == default
    )
