"""Lay another scan on the CT, and say how far that can be trusted at the tumour."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from vertebloc.alignment.error_at_tumour import Spread, moved_by_neighbour, spread_of_restarts
from vertebloc.alignment.landmarks import LandmarkFit
from vertebloc.alignment.level_check import Evidence, LevelAnswer, LevelCheck, check_level
from vertebloc.alignment.refine import Moving, prepare_moving, refine
from vertebloc.alignment.region import Region, choose_region, neighbours_of
from vertebloc.anatomy.canal import find_canal
from vertebloc.anatomy.contours import ContourSet, LabelMap, mask_on_box
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import CanalSpline
from vertebloc.anatomy.structures import Contour, Structure
from vertebloc.errors import InputError, NoSolutionError
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points, Transform

_WIDE_REACH, _WIDE_MM, _WIDE_POINTS = 2, 15.0, 12_000  #: what the level is judged by (assumed)
_LEAST_BACK = 9  #: of 12 searches must come back (assumed)
_ANOTHER_LEVEL = 0.4  #: of a level: clicks farther from the images' own place are on another one
_TOO_FAR_MM = 6.0  #: assumed: an error above this is no use near a tumour
_MOST_PLACES = 200

KINDS: tuple[tuple[str, tuple[Structure, ...]], ...] = (
    ("tumour", (Structure.TUMOUR,)),
    ("ribs", (Structure.RIB,)),
    ("vertebrae", (Structure.VERTEBRA, Structure.BODY, Structure.ARCH)),
    ("discs", (Structure.DISC,)),
    ("canal", (Structure.SAC, Structure.CORD, Structure.CANAL)),
)
BESIDE = "what lies beside"


class Trust(Enum):
    """Whether the other scan lies on the CT."""

    YES = "yes"
    NO = "no"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outlined:
    """The CT with its outlines, and where the diseased vertebra is."""

    ct: Volume
    labels: LabelMap
    level: Level


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Laid:
    """Where the other scan lies, and what speaks for it."""

    moving_from_fixed: Transform
    trust: Trust
    within_mm: float  #: at the tumour; inf if it cannot be told
    spread: Spread
    by_neighbour_mm: tuple[tuple[str, float], ...]  #: level, and how far it alone moves the tumour
    level_check: LevelCheck
    landmarks_off_mm: float | None  #: landmark fit against this, at the tumour; None without
    landmark_error_mm: float | None  #: what the landmarks alone are good for there, rms
    reasons: tuple[str, ...]  #: why it is not a plain yes


def lay_on_ct(
    fixed: Outlined, other: Volume, start: Transform | LandmarkFit, rng: Generator
) -> Laid:
    """Lay another scan of the patient on the CT, on the vertebrae around the tumour.

    Parameters
    ----------
    fixed : Outlined
        The CT, its outlines, the diseased vertebra.
    other : Volume
        MR, or another CT; any unit.
    start : Transform or LandmarkFit
        Where a point of the CT lies in the other scan, nearly: pairs of points, or a map.
    rng : numpy.random.Generator
        Draws points and restarts.

    Returns
    -------
    Laid
        The placement with its error at the tumour and whether it is the same level.

    Raises
    ------
    InputError
        If the diseased vertebra or the canal is not outlined.
    NoSolutionError
        If the two scans hardly overlap there.

    Notes
    -----
    Rigid: one vertebra and its neighbours as they lie in the CT. What bends between the scans
    shows as the neighbours' disagreement. A scanner's own distortion does not show.
    """
    guess = start.moving_from_fixed if isinstance(start, LandmarkFit) else start
    thick = _through_a_slice(other, guess)
    tumour = _places(fixed)
    bones = neighbours_of(fixed.labels, fixed.level, 1)
    region = choose_region(fixed.ct, fixed.labels, bones, rng, thick=thick)
    moving = prepare_moving(other)
    canal = find_canal(ContourSet(fixed.labels))
    at = _along(fixed, canal)
    placed = refine(region.samples, moving, guess).moving_from_fixed
    spread = spread_of_restarts(region, moving, placed, tumour, rng)
    by_neighbour = _by_neighbour(fixed, moving, placed, tumour, (rng, thick))
    evidence = _evidence(fixed, moving, (rng, thick))
    level = check_level(evidence, placed, canal, at)
    off = error = None
    if isinstance(start, LandmarkFit):
        apart = placed.points(tumour) - guess.points(tumour)
        off = float(np.linalg.norm(apart, axis=1).mean())
        error = start.error_at_mm(tumour.mean(axis=0))
    within = max([spread.largest_mm, *(mm for _, mm in by_neighbour)])
    trust, reasons = _trust(level, spread, within, (off, at[1]))
    return Laid(
        moving_from_fixed=placed,
        trust=trust,
        within_mm=within,
        spread=spread,
        by_neighbour_mm=by_neighbour,
        level_check=level,
        landmarks_off_mm=off,
        landmark_error_mm=error,
        reasons=reasons,
    )


def _trust(
    level: LevelCheck, spread: Spread, within_mm: float, landmarks: tuple[float | None, float]
) -> tuple[Trust, tuple[str, ...]]:
    off, apart_mm = landmarks
    if level.answer is LevelAnswer.OTHER:
        way = "feet" if level.better_offset > 0 else "head"
        count = abs(level.better_offset)
        return Trust.NO, (
            f"the images agree clearly better {count} level{'s' * (count > 1)} towards the {way}",
        )
    if off is not None and off > _ANOTHER_LEVEL * apart_mm:
        return Trust.NO, (
            f"the clicked points lie {off:.0f} mm from where the images agree: on another level?",
        )
    reasons = []
    if level.answer is LevelAnswer.CANNOT_TELL:
        reasons.append("another level fits about as well, or could not be compared")
    if spread.came_back < _LEAST_BACK:
        reasons.append(f"only {spread.came_back} of {spread.tries} searches came back")
    if within_mm > _TOO_FAR_MM:
        reasons.append(f"the parts of the images disagree by more than {_TOO_FAR_MM:g} mm")
    return (Trust.CANNOT_TELL if reasons else Trust.YES), tuple(reasons)


def _through_a_slice(other: Volume, guess: Transform) -> NDArray[np.float64]:
    """Vector through one voxel along its longest axis, in the CT's LPS."""
    matrix = other.grid.lps_from_ijk.matrix[:3, :3]
    longest = int(np.argmax(other.grid.spacing_mm))
    return np.asarray(guess.inverse.vectors(matrix[:, longest])[0])


def _places(fixed: Outlined) -> Points:
    """Places spread over the tumour; over the vertebra if no tumour is outlined."""
    for wanted in (
        (Contour(Structure.TUMOUR),),
        neighbours_of(fixed.labels, fixed.level, 0),
    ):
        mask = mask_on_box(fixed.labels, wanted)
        if mask is not None:
            cells = np.argwhere(mask.values).astype(np.float64)
            every = max(1, len(cells) // _MOST_PLACES)
            return mask.grid.lps_from_ijk.points(cells[::every])
    raise InputError(f"neither the tumour nor {fixed.level} has a voxel: outline them in the CT")


Drawn = tuple[Generator, NDArray[np.float64]]  #: what draws points, and the vector of a slice


def _by_neighbour(
    fixed: Outlined, moving: Moving, placed: Transform, tumour: Points, drawn: Drawn
) -> tuple[tuple[str, float], ...]:
    rng, thick = drawn
    found = []
    for bone in neighbours_of(fixed.labels, fixed.level, 1):
        if bone.level is None or bone.level == fixed.level:
            continue
        region = choose_region(fixed.ct, fixed.labels, (bone,), rng, thick=thick)
        try:
            mm = moved_by_neighbour(region.first(_WIDE_POINTS), moving, placed, tumour)
        except NoSolutionError:
            continue  # it lies outside the other scan, which the level check says
        found.append((bone.level.name, mm))
    return tuple(found)


def _evidence(fixed: Outlined, moving: Moving, drawn: Drawn) -> Evidence:
    """What the level is judged by: farther along and farther out than the search looks."""
    rng, thick = drawn
    bones = neighbours_of(fixed.labels, fixed.level, _WIDE_REACH)
    wide = choose_region(
        fixed.ct, fixed.labels, bones, rng, around_mm=_WIDE_MM, thick=thick
    ).first(_WIDE_POINTS)
    kinds, names = kinds_at(fixed.labels, wide)
    return Evidence(region=wide, kinds=kinds, names=names, moving=moving)


def _along(fixed: Outlined, canal: CanalSpline) -> tuple[float, float]:
    """Where the vertebra lies along the canal, and how far its neighbours are, mm."""
    place: dict[Level, list[float]] = {}
    for bone in neighbours_of(fixed.labels, fixed.level, 1):
        mask = mask_on_box(fixed.labels, (bone,))
        if mask is None or bone.level is None:
            continue
        centre = np.argwhere(mask.values).mean(axis=0)
        s_mm = float(canal.nearest_s_mm(mask.grid.lps_from_ijk.points(centre))[0])
        place.setdefault(bone.level, []).append(s_mm)
    at = {level: float(np.mean(several)) for level, several in place.items()}
    if len(at) < 2:
        raise InputError(
            f"no neighbour of {fixed.level} is outlined in the CT, so it cannot be checked "
            "whether the other scan lies on the same level: outline one above and one below"
        )
    return at[fixed.level], float(np.ptp(list(at.values())) / (len(at) - 1))


def kinds_at(labels: LabelMap, region: Region) -> tuple[NDArray[np.int64], tuple[str, ...]]:
    """Which kind of tissue each point lies in, by the outlines.

    Parameters
    ----------
    labels : LabelMap
        The outlines.
    region : Region
        The points.

    Returns
    -------
    kinds : (n,) int64
        Number of each point's kind.
    names : tuple of str
        The kinds.
    """
    table = np.full(int(np.max(labels.volume.values)) + 1, len(KINDS), dtype=np.int64)
    for value, named in labels.names.items():
        for number, (_, structures) in reversed(list(enumerate(KINDS))):
            if value < len(table) and any(c.structure in structures for c in named):
                table[value] = number
    index = np.rint(labels.volume.grid.lps_from_ijk.inverse.points(region.samples.points))
    last = np.array(labels.volume.grid.shape) - 1
    i, j, k = np.clip(index, 0, last).astype(np.int64).T
    return table[labels.volume.values[i, j, k]], (*(name for name, _ in KINDS), BESIDE)
