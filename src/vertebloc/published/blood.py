"""Published numbers on blood: volume of a person, what may be lost, what was lost in series.

No drug and no dose stands here: what is given, and how much, is decided by local protocol.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from vertebloc.published.source import Grade, Known, Published, refuse_unsourced


def _nadler(value: float, unit: str, sex: str) -> Published:
    return Published(
        value=value,
        unit=unit,
        what=f"coefficient of the blood volume of a {sex} adult: a h^3 + b w + c",
        population=f"{sex} adults heavier than 35 kg; h height in m, w weight in kg",
        source="nadler1962",
        place="equation, as quoted by a calculator's page",
        grade="measured",
        known="secondary",
    )


#: a (l/m^3), b (l/kg), c (l) of the blood volume a h^3 + b w + c.
BLOOD_VOLUME: Mapping[str, tuple[Published, Published, Published]] = MappingProxyType(
    {
        sex: (_nadler(a, "l/m3", sex), _nadler(b, "l/kg", sex), _nadler(c, "l", sex))
        for sex, a, b, c in (
            ("male", 0.3669, 0.03219, 0.6041),
            ("female", 0.3561, 0.03308, 0.1833),
        )
    }
)
#: Lighter people are outside of what the equation was made for.
LEAST_WEIGHT_KG = Published(
    value=35.0,
    unit="kg",
    what="weight above which the blood volume's equation is used",
    population="adults",
    source="nadler1962",
    place="as quoted by a calculator's page",
    grade="handbook",
    known="secondary",
)


def _massive(value: float, unit: str, what: str) -> Published:
    return Published(
        value=value,
        unit=unit,
        what=what,
        population="adults with critical bleeding; definitions differ between authors",
        source="blood-australia-module1",
        place="background, definitions of massive transfusion",
        grade="consensus",
        known="seen",
    )


#: From which loss on authors speak of massive transfusion: say so aloud and change the plan.
MASSIVE_BY_RATE = _massive(150.0, "ml/min", "loss of more than this a minute")
MASSIVE_IN_4_H = _massive(50.0, "%", "share of the blood volume replaced in 4 hours")
MASSIVE_UNITS = _massive(10.0, "units", "units of red cells in 24 hours, about")


@dataclass(frozen=True, slots=True, kw_only=True)
class LossSeries:
    """Blood lost in one published series of operations."""

    what: str  #: which operations
    count: int  #: how many people; 0: not said
    loss_ml: float  #: as the series gives it
    loss_is: str  #: ``mean``, or ``average`` where the page does not say which
    spread: str  #: in the series' own terms; empty: none was read
    units: str = ""  #: red cells given, in the series' own terms
    least_ml: float = 0.0  #: least and most of one person; 0: not read
    most_ml: float = 0.0
    source: str
    place: str
    grade: Grade = "measured"
    known: Known = "seen"

    def __post_init__(self) -> None:
        """Refuse a series that does not say where it is from."""
        refuse_unsourced(
            what=self.what,
            source=self.source,
            place=self.place,
            grade=self.grade,
            known=self.known,
        )


def _series(
    what: str, count: int, loss: tuple[float, str, str], source: str, place: str, units: str = ""
) -> LossSeries:
    ends = [float(end) for end in loss[2].split(" to ")] if " to " in loss[2] else [0.0, 0.0]
    return LossSeries(
        what=what,
        count=count,
        loss_ml=loss[0],
        loss_is=loss[1],
        spread=loss[2],
        least_ml=ends[0],
        most_ml=ends[1],
        units=units,
        source=source,
        place=place,
    )


_PRINTED = "average"
#: Whole operations; none of these reports blood by act.
LOSS_SERIES: tuple[LossSeries, ...] = (
    _series(
        "whole vertebra in one piece, primary tumours, all",
        21, (3310.0, "mean", ""), "smith2022", "abstract, results",
    ),
    _series(
        "the same, with blood salvaged and given back (62 %)",
        13, (2845.0, "mean", "884 to 4939"), "smith2022", "abstract, results", "3.8 (0 to 12)",
    ),
    _series(
        "the same, without",
        8, (4069.0, "mean", "297 to 8335"), "smith2022", "abstract, results", "9.3 (0 to 18)",
    ),
    _series(
        "in one piece with the front rebuilt",
        86, (1528.0, _PRINTED, "260 to 5500"), "enbloc-front2024", "abstract, results",
    ),
    _series(
        "giant cell tumour in one piece, after a short course of a drug",
        10, (2790.0, _PRINTED, "SD 1934"), "gct-short2023", "abstract, results",
    ),
    _series(
        "giant cell tumour, taken out whole, chest and loin",
        41, (2145.0, _PRINTED, ""), "gct-total2023", "abstract, results",
    ),
    _series(
        "spine tumours, vessels closed before",
        62, (2554.0, _PRINTED, "250 to 11000"), "embolised2012", "abstract, results",
        "7 (0 to 28)",
    ),
    _series(
        "primary tumours, vessels closed 24 h before or less",
        15, (1200.0, _PRINTED, "400 to 3000"), "embolised2002", "abstract, results",
    ),
)  # fmt: skip


def _estimate(value: float, what: str) -> Published:
    return Published(
        value=value,
        unit="%",
        what=what,
        population="21 operations in which what was guessed was set against what was lost",
        source="smith2022",
        place="abstract, results",
        grade="measured",
        known="seen",
    )


#: What theatre guesses is wrong, mostly too low.
GUESSED_TOO_LOW = _estimate(59.0, "share of guesses that were too low")
TOO_LOW_BY = _estimate(78.0, "mean by which those were too low")
GUESSED_TOO_HIGH = _estimate(41.0, "share of guesses that were too high")
TOO_HIGH_BY = _estimate(43.0, "mean by which those were too high")


#: How long the operation takes; the middle was not read, so the lowest stands as the value.
OPERATION_HOURS = Published(
    value=6.5,
    unit="h",
    low=6.5,
    high=19.7,
    range_is="shortest to longest",
    what="length of the operation, the shortest",
    population="21 people, whole vertebra in one piece",
    source="smith2022",
    place="abstract, results",
    grade="measured",
    known="seen",
)
#: Vessels closed this long before the operation or less, in one series.
HOURS_AFTER_CLOSING = Published(
    value=24.0,
    unit="h",
    what="time between closing vessels and the operation, at most",
    population="15 people, primary tumours of chest and loin",
    source="embolised2002",
    place="abstract, results",
    grade="measured",
    known="seen",
)


def _pressure(
    value: tuple[float, float | None, float | None],
    what: str,
    source: str,
    place: str,
    known: Known,
) -> Published:
    return Published(
        value=value[0],
        low=value[1],
        high=value[2],
        unit="mmHg",
        what=what,
        population="adults; no series of this operation",
        source=source,
        place=place,
        grade="assumed" if source == "common-practice" else "consensus",
        known=known,
    )


#: Mean arterial pressure, to set local targets against; none of them is an order.
PRESSURE_CORD_AT_RISK = _pressure(
    (80.0, None, None), "mean arterial pressure commonly kept while the cord is at risk, at least",
    "common-practice", "no source", "memory medium",
)  # fmt: skip
PRESSURE_AFTER_LOSS = _pressure(
    (85.0, 85.0, 90.0), "mean arterial pressure after injury of the cord",
    "aans2013", "recommendation on blood pressure", "memory high",
)  # fmt: skip
