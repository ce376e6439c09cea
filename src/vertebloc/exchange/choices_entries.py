"""Every entry of the choices file: its place, what is allowed there, and why its default."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from typing import Any

from vertebloc.anatomy.levels import Level
from vertebloc.case.choice_words import (
    Act,
    ArchPart,
    BoneChoice,
    CountedFrom,
    CuffSurface,
    DeliverySide,
    FrontBefore,
    FrontRelease,
    KindChoice,
    OpenSide,
    Placement,
    PlanningExtent,
    RibFateChoice,
    RibPairs,
    SoftFace,
    StandingSide,
    TractChoice,
    Transitional,
)
from vertebloc.case.choices import Choices, CuffChoice
from vertebloc.case.way_out_choice import WAY_OUT_NAMES
from vertebloc.errors import InputError
from vertebloc.exchange.choices_allowed import (
    Count,
    ListOf,
    Moment,
    Number,
    OneOf,
    Text,
    Vertebra,
    Vertebrae,
)
from vertebloc.exchange.choices_theatre import THEATRE
from vertebloc.exchange.choices_way_out import WAY_OUT_LINES
from vertebloc.space.frames import Side

Path = tuple[str, ...]
Value = str | float | int | Enum | tuple[Enum, ...] | tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the choices file."""

    path: Path
    allowed: OneOf[Any] | ListOf[Any] | Number | Text | Vertebra | Vertebrae | Moment | Count
    what: str  #: what it means
    why: str = ""  #: reason of the default

    @property
    def key(self) -> str:
        """The entry's full name as people write it, such as ``level.diseased``."""
        return key_in_words(self.path)


def key_in_words(path: Path) -> str:
    """Write a path of keys as TOML does.

    Parameters
    ----------
    path : tuple of str
        Tables and key.

    Returns
    -------
    str
        Such as ``cuff."left side".surface``.
    """
    bare = "abcdefghijklmnopqrstuvwxyz_0123456789-"
    return ".".join(
        part if part and set(part.lower()) <= set(bare) else f'"{part}"' for part in path
    )


def split_rib(key: str) -> tuple[str, Side]:
    """Read the name of a rib in the choices file.

    Parameters
    ----------
    key : str
        Such as ``T10 left``.

    Returns
    -------
    tuple of str and Side
        Vertebra it belongs to, and side of the patient.

    Raises
    ------
    InputError
        If it does not name a rib.
    """
    words = key.split()
    if len(words) != 2:
        raise InputError(f"{key!r} names no rib")
    level = Level.parse(words[0])
    try:
        side = Side(words[1].lower())
    except ValueError as error:
        raise InputError(f"{key!r} names no side") from error
    if level.region != "T":
        raise InputError(f"{key!r}: ribs belong to T1-T13")
    return level.name, side


def _entries() -> Iterator[Entry]:
    assumed = "assumed, nobody measured it: set your own"
    yield Entry(
        ("wanted_margin_mm",),
        Number("wanted_margin_mm"),
        "Tissue free of tumour wanted at every bone face of the piece, mm",
        assumed,
    )
    yield from _kind_entries()
    yield Entry(
        ("standing_side",),
        OneOf(StandingSide),
        "Side of the patient at which you stand; turns the theatre pictures",
        "assumed; pictures are turned, never mirrored",
    )
    yield Entry(
        ("delivery_side",),
        OneOf(DeliverySide),
        "Side of the patient to which the piece is to be turned out",
        "not computed yet which is better",
    )
    yield Entry(
        ("planning_extent",),
        OneOf(PlanningExtent),
        "Extent of the tumour that is planned for",
        "the extent before any drug shrank it",
    )
    yield Entry(
        ("contour_error_mm",),
        Number("contour_error_mm"),
        "How far the outlines may be wrong, mm",
        assumed,
    )
    yield Entry(
        ("kerf_mm",),
        Number("kerf_mm"),
        "Bone lost to the blade, mm; taken from the side that stays",
        assumed,
    )
    yield Entry(
        ("tract",),
        OneOf(TractChoice),
        "What happens to the biopsy tract in soft tissue; the tract in bone counts as tumour",
        "a tract is taken as tumour",
    )
    yield from _front_entries(assumed)
    yield Entry(
        ("acts_order",),
        ListOf(Act),
        "Order of the acts in theatre; what it breaks is warned of, and wants an override",
        "the rule is printed with the plan",
    )
    yield from _table_entries()


def _front_entries(assumed: str) -> Iterator[Entry]:
    yield Entry(
        ("finger_reach_mm",),
        Number("finger_reach_mm"),
        "How far your finger reaches along the body wall from the rib bed, mm",
        assumed,
    )
    yield Entry(
        ("front_before",),
        OneOf(FrontBefore),
        "Surgery or radiation in front of the spine before",
        "only a person can say it; printed as not said",
    )
    yield Entry(
        ("front_release",),
        OneOf(FrontRelease),
        "Whether the front is freed in a stage of its own before the one from behind",
        "the plan says whether it is needed",
    )


def _kind_entries() -> Iterator[Entry]:
    yield Entry(
        ("kind",),
        OneOf(KindChoice),
        "What comes out in one piece: whole bodies, half a body, or the arch alone",
        "the kind for a tumour of the body",
    )
    yield Entry(
        ("levels",),
        Vertebrae(),
        "Vertebrae whose bodies come out whole, with the discs between; whole body only",
        "one vertebra is taken unless more are named",
    )
    yield Entry(
        ("sagittal_cut_mm",),
        Number("sagittal_cut_mm"),
        "Half body only: where the body is cut lengthwise, mm left of its mid-plane; negative: "
        "right of it",
        "in the mid-plane",
    )


def _table_entries() -> Iterator[Entry]:
    yield from _level_entries()
    for cut in ("cranial", "caudal"):
        yield from _cut_entries(cut)
    yield from _arch_entries()
    yield from (Entry(*line) for line in WAY_OUT_LINES)
    for face in SoftFace:
        yield Entry(
            ("cuff", face.value, "surface"),
            OneOf(CuffSurface),
            f"Surface along which the face {face.value!r} is dissected",
            "nothing is promised that is not drawn",
        )
        yield Entry(("cuff", face.value, "thickness_mm"), Number("thickness_mm"),
                    "Thickness of the cuff outside the tumour, mm; 0 on the tumour")  # fmt: skip
    yield Entry(
        ("sides", "confirmed_by"),
        Text(),
        "Only if a check of left and right contradicts: who says that the images are right",
        "no such check is set aside",
    )
    yield Entry(("sides", "reason"), Text(), "Why, for example how the side was checked")
    yield from (Entry(("theatre", line[0]), *line[1:]) for line in THEATRE)


def _level_entries() -> Iterator[Entry]:
    yield Entry(
        ("level", "diseased"),
        Vertebra(),
        "The diseased vertebra",
        "to be named by the team",
    )
    yield Entry(
        ("level", "confirmed_by"),
        Text(),
        "Who confirmed the level; empty: it prints as unconfirmed",
        "only a person can confirm it",
    )
    yield Entry(
        ("level", "counted_from"),
        OneOf(CountedFrom),
        "End from which it was counted, and will be counted again in theatre",
        "only a person can say it",
    )
    yield Entry(
        ("level", "confirmed_at"),
        Moment(),
        "When it was confirmed; empty: it prints as unconfirmed",
    )
    yield Entry(
        ("level", "count"),
        Count(),
        "Number said at the diseased vertebra; the end's own vertebra is number 1",
        "only a person can count",
    )
    yield Entry(
        ("level", "marker_at"),
        Vertebra(),
        "Vertebra that carries the placed marker, if it is counted from one",
    )
    yield Entry(
        ("level", "rib_pairs"),
        OneOf(RibPairs),
        "How many pairs of ribs this person has; empty: asked, the level prints as unconfirmed",
        "it is never assumed",
    )
    yield Entry(
        ("level", "transitional"),
        OneOf(Transitional),
        "Vertebra with features of two regions; empty: asked, the level prints as unconfirmed",
        "it is never assumed",
    )


def _cut_entries(cut: str) -> Iterator[Entry]:
    yield Entry(
        ("cuts", cut, "placed"),
        OneOf(Placement),
        f"How the {cut} cut through the bodies gets its place; by hand needs the two tables below",
        "the rule is printed with the plan",
    )
    for side in Side:
        table = ("cuts", cut, side.value)
        yield Entry(
            (*table, "height_mm"),
            Number("height_mm"),
            "Entry edge above the MIDDLE of the diseased body, in its own frame, mm; "
            "negative: below (pages and sheet say it from the neighbour's endplate)",
        )
        yield Entry(
            (*table, "tilt_deg"),
            Number("tilt_deg"),
            "Tilt about the entry edge, degrees; positive: the blade's tip goes towards the head",
        )
        yield Entry((*table, "roll_deg"), Number("roll_deg"), "Roll about the blade, degrees")


def _arch_entries() -> Iterator[Entry]:
    yield Entry(
        ("arch", "open_side"),
        OneOf(OpenSide),
        "Side through which the arch is opened",
        "the side without tumour, as the plan finds it",
    )
    for part in ArchPart:
        yield Entry(
            ("arch", "parts", part.value),
            OneOf(BoneChoice),
            f"Fate of the {part.value}",
            "as the plan finds it" if part is ArchPart.RIGHT_PEDICLE else "",
        )


#: Every entry, in the order of the file. Ribs and overrides are lists of the team's making.
ENTRIES: tuple[Entry, ...] = tuple(_entries())
RIB_FATE = OneOf(RibFateChoice)
RIB_LENGTH = Number("length_mm")
RIB_ALLOWED = (
    f"{RIB_FATE.allowed}, or {{ fate = ..., length_mm = ... }} for a rib that is "
    '"removed" or left with its "head on piece"'
)
OVERRIDE_KEYS = ("what", "who", "reason")
OTHER_COUNT: dict[str, Text | Vertebra | OneOf[CountedFrom] | Count] = {
    "series": Text(),
    "level": Vertebra(),
    "counted_from": OneOf(CountedFrom),
    "count": Count(),
    "who": Text(),
}


def values_of(choices: Choices) -> dict[Path, Value]:
    """List the value of every entry of the file; halves of cuts only if placed by hand.

    Parameters
    ----------
    choices : Choices
        The team's choices.

    Returns
    -------
    dict
        Path of an entry -> its value.
    """
    values: dict[Path, Value] = {
        ("wanted_margin_mm",): choices.wanted_margin_mm,
        ("kind",): choices.kind,
        ("levels",): choices.levels,
        ("sagittal_cut_mm",): choices.sagittal_cut_mm,
        ("standing_side",): choices.standing_side,
        ("delivery_side",): choices.delivery_side,
        ("planning_extent",): choices.planning_extent,
        ("contour_error_mm",): choices.contour_error_mm,
        ("kerf_mm",): choices.kerf_mm,
        ("tract",): choices.tract,
        ("finger_reach_mm",): choices.finger_reach_mm,
        ("front_before",): choices.front_before,
        ("front_release",): choices.front_release,
        ("acts_order",): choices.acts_order,
        ("level", "diseased"): choices.level.diseased,
        ("level", "confirmed_by"): choices.level.confirmed_by,
        ("level", "counted_from"): choices.level.counted_from,
        ("level", "confirmed_at"): choices.level.confirmed_at,
        ("level", "count"): choices.level.count,
        ("level", "marker_at"): choices.level.marker_at,
        ("level", "rib_pairs"): choices.level.rib_pairs,
        ("level", "transitional"): choices.level.transitional,
        ("arch", "open_side"): choices.arch.open_side,
        ("sides", "confirmed_by"): choices.sides.confirmed_by,
        ("sides", "reason"): choices.sides.reason,
    }
    values |= {("way_out", name): getattr(choices.way_out, name) for name in WAY_OUT_NAMES}
    for name, *_ in THEATRE:
        values["theatre", name] = getattr(choices.theatre, name)
    for cut, choice in (("cranial", choices.cranial_cut), ("caudal", choices.caudal_cut)):
        values["cuts", cut, "placed"] = choice.placed
        for side, half in choice.halves.items():
            for name in ("height_mm", "tilt_deg", "roll_deg"):
                values["cuts", cut, side.value, name] = getattr(half, name)
    for part, fate in choices.arch.parts.items():
        values["arch", "parts", part.value] = fate
    for face in SoftFace:
        cuff = choices.cuffs.get(face, CuffChoice())
        values["cuff", face.value, "surface"] = cuff.surface
        values["cuff", face.value, "thickness_mm"] = cuff.thickness_mm
    return values
