"""What must be done before what in theatre, when one can still stop, and what to do in trouble.

Nobody measured these. They are how such operations are commonly done, as far as is known here;
where a statement has no source it says so. No drug and no dose is named: local protocol.
Acts and troubles go by the words that ``case`` and ``resection`` know them by.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from vertebloc.published.source import Grade, Known, refuse_unsourced

COMMON_PRACTICE = "common-practice"


@dataclass(frozen=True, slots=True, kw_only=True)
class Practice:
    """A statement of how things are done."""

    what: str
    source: str = COMMON_PRACTICE
    place: str = "no source"
    grade: Grade = "assumed"
    known: Known = "memory medium"

    def __post_init__(self) -> None:
        """Refuse a statement that does not say where it is from.

        Raises
        ------
        InputError
            If what, source, place, grade or how it is known is missing.
        """
        refuse_unsourced(
            what=self.what,
            source=self.source,
            place=self.place,
            grade=self.grade,
            known=self.known,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Precondition:
    """One act that another one needs before it."""

    then: str  #: the act that needs
    first: str  #: the act that is needed
    why: Practice
    impossible: bool = False  #: whether the other order cannot be done at all


@dataclass(frozen=True, slots=True, kw_only=True)
class Stopping:
    """Whether one can stop after an act, close, and come back another day."""

    answer: str  #: ``yes``, ``no`` or ``only with``
    with_what: Practice


def _need(then: str, first: str, why: str, *, impossible: bool = False) -> Precondition:
    return Precondition(then=then, first=first, why=Practice(what=why), impossible=impossible)


def _never(then: str, first: str, why: str) -> Precondition:
    return _need(then, first, why, impossible=True)


_ROD = "without a rod nothing holds the spine once the column is divided"
_HELD = "the sac must be held off the blade, so it must be free first"
_TORN = "what still holds is torn when the piece is moved, or tears the sac"
_SEAT = "the piece is not free before"

PRECONDITIONS: tuple[Precondition, ...] = (
    _need("incision", "mark the tract", "a tract outside the incision stays in the patient"),
    _never("bare the arch", "incision", "the arch lies under the skin"),
    _never("screws", "bare the arch", "screws enter bone that is laid bare"),
    _never("ribs left", "bare the arch", "the ribs are reached from the laid bare arch"),
    _never("ribs right", "bare the arch", "the ribs are reached from the laid bare arch"),
    _never("open the arch", "bare the arch", "the arch lies under the muscles"),
    _need("open the arch", "count the level", "the wrong vertebra would be opened"),
    _never("temporary rod", "screws", "a rod is held by screws"),
    _never("cut the arch", "bare the arch", "the arch lies under the muscles"),
    _need("cut the arch", "open the arch", "the canal is seen from the opened side first"),
    _need("roots", "open the arch", "roots are reached in the canal and its openings"),
    _never("free the sac", "open the arch", "the sac lies in the closed ring"),
    _need("free the sac", "roots", "a root that is given up still holds the sac"),
    _need("front left", "ribs left", "heads of ribs cover the side of the body"),
    _need("front right", "ribs right", "heads of ribs cover the side of the body"),
    _need("first passes cranial", "temporary rod", _ROD),
    _need("first passes caudal", "temporary rod", _ROD),
    _need("first passes cranial", "free the sac", _HELD),
    _need("first passes caudal", "free the sac", _HELD),
    _need("protector", "front left", "the protector lies where the front was freed"),
    _need("protector", "front right", "the protector lies where the front was freed"),
    _never("last passes cranial", "first passes cranial", "last passes go on from first ones"),
    _never("last passes caudal", "first passes caudal", "last passes go on from first ones"),
    _need("last passes cranial", "protector", "the blade comes out in front, where vessels lie"),
    _need("last passes caudal", "protector", "the blade comes out in front, where vessels lie"),
    _need("last passes cranial", "temporary rod", _ROD),
    _need("last passes caudal", "temporary rod", _ROD),
    _need("ligaments and disc ring", "protector", "the front ligament lies on the vessels"),
    _never("turn out", "open the arch", "the cord lies in the closed ring"),
    _never("turn out", "cut the arch", _SEAT),
    _never("turn out", "last passes cranial", _SEAT),
    _never("turn out", "last passes caudal", _SEAT),
    _need("turn out", "temporary rod", _ROD),
    _need("turn out", "ligaments and disc ring", _TORN),
    _need("turn out", "free the sac", _TORN),
    _need("turn out", "roots", _TORN),
    _need("turn out", "ribs left", _TORN),
    _need("turn out", "ribs right", _TORN),
    _never("rebuild", "turn out", "the piece still fills the place"),
    _need("close", "rebuild", "the spine would be left in two parts"),
)

SIGNALS_WHY = Practice(
    what="a change can be laid to an act only if signals were run before and after it"
)


def _stop(answer: str, what: str) -> Stopping:
    return Stopping(answer=answer, with_what=Practice(what=what))


_PLEURA = "a rod if the arch is open; the pleura looked at, and drained if it was opened"
_BOTH_RODS = "rods on both sides and bleeding stopped"
#: By act; for the last passes, by whether those of the other cut are done.
STOPPING: Mapping[str, Stopping] = MappingProxyType(
    {
        "count the level": _stop("yes", "nothing is done yet"),
        "mark the tract": _stop("yes", "nothing is done yet"),
        "incision": _stop("yes", "the wound is closed"),
        "bare the arch": _stop("yes", "the wound is closed"),
        "screws": _stop("yes", "screws may stay"),
        "ribs left": _stop("only with", _PLEURA),
        "ribs right": _stop("only with", _PLEURA),
        "temporary rod": _stop("only with", "bleeding stopped; the rod stays"),
        "open the arch": _stop("only with", "a rod, bleeding in the canal stopped"),
        "cut the arch": _stop("only with", _BOTH_RODS),
        "roots": _stop("only with", "a rod; a root that was tied does not come back"),
        "free the sac": _stop("only with", _BOTH_RODS),
        "front left": _stop("only with", _BOTH_RODS),
        "front right": _stop("only with", _BOTH_RODS),
        "first passes cranial": _stop("only with", f"{_BOTH_RODS}; bone in front still holds"),
        "first passes caudal": _stop("only with", f"{_BOTH_RODS}; bone in front still holds"),
        "protector": _stop("only with", f"{_BOTH_RODS}, the protector taken out"),
        "last passes": _stop("only with", f"{_BOTH_RODS}, the protector taken out"),
        "last passes of both cuts": _stop(
            "no", "the column is divided: go on until it is rebuilt"
        ),
        "ligaments and disc ring": _stop("no", "nothing holds the piece: go on"),
        "turn out": _stop("only with", f"{_BOTH_RODS}; the gap in front stays open"),
        "rebuild": _stop("yes", "the wound is closed"),
        "close": _stop("yes", "the operation is over"),
    }
)


def _steps(*steps: str) -> tuple[Practice, ...]:
    return tuple(Practice(what=step) for step in steps)


def _check_list(*steps: str) -> tuple[Practice, ...]:
    return tuple(
        Practice(
            what=step,
            source="vitale2014",
            place="check-list, items in our words",
            grade="consensus",
            known="memory high",
        )
        for step in steps
    )


BAIL_OUTS: Mapping[str, tuple[Practice, ...]] = MappingProxyType(
    {
        "tumour entered": _steps(
            "stop; cover the place, suck and swab there only",
            "close the hole; change gloves and the instruments that touched it",
            "rinse by local protocol; mark the place on the pathology sheet",
            "the margin there is intralesional: say so to pathology and the tumour board",
        ),
        "sac torn": _steps(
            "stop; cover the tear, no suction on it; tell anaesthesia",
            "run the signals",
            "repair before the piece is turned if the edges can be reached, else cover and "
            "repair when it is out",
            "close watertight; flat or raised bed by local protocol",
        ),
        "vessel torn": _steps(
            "press with finger or pack; do not clamp blindly; leave the protector where it is",
            "tell anaesthesia: blood by local protocol; call the vessel surgeon",
            "a segmental vessel: see it, tie it; count the levels tied on both sides",
            "a great vessel: keep pressing until the front can be opened",
            "when it is dry: go on or stop, by the last column",
        ),
        "signals lost": _check_list(
            "stop and say so aloud; everyone listens; name the last act",
            "anaesthesia: pressure, blood count, temperature, gases, what was given",
            "neurophysiology: electrodes, relaxant, limbs; run again",
            "surgeon: undo the last act, let go of pull and rods, look for what presses, image",
            "not back: wake-up test or stop, together with those who are asked for advice",
        ),
        "piece will not move": _steps(
            "do not pull; run the signals",
            "look for what holds: bone in front, ligament, disc ring, root, rib, pleura",
            "finish that cut with the protector in place; look with the C-arm along the cut",
            "widen: the next rib or root of the plan's list, or the other side",
            "nothing helps: open the ring further or divide the piece where the plan says it "
            "costs least, and name the margin",
        ),
    }
)
