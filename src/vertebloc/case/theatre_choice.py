"""What the team says for the day of the operation: roots, muscles, what blood is reckoned from."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from vertebloc.case.choice_words import SexChoice
from vertebloc.case.one_line_text import clean_text
from vertebloc.errors import InputError
from vertebloc.published import imaging

_ROOT = re.compile(r"C[1-8]|T(?:[1-9]|1[0-3])|L[1-6]|S[1-5]")
_SIDES = ("left", "right")

#: Smallest and largest number that can be meant where one is said; 0 says none. Not a machine's
#: limits: they catch a slipped decimal point and millimetres for centimetres.
C_ARM_LIMITS: Mapping[str, tuple[float, float]] = {
    "c_arm_source_detector_cm": (50.0, 200.0),
    "c_arm_source_object_cm": (20.0, 150.0),
    "c_arm_detector_cm": (5.0, 60.0),
    "c_arm_pixel_mm": (0.05, 5.0),
}
_MOST_PIXELS = 2048  #: along a side: more makes pictures that no sheet can show
_FEWEST_PIXELS = 64


def read_root(text: str) -> str:
    """Read the name of a root.

    Parameters
    ----------
    text : str
        Such as ``t10``.

    Returns
    -------
    str
        Such as ``T10``.

    Raises
    ------
    InputError
        If it names no root.
    """
    name = re.sub(r"\s+", "", text).upper()
    if not _ROOT.fullmatch(name):
        raise InputError(f"{text!r} names no root: use C1-C8, T1-T13, L1-L6 or S1-S5")
    return name


def read_roots(text: str) -> tuple[tuple[str, str], ...]:
    """Read roots with their sides.

    Parameters
    ----------
    text : str
        Such as ``T10 left, T10 right``; may be empty.

    Returns
    -------
    tuple of (str, str)
        Root and side of the patient, each once.

    Raises
    ------
    InputError
        If a part names no root or no side.
    """
    found = []
    for part in filter(None, (one.strip() for one in text.split(","))):
        words = part.split()
        if len(words) != 2 or words[1].lower() not in _SIDES:
            raise InputError(f"{part!r} names no root with its side: write such as 'T10 left'")
        found.append((read_root(words[0]), words[1].lower()))
    return tuple(dict.fromkeys(found))


@dataclass(frozen=True, slots=True, kw_only=True)
class TheatreChoice:
    """What only the team can say; empty or 0 where nobody said it, and then it prints so."""

    roots_given_up: str = ""  #: such as ``T10 left, T10 right``
    muscles: Mapping[str, str] = field(default_factory=dict)  #: the team's own, by root
    sex: SexChoice = SexChoice.NOT_SAID
    height_cm: float = 0.0
    weight_kg: float = 0.0
    haematocrit_percent: float = 0.0
    haematocrit_least_percent: float = 0.0
    c_arm_source_detector_cm: float = 0.0
    c_arm_source_object_cm: float = 0.0
    c_arm_detector_cm: float = 0.0  #: side of the square detector, or across the round one
    c_arm_pixel_mm: float = 0.0  #: on the detector

    def __post_init__(self) -> None:
        """Bring roots into one form; refuse a least haematocrit above the one before.

        Raises
        ------
        InputError
            If a root or side is not known, the two haematocrits contradict each other, or no
            such C-arm can stand there.
        """
        roots = ", ".join(f"{root} {side}" for root, side in read_roots(self.roots_given_up))
        object.__setattr__(self, "roots_given_up", roots)
        muscles = {read_root(root): clean_text(words) for root, words in self.muscles.items()}
        object.__setattr__(self, "muscles", {r: w for r, w in muscles.items() if w})
        before, least = self.haematocrit_percent, self.haematocrit_least_percent
        if before and least > before:
            raise InputError(
                f"haematocrit_least_percent is {least:g}, more than haematocrit_percent "
                f"{before:g}: give less"
            )
        self._check_c_arm()

    @property
    def roots(self) -> tuple[tuple[str, str], ...]:
        """Roots that are given up, each with its side."""
        return read_roots(self.roots_given_up)

    @property
    def c_arm_pixels(self) -> int:
        """How many pixels the detector has along a side; 0: not said."""
        if not self.c_arm_pixel_mm:
            return 0
        detector_mm = 10.0 * self.c_arm_detector_cm or imaging.DETECTOR_MM.value
        return round(detector_mm / self.c_arm_pixel_mm)

    def _check_c_arm(self) -> None:
        for name, (low, high) in C_ARM_LIMITS.items():
            value = getattr(self, name)
            if value and not low <= value <= high:
                unit = name.rpartition("_")[2]
                raise InputError(
                    f"{name} is {value:g}: use a number from {low:g} to {high:g} {unit}, or 0 if "
                    "nobody says it"
                )
        detector = self.c_arm_source_detector_cm or imaging.SOURCE_DETECTOR_MM.value / 10.0
        spine = self.c_arm_source_object_cm or imaging.SOURCE_OBJECT_MM.value / 10.0
        if spine >= detector:
            raise InputError(
                f"c_arm_source_object_cm is {spine:g} and c_arm_source_detector_cm is "
                f"{detector:g}: the spine lies between tube and detector, give less for the spine"
            )
        if self.c_arm_pixel_mm and not _FEWEST_PIXELS <= self.c_arm_pixels <= _MOST_PIXELS:
            raise InputError(
                f"c_arm_pixel_mm is {self.c_arm_pixel_mm:g}, which makes {self.c_arm_pixels} "
                f"pixels along a side: use what makes {_FEWEST_PIXELS} to {_MOST_PIXELS}"
            )
