"""First drafts of outlines from a few places pointed at; each is a draft until confirmed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError
from vertebloc.outlining.first_drafts.aorta import draft_vessel
from vertebloc.outlining.first_drafts.canal import find_spine
from vertebloc.outlining.first_drafts.ribs import draft_rib
from vertebloc.outlining.first_drafts.skeleton import draft_bone
from vertebloc.outlining.first_drafts.soft import draft_lung, draft_skin
from vertebloc.outlining.first_drafts.spine import draft_canal, draft_vertebrae
from vertebloc.outlining.model import OutlineMask
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftMaker:
    """What makes a first draft."""

    contour: Contour  #: what it drafts
    places: tuple[str, ...]  #: what is pointed at, one after the other, in words
    #: takes the images and the (n, 3) places, patient LPS; raises InputError if it cannot
    make: Callable[[Volume, Points], Mapping[Contour, OutlineMask]]

    @property
    def words(self) -> str:
        """What is chosen, such as ``aorta``."""
        return self.contour.words


def maker_named(words: str) -> DraftMaker:
    """What makes a first draft, by its words.

    Parameters
    ----------
    words : str
        Such as ``aorta`` or ``vertebra of T8``.

    Returns
    -------
    DraftMaker
        The maker.

    Raises
    ------
    InputError
        If nothing of these words can be drafted.
    """
    wanted = " ".join(words.split()).lower()
    for maker in DRAFT_MAKERS:
        if maker.words.lower() == wanted:
            return maker
    some = ", ".join(maker.words for maker in DRAFT_MAKERS[:5])
    raise InputError(
        f"{words!r} cannot be drafted: {some}, vertebra of T8 (T1-T13, L1-L6), left rib of T8 "
        "(T1-T13, left or right) can"
    )


def _outlined(images: Volume, contour: Contour, found: Volume) -> dict[Contour, OutlineMask]:
    """A mask on a piece of the images' grid as an outline."""
    origin = images.grid.lps_from_ijk.inverse.points(found.grid.lps_from_ijk.origin)[0]
    return {contour: OutlineMask.of(np.rint(origin).astype(int), found.values)}


def _single(contour: Contour, place: str, draft: Callable[[Volume, Points], Volume]) -> DraftMaker:
    def make(images: Volume, places: Points) -> Mapping[Contour, OutlineMask]:
        return _outlined(images, contour, draft(images, places[0]))

    return DraftMaker(contour=contour, places=(place,), make=make)


def _aorta() -> DraftMaker:
    contour = Contour(Structure.AORTA)

    def make(images: Volume, places: Points) -> Mapping[Contour, OutlineMask]:
        return _outlined(images, contour, draft_vessel(images, places[0], places[1]))

    ends = ("its upper end, inside", "its lower end, inside")
    return DraftMaker(contour=contour, places=ends, make=make)


def _lung(side: Side) -> DraftMaker:
    def draft(images: Volume, place: Points) -> Volume:
        spine = find_spine(images, float(place[2]) - 40.0, float(place[2]) + 40.0)
        found = Side.LEFT if place[0] > spine[:, 0].mean() else Side.RIGHT
        if found is not side:
            raise InputError(
                f"the place lies on the patient's {found.value}, but the lung is said to be the "
                f"{side.value} one: check the sides"
            )
        return draft_lung(images, place)

    return _single(Contour(Structure.LUNG, side=side), "inside the lung", draft)


def _vertebra(level: Level) -> DraftMaker:
    def draft(images: Volume, place: Points) -> Volume:
        return draft_vertebrae(images, {level: place}).masks[level]

    return _single(Contour(Structure.VERTEBRA, level), "the middle of its body", draft)


def _rib(level: Level, side: Side) -> DraftMaker:
    def draft(images: Volume, place: Points) -> Volume:
        return draft_rib(images, place, side)

    return _single(Contour(Structure.RIB, level, side), "inside the rib", draft)


_THORACIC = tuple(Level(f"T{number}") for number in range(1, 14))
_LUMBAR = tuple(Level(f"L{number}") for number in range(1, 7))
#: In the order in which they are offered.
DRAFT_MAKERS: tuple[DraftMaker, ...] = (
    _aorta(),
    _single(Contour(Structure.CANAL), "the middle of the canal", draft_canal),
    _single(Contour(Structure.OTHER, part="bone"), "inside a bone", draft_bone),
    *(_lung(side) for side in (Side.LEFT, Side.RIGHT)),
    _single(Contour(Structure.SKIN), "on the skin", draft_skin),
    *(_vertebra(level) for level in (*_THORACIC, *_LUMBAR)),
    *(_rib(level, side) for level in _THORACIC for side in (Side.LEFT, Side.RIGHT)),
)
