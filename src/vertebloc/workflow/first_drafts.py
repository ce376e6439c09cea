"""First drafts of outlines from a few places pointed at; each is a draft until confirmed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from vertebloc.anatomy.structures import Contour
from vertebloc.outlining.model import OutlineMask
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftMaker:
    """What makes a first draft."""

    words: str  #: what is pressed, such as ``aorta``
    places: tuple[str, ...]  #: what is pointed at, one after the other, in words
    #: takes the images and the (n, 3) places, patient LPS; raises InputError if it cannot
    make: Callable[[Volume, Points], Mapping[Contour, OutlineMask]]


#: In the order in which they are offered.
DRAFT_MAKERS: tuple[DraftMaker, ...] = ()
