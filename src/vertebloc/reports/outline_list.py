"""What a case has outlines of, a row a structure: levels as a range, sides together."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour
from vertebloc.space.frames import Side

BOTH = "both sides"


def outline_rows(contours: Iterable[Contour]) -> tuple[tuple[tuple[str, str], ...], str]:
    """Rows for structures that are there more than once, and a line of the others.

    Parameters
    ----------
    contours : iterable of Contour
        What is outlined, in any order.

    Returns
    -------
    rows : tuple of (str, str)
        Structure, and at which levels or sides, such as ``("rib", "T9-T12 both sides")``.
    single : str
        Names of what is there once, with commas.
    """
    by_name: dict[str, list[Contour]] = {}
    for one in contours:
        name = Contour(one.structure, part=one.part).words
        by_name.setdefault(name, []).append(one)
    rows, single = [], []
    for name, those in sorted(by_name.items()):
        if len(those) == 1:
            single.append(those[0].words)
        else:
            rows.append((name, _where(those)))
    return tuple(rows), ", ".join(single)


def _where(those: Sequence[Contour]) -> str:
    """Levels by side; both sides in one where they have the same."""
    levels: dict[Side | None, tuple[Level, ...]] = {}
    for side in (None, *Side):
        own = [one for one in those if one.side is side]
        if own:
            levels[side] = tuple(sorted(one.level for one in own if one.level is not None))
    if {*levels} == {*Side} and len(set(levels.values())) == 1:
        return f"{_ranges(next(iter(levels.values())))} {BOTH}".strip()
    return "; ".join(
        " ".join(filter(None, (side.value if side is not None else "", _ranges(own))))
        for side, own in levels.items()
    )


def _ranges(levels: Sequence[Level]) -> str:
    """Neighbours as a range, such as ``T7-T9, T11``; a region never runs into the next."""

    def run(numbered: tuple[int, Level]) -> tuple[str, int]:
        place, level = numbered
        return level.region, level.number - place

    said = []
    for _, group in groupby(enumerate(levels), key=run):
        own = [level for _, level in group]
        said.append(str(own[0]) if len(own) == 1 else f"{own[0]}-{own[-1]}")
    return ", ".join(said)
