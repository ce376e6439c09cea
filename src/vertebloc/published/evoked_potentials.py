"""Published criteria for a change of evoked potentials, and which roots and levels matter.

Which criterion a team uses is agreed beforehand and written on the sheet; none is chosen here.
"""

from __future__ import annotations

from dataclasses import dataclass

from vertebloc.published.source import Grade, Known, Published, refuse_unsourced


@dataclass(frozen=True, slots=True, kw_only=True)
class Criterion:
    """When a change is called a change, as somebody published it."""

    what: str
    found: str = ""  #: sensitivity and specificity, in the source's numbers
    source: str
    place: str
    grade: Grade = "consensus"
    known: Known = "seen"

    def __post_init__(self) -> None:
        """Refuse a criterion that does not say where it is from."""
        refuse_unsourced(
            what=self.what,
            source=self.source,
            place=self.place,
            grade=self.grade,
            known=self.known,
        )


CRITERIA: tuple[Criterion, ...] = (
    Criterion(
        what="muscle response gone: always major",
        found="30 %, 99.3 % (25 studies, 9409 people)",
        source="macdonald2017",
        place="criteria for the spinal cord; numbers from mep-review2017",
    ),
    Criterion(
        what="muscle response smaller by more than 80 %: minor or moderate",
        found="71.7 %, 98.3 % (25 studies, 9409 people)",
        source="macdonald2017",
        place="criteria for the spinal cord; numbers from mep-review2017",
    ),
    Criterion(
        what="muscle response smaller by 70 % or more: alarm",
        found="95 %, 91 %; 32.8 % of the alarms were true (959 people, 18 centres)",
        source="kobayashi2014",
        place="abstract, results",
        grade="measured",
    ),
    Criterion(
        what="threshold up by 100 V or more at once: minor or moderate",
        source="macdonald2017",
        place="criteria for the spinal cord",
    ),
    Criterion(
        what="sensory response smaller by 50 % or more, or later by 10 % or more",
        source="common-practice",
        place="no source",
        grade="assumed",
        known="memory high",
    ),
)


def _levels(value: float, what: str, source: str, place: str, population: str) -> Published:
    return Published(
        value=value,
        unit="levels",
        what=what,
        population=population,
        source=source,
        place=place,
        grade="measured",
        known="seen",
    )


#: Segmental vessels closed on both sides at neighbouring levels.
LEVELS_AT_RISK = _levels(
    5.0, "neighbouring levels with both segmental arteries closed from which on the cord is at "
    "risk", "fujimaki2006", "abstract, results", "dogs",
)  # fmt: skip
LEVELS_CLOSED_BEFORE = _levels(
    3.0, "neighbouring levels to which closing vessels before the operation was limited",
    "sugita2015", "abstract, methods", "people with two whole vertebrae taken, 7",
)  # fmt: skip


def _great_artery(value: float, what: str) -> Published:
    return Published(
        value=value,
        unit="%",
        what=what,
        population="5437 people in 60 studies",
        source="taterra2019",
        place="abstract, results",
        grade="measured",
        known="seen",
    )


#: The great artery of the front of the cord (arteria radicularis magna).
GREAT_ARTERY_LEFT = _great_artery(76.6, "share whose great artery of the cord comes from the left")
GREAT_ARTERY_T8_L1 = _great_artery(89.0, "share whose great artery of the cord enters at T8 to L1")
GREAT_ARTERY_SEEN = _great_artery(84.6, "share in whom the great artery of the cord was seen")
