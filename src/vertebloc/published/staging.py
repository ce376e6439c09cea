"""Which sectors each kind of resection allows, and how far readers agree on them.

Sector numbers here run counter-clockwise seen from the feet, 1 = left half of the spinous
process. Every set used below maps onto itself, or onto its partner, when sides are swapped
(z -> 13 - z), so the rules do not depend on which of the two countings a reader uses.
"""

from __future__ import annotations

from dataclasses import dataclass

from vertebloc.errors import InputError
from vertebloc.published.source import Grade, Known, Published, refuse_unsourced


@dataclass(frozen=True, slots=True, kw_only=True)
class SectorRule:
    """A published condition: the tumour lies within one of several sets of sectors."""

    name: str
    within: tuple[frozenset[int], ...]  #: any one set is enough
    free: frozenset[int] = frozenset()  #: sectors that must hold no tumour
    layers: frozenset[str]  #: layers in which tumour is allowed
    what: str  #: the condition in words
    source: str  #: key in sources.bib
    place: str
    grade: Grade
    known: Known
    caution: str = ""  #: what is doubtful about it, in words

    def __post_init__(self) -> None:
        """Refuse a rule without a source, or one about sectors or layers that do not exist.

        Raises
        ------
        InputError
            If the source or its place is missing, no set of sectors is given, or a sector or
            layer is unknown.
        """
        refuse_unsourced(
            what=self.what,
            source=self.source,
            place=self.place,
            grade=self.grade,
            known=self.known,
        )
        named = frozenset[int]().union(*self.within, self.free)
        if not self.within or not named <= frozenset(range(1, 13)):
            raise InputError(
                f"{self.name!r} needs at least one set of sectors from 1 to 12, "
                f"got {[sorted(allowed) for allowed in self.within]}"
            )
        if not self.layers or not self.layers <= frozenset("ABCDE"):
            raise InputError(
                f"{self.name!r} needs layers out of A to E, got {sorted(self.layers)}"
            )


_ALL_LAYERS = frozenset("ABCDE")

WHOLE_BODY = SectorRule(
    name="whole body",
    within=(frozenset(range(4, 9)), frozenset(range(5, 10))),
    layers=_ALL_LAYERS,
    what="tumour within sectors 4 to 8 or 5 to 9: at least one pedicle is free, and the ring "
    "is opened through that side",
    source="boriani1997",
    place="criteria of the three procedures",
    grade="consensus",
    known="memory high",
)

FRONT_ONLY = SectorRule(
    name="part of the body, from the front only",
    within=(frozenset(range(5, 9)),),
    layers=frozenset("AB"),
    what="tumour only in sectors 5 to 8, layers A and B; in layer C a cut from the front would "
    "enter tumour",
    source="boriani2018",
    place="type 1",
    grade="consensus",
    known="seen",
)

HALF_BODY = SectorRule(
    name="half body (sagittal)",
    within=(frozenset((3, 4, 5)), frozenset((8, 9, 10))),
    layers=_ALL_LAYERS,
    what="eccentric tumour in body, pedicle or transverse process: sectors 3 to 5 or 8 to 10",
    source="boriani1997",
    place="criteria of the three procedures",
    grade="consensus",
    known="memory medium",
    caution="later papers write 2 to 5 or 7 to 11, which are not mirror images of each other",
)

ARCH = SectorRule(
    name="posterior arch",
    within=(frozenset((10, 11, 12, 1, 2, 3)),),
    free=frozenset((4, 9)),
    layers=_ALL_LAYERS,
    what="tumour only in sectors 10 to 3; both pedicles, sectors 4 and 9, are free",
    source="boriani2018",
    place="type 2a for the free pedicles; sectors 10 to 3 as in the criteria of 1997",
    grade="consensus",
    known="memory high",
)

RULES = (WHOLE_BODY, FRONT_ONLY, HALF_BODY, ARCH)

#: Layer D threatens the margin at the dura. Seen for the posterior arch (type 2a); that it
#: holds for a whole body in the same way is our reading, printed with every verdict that uses it.
EPIDURAL_MARGIN_SOURCE = "boriani2018"

OPENING_SECTORS = Published(
    value=3,
    unit="sectors",
    what="neighbouring free posterior sectors wanted for an opening as wide as the sac",
    population="practice wording, varies",
    source="boriani1997",
    place="practice wording; place not known",
    grade="consensus",
    known="memory low",
)

_READERS = "15 cases read by 18 surgeons"


def _kappa(value: float, of: str) -> Published:
    return Published(
        value=value,
        unit="-",
        what=f"agreement between readers (kappa) on {of}",
        population=_READERS,
        source="chan2009",
        place="abstract",
        grade="measured",
        known="seen",
    )


KAPPA_SECTORS = _kappa(0.31, "sectors")
KAPPA_LAYERS = _kappa(0.58, "layers")
KAPPA_PROCEDURE = _kappa(0.54, "the procedure that the sectors recommend")
