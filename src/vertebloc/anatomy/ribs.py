"""Which rib belongs to which vertebra, by its head's height and by counting.

Contact between labels is not used: in practice a rib's label ends up to 11 mm from its
vertebra, and many labels leave out the head and the neck.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from vertebloc.anatomy.contours import ContourSet
from vertebloc.anatomy.levels import Level
from vertebloc.anatomy.model import CanalSpline, Vertebra
from vertebloc.anatomy.outlines import (
    mask_points,
    outline_mask,
    split_components,
    unite_masks,
)
from vertebloc.anatomy.separation import grow_from_seeds, split_labels
from vertebloc.anatomy.structures import Structure
from vertebloc.space.frames import Side
from vertebloc.space.grids import Volume
from vertebloc.space.transforms import Points

_CRUMB_MM3 = 100.0  #: parts smaller than this are no ribs
_HEAD_NEAR_MM = 48.0  #: a rib's end nearest to the spine is closer to the canal, if it is in view
_HEAD_MM = 20.0  #: a rib's head lies about this far from the canal's middle
_BEYOND_MM = 60.0  #: how far past the ends of its outline the canal is continued
_END_MM = 18.0  #: length of rib that gives its direction at the end
_JOIN_MM = 12.0  #: fragments of one rib lie no further apart
_USUAL_HEIGHT = -0.1  #: of a head: 0 = upper endplate of its vertebra, -1 = lower endplate
_HEIGHT_SPREAD = 0.3
_GAP_COST, _LEFT_OUT_COST = 4.0, 9.0  #: a vertebra without a rib between others; a rib without one


@dataclass(frozen=True, slots=True, eq=False)
class RibPiece:
    """A rib as it was found, before anybody says whose it is."""

    mask: Volume
    named_level: Level | None
    named_side: Side | None
    end: NDArray[np.float64]  #: (3,) mm, middle of the end next to the spine
    head: NDArray[np.float64]  #: (3,) mm, the end prolonged to where the head should be
    from_canal_mm: float  #: least distance to the canal's middle

    @property
    def has_head_end(self) -> bool:
        """Whether the end next to the spine is in view."""
        return self.from_canal_mm < _HEAD_NEAR_MM


def find_rib_pieces(contours: ContourSet, canal: CanalSpline) -> tuple[list[RibPiece], list[str]]:
    """Ribs one by one, whether they were outlined one by one or together.

    Parameters
    ----------
    contours : ContourSet
        Outlines; those of ribs may lack the level, the side or both.
    canal : CanalSpline
        Middle of the canal.

    Returns
    -------
    tuple of list of RibPiece and list of str
        Ribs in no particular order, and notes on crumbs dropped and fragments joined.

    Notes
    -----
    Ribs outlined together are taken apart as connected parts. Parts under 100 mm3 are
    crumbs. A part that does not reach the spine joins the rib whose end it continues within
    12 mm. A part with two ends at the spine is two ribs and is split. Ribs that are fused
    next to the spine are not split: the count will miss one and say so.
    """
    pieces: list[RibPiece] = []
    notes: list[str] = []
    for outline in contours.of(Structure.RIB):
        mask = outline_mask(contours, (outline,))
        if mask is None:
            continue
        parts = split_components(mask)
        solid = [p for p in parts if _volume_mm3(p) >= _CRUMB_MM3]
        if len(parts) > len(solid):
            notes.append(f"crumbs dropped from {outline.words}: {len(parts) - len(solid)}")
        if outline.level is not None and outline.side is not None:
            whole = unite_masks(solid) if solid else mask
            pieces.append(_measure(whole, outline.level, outline.side, canal))
            continue
        split = [s for part in solid for s in _split_two_headed(part, canal)]
        found = [_measure(part, outline.level, outline.side, canal) for part in split]
        joined = _join_fragments(found, canal)
        if len(joined) < len(found):
            notes.append(f"fragments joined to their ribs: {len(found) - len(joined)}")
        pieces += joined
    return pieces, notes


def _volume_mm3(mask: Volume) -> float:
    return float(np.count_nonzero(mask.values)) * mask.grid.voxel_volume_mm3


def _from_canal_mm(points: Points, canal: CanalSpline) -> NDArray[np.float64]:
    """Distance of points to the canal's middle, (n,) mm, from a point every 0.5 mm of it."""
    s = np.arange(canal.s_mm[0] - _BEYOND_MM, canal.s_mm[-1] + _BEYOND_MM, 0.5)
    return np.asarray(cKDTree(canal.at(s)).query(points)[0])


def _measure(mask: Volume, level: Level | None, side: Side | None, canal: CanalSpline) -> RibPiece:
    """End, prolonged head and distance to the canal of one rib."""
    points = mask_points(mask)
    away = _from_canal_mm(points, canal)
    nearest = float(away.min())
    end = points[away < nearest + 4.0].mean(axis=0)
    near = points[np.linalg.norm(points - end, axis=1) < _END_MM]
    head = np.array(end)
    if len(near) > 3 and nearest > _HEAD_MM:
        middle = near.mean(axis=0)
        along = np.linalg.svd(near - middle, full_matrices=False)[2][0]
        along = along * np.sign((end - middle) @ along)
        head = end + (nearest - _HEAD_MM) * along
    return RibPiece(mask, level, side, end, head, nearest)


def _split_two_headed(part: Volume, canal: CanalSpline) -> list[Volume]:
    """A part that reaches the spine in two places, as two ribs."""
    index = np.argwhere(part.values)
    points = part.grid.lps_from_ijk.points(index.astype(np.float64))
    away = _from_canal_mm(points, canal)
    near = np.zeros(part.values.shape, dtype=bool)
    near[tuple(index[away < _HEAD_NEAR_MM].T)] = True
    if not near.any():
        return [part]
    ends = [p for p in split_components(Volume(part.grid, near)) if _volume_mm3(p) > _CRUMB_MM3]
    if len(ends) < 2:
        return [part]
    seeds = np.zeros(part.values.shape, dtype=np.int32)
    for number, end in enumerate(ends, start=1):
        at = part.grid.lps_from_ijk.inverse.points(mask_points(end)).round().astype(int)
        seeds[tuple(at.T)] = number
    return split_labels(Volume(part.grid, grow_from_seeds(part, seeds)))


def _join_fragments(pieces: list[RibPiece], canal: CanalSpline) -> list[RibPiece]:
    """Join parts that do not reach the spine to the rib whose far end they continue."""
    whole = [p for p in pieces if p.has_head_end]
    loose = sorted((p for p in pieces if not p.has_head_end), key=lambda p: p.from_canal_mm)
    for fragment in loose:
        fits = [_join_distance_mm(rib, fragment) for rib in whole]
        if fits and min(fits) <= _JOIN_MM:
            best = int(np.argmin(fits))
            rib = whole[best]
            mask = unite_masks([rib.mask, fragment.mask])
            whole[best] = _measure(mask, rib.named_level, rib.named_side, canal)
        else:
            whole.append(fragment)
    return whole


def _join_distance_mm(rib: RibPiece, fragment: RibPiece) -> float:
    """Gap between a rib and a fragment that continues it; infinite if it does not."""
    own, other = mask_points(rib.mask), mask_points(fragment.mask)
    found, partner = cKDTree(own).query(other)
    ways = np.atleast_1d(found)
    nearest = int(np.argmin(ways))
    here, there = own[np.atleast_1d(partner)[nearest]], other[nearest]
    if ways[nearest] > _JOIN_MM:
        return float("inf")
    directions = []
    for points, place in ((own, here), (other, there)):
        near = points[np.linalg.norm(points - place, axis=1) < _END_MM]
        if len(near) < 4:
            return float("inf")
        axes = np.linalg.svd(near - near.mean(axis=0), full_matrices=False)[2]
        directions.append(axes[0])
        if abs(float((place - near.mean(axis=0)) @ axes[0])) < 0.25 * _END_MM:
            return float("inf")  # beside the rib, not at its end
    if abs(float(directions[0] @ directions[1])) < 0.7:
        return float("inf")
    return float(ways[nearest])


def find_side(piece: RibPiece, vertebrae: Sequence[Vertebra]) -> Side:
    """Side of the spine on which a rib's end lies.

    Parameters
    ----------
    piece : RibPiece
        The rib.
    vertebrae : sequence of Vertebra
        At least one; the nearest one's frame decides.

    Returns
    -------
    Side
        By the header's account of left.
    """
    frames = [v.lps_from_vertebra for v in vertebrae]
    nearest = min(frames, key=lambda f: float(np.linalg.norm(f.origin - piece.end)))
    return Side.LEFT if nearest.inverse.points(piece.end)[0, 0] > 0 else Side.RIGHT


def assign_owners(pieces: Sequence[RibPiece], vertebrae: Sequence[Vertebra]) -> list[int | None]:
    """Owner of each rib of one side, as an index into the vertebrae; None if nobody's.

    Parameters
    ----------
    pieces : sequence of RibPiece
        Ribs of one side.
    vertebrae : sequence of Vertebra
        From head to feet.

    Returns
    -------
    list of int or None
        In the order of the pieces. No vertebra gets two ribs of one side; owners keep the
        order of the heads.

    Notes
    -----
    Heads of ribs 2-9 straddle the disc above their vertebra, those of 1, 11, 12 and often
    10 touch their own vertebra only; so a head lies between 0.5 heights below and 0.3 above
    the upper endplate. Cost of an owner: ((height + 0.1) / 0.3) squared, height in units of
    the vertebra's own height. A vertebra left without a rib between two that have one costs
    4, a rib left without an owner 9; the least sum is found by dynamic programming. One
    doubtful head (that of rib 12, say) is thus decided by its neighbours.
    """
    usable = [i for i, piece in enumerate(pieces) if piece.has_head_end]
    owners: list[int | None] = [None] * len(pieces)
    if not usable or not vertebrae:
        return owners
    cost = np.array([[_owner_cost(pieces[i], v) for v in vertebrae] for i in usable])
    order = np.argsort([float(np.argmin(row)) + _tilt(row) for row in cost], kind="stable")
    for row, column in _align(cost[order]):
        owners[usable[int(order[row])]] = column
    return owners


def _height_of(head: NDArray[np.float64], vertebra: Vertebra) -> float:
    """Height of a head: 0 at the upper endplate, -1 at the lower."""
    z = float(vertebra.lps_from_vertebra.inverse.points(head)[0, 2])
    tall = vertebra.upper_endplate_mm - vertebra.lower_endplate_mm
    return (z - vertebra.upper_endplate_mm) / tall


def _owner_cost(piece: RibPiece, vertebra: Vertebra) -> float:
    off = (_height_of(piece.head, vertebra) - _USUAL_HEIGHT) / _HEIGHT_SPREAD
    return min(float(off**2), 1e6)


def _tilt(row: NDArray[np.float64]) -> float:
    """Orders two ribs that fit the same vertebra best: which neighbour fits better."""
    best = int(np.argmin(row))
    above = row[best - 1] if best > 0 else np.inf
    below = row[best + 1] if best + 1 < len(row) else np.inf
    return 0.25 if below < above else -0.25


def _align(cost: NDArray[np.float64]) -> list[tuple[int, int]]:
    """Order-preserving pairs (rib, vertebra) of least cost."""
    ribs, bones = cost.shape
    best = np.full((ribs, bones), np.inf)
    came: dict[tuple[int, int], tuple[int, int] | None] = {}
    for i in range(ribs):
        for j in range(bones):
            options: list[tuple[float, tuple[int, int] | None]] = [(_LEFT_OUT_COST * i, None)]
            options += [
                (
                    float(best[p, q]) + _LEFT_OUT_COST * (i - p - 1) + _GAP_COST * (j - q - 1),
                    (p, q),
                )
                for p in range(i)
                for q in range(j)
            ]
            before, came[(i, j)] = min(options, key=lambda option: option[0])
            best[i, j] = before + cost[i, j]
    total = best + _LEFT_OUT_COST * (ribs - 1 - np.arange(ribs))[:, None]
    if total.min() >= _LEFT_OUT_COST * ribs:
        return []
    state: tuple[int, int] | None = (
        int(np.argmin(total) // bones),
        int(np.argmin(total) % bones),
    )
    pairs = []
    while state is not None:
        pairs.append(state)
        state = came[state]
    return pairs[::-1]
