"""Which first draft is made next: what is missing stands first, nearest to the tumour first."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour
from vertebloc.outlining.record import OutlineState
from vertebloc.reports import outline_words as words

#: Heading of each group, and the states that belong to it, in the order shown.
_GROUPS = (
    (words.MISSING, (OutlineState.NOT_DRAWN,)),
    (words.STILL_DRAFT, (OutlineState.DRAFT,)),
    (words.IS_OUTLINED, (OutlineState.IMPORTED, OutlineState.CONFIRMED)),
)
Group = tuple[str, tuple[str, ...]]


def draft_groups(
    offered: Sequence[Contour], states: Mapping[Contour, OutlineState], diseased: Level | None
) -> tuple[Group, ...]:
    """Sort what can be drafted by what is known of it.

    Parameters
    ----------
    offered : sequence of Contour
        What can be drafted.
    states : mapping of Contour to OutlineState
        Of what is outlined; anything else is missing.
    diseased : Level or None
        The diseased vertebra, if it is chosen: bones near it come first.

    Returns
    -------
    tuple of (str, tuple of str)
        Heading and outlines in words; no empty group. What is of no level stands before bones.
    """
    levels = sorted({contour.level for contour in offered if contour.level is not None})
    near = bisect_left(levels, diseased) if diseased is not None else None

    def far(contour: Contour) -> int:
        if contour.level is None:
            return -1
        return abs(levels.index(contour.level) - near) if near is not None else 0

    found = []
    for heading, wanted in _GROUPS:
        held = [c for c in offered if states.get(c, OutlineState.NOT_DRAWN) in wanted]
        held.sort(key=far)  # else as they are offered
        if held:
            found.append((heading, tuple(contour.words for contour in held)))
    return tuple(found)
