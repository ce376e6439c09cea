"""The sheet's pages of the C-arm: one large picture a page, to be read from two metres."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from vertebloc.reports import c_arm_text as words
from vertebloc.reports import text
from vertebloc.reports.page_words import Question
from vertebloc.reports.sheet_pages import SheetPage, SheetPicture, SheetTable

_WIDE_MM = 175.0  #: printed: a page holds it, and large letters are then 22 points high
_KEPT = "c-arm-"

Draw = Callable[[str, str, float], SheetPicture | None]


def c_arm_pages(
    document: Mapping[str, Any], names: tuple[str, ...], draw: Draw
) -> tuple[SheetPage, ...]:
    """Make the pages of the C-arm.

    Parameters
    ----------
    document : mapping
        Content of plan.json.
    names : tuple of str
        Names of all saved drawings.
    draw : callable
        Makes a picture of a saved drawing: its name, what it shows, its width in mm.

    Returns
    -------
    tuple of SheetPage
        The settings, then each picture large; none for a plan of an older version.
    """
    if "c_arm" not in document:
        return ()
    c_arm = document["c_arm"]
    pages = [_settings(document)]
    kept = sorted((name for name in names if name.startswith(_KEPT)), key=_order)
    for name in kept:
        pages.append(
            SheetPage(
                title=Question.C_ARM.value,
                sentence=_said_of(c_arm, name),
                picture=draw(name, words.PREDICTED_FROM_CT, _WIDE_MM),
            )
        )
    return tuple(pages)


def _settings(document: Mapping[str, Any]) -> SheetPage:
    c_arm = document["c_arm"]
    rows = [
        (
            one["cut"],
            words.short(f"{view['beam']}, {view['end']}"),
            words.bone_words(view["bone_in_way_mm"]),
            words.short(view["central_ray"]),
        )
        for one in c_arm["cuts"]
        for view in one["views"]
    ]
    rows += [
        (
            f"{words.STRIP} {place}",
            words.short(f"{one['beam']}, {one['end']}"),
            "",
            f"{words.short(one['central_ray'])}; {words.counted_row(one['vertebrae'])}",
        )
        for place, one in enumerate(c_arm["strip"]["views"], start=1)
    ]
    bases = [one["how"].split(". ", maxsplit=1)[0] for one in c_arm["straight"]]
    notes = [*bases, c_arm.get("distances", ""), *c_arm["assumed"]]
    return SheetPage(
        title=Question.C_ARM.value,
        sentence=c_arm["words"],
        must_not_be_overlooked=not c_arm["strip"]["level_confirmed"]
        or bool(c_arm["strip"]["why_not"]),
        table=SheetTable(headings=words.HEADINGS, rows=tuple(rows)),
        notes=f"{words.CAUTION} {text.joined_sentences(*notes)}",
    )


def _order(name: str) -> tuple[int, int]:
    """Straight views, lines, the strip."""
    kinds = ("c-arm-behind", "c-arm-side", "c-arm-line", "c-arm-strip")
    place = next(n for n, kind in enumerate(kinds) if name.startswith(kind))
    number = name.rsplit("-", 1)[-1]
    return place, int(number) if number.isdigit() else 0


def _said_of(c_arm: Mapping[str, Any], name: str) -> str:
    """Below which words a picture stands: its setting, or its count."""
    if name.startswith("c-arm-strip"):
        counted = c_arm["strip"]["counted_from"]
        rows = "; ".join(words.counted_row(one["vertebrae"]) for one in c_arm["strip"]["views"])
        said = f"{words.STRIP} from the {counted}: {rows}. {words.CAUTION}"
        return said if c_arm["strip"]["level_confirmed"] else f"{words.UNCONFIRMED} {said}"
    return words.CAUTION
