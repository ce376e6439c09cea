"""The spine around the places clicked on: box, canal, discs, bodies, and who owns the bone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vertebloc.anatomy.levels import Level
from vertebloc.errors import InputError
from vertebloc.outlining.first_drafts.arches import Shared, canal_voxels, share_out
from vertebloc.outlining.first_drafts.bodies import Body, draft_body
from vertebloc.outlining.first_drafts.box import cut_box, on_grid
from vertebloc.outlining.first_drafts.canal import TrackedCanal, track_canal
from vertebloc.outlining.first_drafts.discs import Disc, body_density, find_disc_planes
from vertebloc.outlining.first_drafts.settings import SETTINGS
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points

_AROUND_MM = np.array([62.0, 62.0, 3.0])  #: of the canal's line that is looked at
_BEHIND_MM = 72.0
_BEYOND = 1  #: neighbours on either side that are drafted too, so that joints are shared out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spine:
    """What was found around the places."""

    box: Volume  #: Hounsfield units on even voxels
    canal: TrackedCanal
    bodies: tuple[Body, ...]  #: from the head to the feet


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class VertebraDrafts:
    """Drafts of the vertebrae clicked on."""

    masks: Mapping[Level, Volume]  #: boolean, on pieces of the CT's grid
    canal: Volume  #: the canal behind them and their neighbours
    spine: Spine
    shared: Shared


def lay_out(ct: Volume, places: Points) -> Spine:
    """Find canal, discs and bodies around places in bodies.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    places : (n, 3) float64, mm, patient LPS
        Inside the bodies clicked on.

    Returns
    -------
    Spine
        The bodies clicked on and one neighbour more on either side, if the images show it.

    Raises
    ------
    InputError
        If canal or discs are not found.
    """
    canal = track_canal(ct, places)
    line = canal.line.points
    high = line.max(axis=0) + np.array([_AROUND_MM[0], _BEHIND_MM, _AROUND_MM[2]])
    box = cut_box(ct, line.min(axis=0) - _AROUND_MM, high, SETTINGS.voxel_mm)
    discs = find_disc_planes(box, canal, places)
    gaps = list(pairwise(discs))
    wanted = [n for n, (a, b) in enumerate(gaps) for p in places if _between(p, a, b)]
    if not wanted:
        raise InputError("no body was found at the place: click in the middle of a body")
    first, last = max(min(wanted) - _BEYOND, 0), min(max(wanted) + _BEYOND, len(gaps) - 1)
    dense = body_density(box, places)
    bodies = tuple(draft_body(box, canal, a, b, dense) for a, b in gaps[first : last + 1])
    return Spine(box=box, canal=canal, bodies=bodies)


def _between(place: NDArray[np.float64], above: Disc, below: Disc) -> bool:
    over = float((place - below.centre) @ below.up)
    return over >= 0.0 and float((above.centre - place) @ above.up) > 0.0


def draft_vertebrae(ct: Volume, places: Mapping[Level, NDArray[np.float64]]) -> VertebraDrafts:
    """Vertebrae with their arches, each from one place inside its body.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    places : mapping of Level to (3,) float64, mm, patient LPS
        A place inside the body of each.

    Returns
    -------
    VertebraDrafts
        Masks on the CT's grid.

    Raises
    ------
    InputError
        If a place is in no body, or the levels and the discs between the places do not agree.

    Notes
    -----
    Tumour that has dissolved bone is not drafted with the arch, only within a body's wall.
    """
    levels = sorted(places)
    spine = lay_out(ct, np.array([places[level] for level in levels], dtype=np.float64))
    numbers = _numbers(spine, places)
    names = _named(spine, numbers)
    shared = share_out(
        spine.box, spine.canal, spine.bodies, with_ribs=[name == "T" for name in names]
    )
    masks = {}
    for level in levels:
        masks[level] = on_grid(solid(spine.box, shared, numbers[level]), ct.grid)
    hollow = ndimage.gaussian_filter(shared.canal.astype(np.float32), 0.5)
    canal = on_grid(Volume(spine.box.grid, hollow), ct.grid)
    return VertebraDrafts(masks=masks, canal=canal, spine=spine, shared=shared)


def draft_canal(ct: Volume, place: NDArray[np.float64]) -> Volume:
    """The spinal canal up and down from one place in it.

    Parameters
    ----------
    ct : Volume
        Hounsfield units.
    place : (3,) float64, mm, patient LPS
        In the canal, where bone is around.

    Returns
    -------
    Volume
        Boolean, on the CT's grid: some 85 mm up and down, or to where the images end.

    Raises
    ------
    InputError
        If there is no canal at the place.
    """
    canal = track_canal(ct, np.array([place]) - np.array([0.0, SETTINGS.body_ahead_mm, 0.0]))
    low, high = canal.line.points.min(axis=0) - 25.0, canal.line.points.max(axis=0) + 25.0
    box = cut_box(ct, low, high, SETTINGS.voxel_mm)
    hollow = canal_voxels(box, canal)
    if float(np.linalg.norm(canal.line.at(canal.line.nearest_s_mm(place)) - place)) > 12.0:
        raise InputError("the place does not lie in the canal: click in its middle")
    share = ndimage.gaussian_filter(hollow.astype(np.float32), 0.5)
    return on_grid(Volume(box.grid, share), ct.grid)


def _numbers(spine: Spine, places: Mapping[Level, NDArray[np.float64]]) -> dict[Level, int]:
    """Which body each place lies in; refuse what contradicts the levels' order."""
    found: dict[Level, int] = {}
    for level, place in places.items():
        held = [n for n, b in enumerate(spine.bodies, 1) if _between(place, b.above, b.below)]
        if not held:
            raise InputError(f"no body was found at the place given for {level}")
        found[level] = held[0]
    for (one, first), (two, second) in pairwise(sorted(found.items())):
        steps = _steps(one, two, set(places))
        if second - first != steps:
            raise InputError(
                f"from {one} to {two} there should be {steps} disc(s), but {second - first} were "
                "found between the two places: check the levels, or click nearer to the middle "
                "of each body"
            )
    return found


def _chain(clicked: set[Level]) -> list[str]:
    """Names in order; T13 and L6 only for those who have them."""
    names = [f"C{n}" for n in range(1, 8)] + [f"T{n}" for n in range(1, 13)]
    names += ["T13"] if Level("T13") in clicked else []
    return [*names, *(f"L{n}" for n in range(1, 6)), *(["L6"] if Level("L6") in clicked else [])]


def _steps(one: Level, two: Level, clicked: set[Level]) -> int:
    names = _chain(clicked)
    if one.name not in names or two.name not in names:
        raise InputError(f"a vertebra of the sacrum cannot be drafted, got {one} and {two}")
    return names.index(two.name) - names.index(one.name)


def _named(spine: Spine, numbers: Mapping[Level, int]) -> list[str]:
    """Region of each body, counted from the first one clicked on."""
    level, number = min(numbers.items())
    names = _chain(set(numbers))
    if level.name not in names:
        raise InputError(f"a vertebra of the sacrum cannot be drafted, got {level}")
    start = names.index(level.name) - (number - 1)
    return [
        names[start + n][0] if 0 <= start + n < len(names) else ""
        for n in range(len(spine.bodies))
    ]


def solid(box: Volume, shared: Shared, number: int) -> Volume:
    """One owner's voxels, without holes and crumbs, with a soft edge.

    Parameters
    ----------
    box : Volume
        Hounsfield units on even voxels.
    shared : Shared
        Owners.
    number : int
        Whose.

    Returns
    -------
    Volume
        float32, 0 to 1, on the piece of the box that it reaches.
    """
    mine = np.asarray(shared.owner == number)
    ends = [np.flatnonzero(mine.any(axis=tuple(a for a in range(3) if a != n))) for n in range(3)]
    start = np.maximum([int(e[0]) - 4 for e in ends], 0)
    stop = np.minimum([int(e[-1]) + 5 for e in ends], box.grid.shape)
    piece = tuple(slice(int(a), int(b)) for a, b in zip(start, stop, strict=True))
    here = mine[piece]
    free = (shared.owner[piece] == 0) & ~shared.canal[piece]
    room = np.asarray(box.values)[piece] > SETTINGS.fat_hu
    reach = SETTINGS.close_voxels
    ball = np.linalg.norm(np.indices((2 * reach + 1,) * 3) - reach, axis=0) <= reach + 0.2
    inner = (slice(reach + 1, -reach - 1),) * 3
    closed = ndimage.binary_closing(np.pad(here, reach + 1), ball)[inner]
    closed = here | (closed & free & room)
    for k in range(closed.shape[2]):
        closed[:, :, k] = ndimage.binary_fill_holes(closed[:, :, k])
    closed &= free | here
    labels, count = ndimage.label(closed)
    if count > 1:
        closed = labels == 1 + int(np.argmax(np.bincount(labels.ravel())[1:]))
    share = ndimage.gaussian_filter(closed.astype(np.float32), 0.5)
    return Volume(box.grid.crop(start, stop), share)
