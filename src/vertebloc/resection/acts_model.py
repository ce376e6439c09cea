"""What an order of acts consists of."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from vertebloc.case.choice_words import Act
from vertebloc.case.choices import Override


class StopAnswer(Enum):
    """Can we still stop after this act, close, and come back?"""

    YES = "yes"
    NO = "no"
    ONLY_WITH = "only with"


class Trouble(Enum):
    """What may go wrong in an act and has a way to go on."""

    TUMOUR_ENTERED = "tumour entered"
    SAC_TORN = "sac torn"
    VESSEL_TORN = "vessel torn"
    SIGNALS_LOST = "signals lost"
    PIECE_STUCK = "piece will not move"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedAct:
    """One act of this plan."""

    act: Act
    parts: tuple[str, ...]  #: what of this plan it is about, such as ribs or half cuts
    needs: tuple[Act, ...]  #: acts of this plan that come first
    dangerous: bool  #: signals are run before and after it
    stop: StopAnswer
    stop_in_words: str
    troubles: tuple[Trouble, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderWarning:
    """A precondition that the chosen order breaks; it wants a name and a reason."""

    words: str
    override: Override | None  #: who set it aside and why; None: still open


@dataclass(frozen=True, slots=True, kw_only=True)
class ActOrder:
    """All acts in the order in which they are to be done."""

    acts: tuple[PlannedAct, ...]
    by_rule: bool
    warnings: tuple[OrderWarning, ...]
    notes: tuple[str, ...]

    @property
    def open_warnings(self) -> tuple[OrderWarning, ...]:
        """Warnings that nobody has set aside."""
        return tuple(warning for warning in self.warnings if warning.override is None)
