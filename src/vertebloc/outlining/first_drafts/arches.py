"""Arches behind the bodies: every vertebra and the ribs grow from seeds and meet in the joints."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from vertebloc.outlining.first_drafts.bodies import Body
from vertebloc.outlining.first_drafts.canal import TrackedCanal
from vertebloc.outlining.first_drafts.settings import SETTINGS
from vertebloc.space.grids import Volume


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shared:
    """Who owns which voxel of the working box."""

    owner: NDArray[np.int32]  #: 1, 2, 3 ... vertebrae from the head; then ribs; 0 nobody
    rib: int  #: the number that stands for ribs
    canal: NDArray[np.bool_]  #: voxels of the canal


def bone_cost(box: Volume) -> NDArray[np.float32]:
    """Cost of a step of one voxel: low in dense bone, high in dark seams, 0 where no bone is.

    Parameters
    ----------
    box : Volume
        Hounsfield units on even voxels.

    Returns
    -------
    (ni, nj, nk) float32, -
        1 in dense bone; more where the brightness has a valley (a joint).
    """
    values = np.asarray(box.values)
    bone = bony(box, SETTINGS.rim_share)
    cost = np.zeros(values.shape, dtype=np.float32)
    bright = np.clip(values[bone], SETTINGS.arch_bone_hu, SETTINGS.arch_dense_hu)
    lack = (SETTINGS.arch_dense_hu - bright) / (SETTINGS.arch_dense_hu - SETTINGS.arch_bone_hu)
    cost[bone] = 1.0 + SETTINGS.arch_lack * lack**2
    cost[bone] += SETTINGS.arch_valley * _valley(values, bone, float(box.grid.spacing_mm[0]))
    return cost


def bony(box: Volume, share: float = 0.5) -> NDArray[np.bool_]:
    """Bone of thin parts: so far up in brightness from what is outside to the cortex.

    Parameters
    ----------
    box : Volume
        Hounsfield units on even voxels.
    share : float, -
        Half way is where the edge of a thick cortex lies; thin bone that is blurred by thick
        slices looks wider than it is, so that more is wanted of it.

    Returns
    -------
    (ni, nj, nk) bool, -
        Bright voxels, without the rim that is only the blur of a brighter cortex beside it.
    """
    values = np.asarray(box.values)
    bright = values > SETTINGS.arch_bone_hu
    rim = bright & ndimage.binary_dilation(~bright, _cross(), iterations=2)
    peak = ndimage.maximum_filter(np.minimum(values, SETTINGS.rim_most_hu), 5)
    blur = rim & (values < SETTINGS.soft_hu + share * (peak - SETTINGS.soft_hu))
    return np.asarray(bright & ~blur)


def _cross() -> NDArray[np.bool_]:
    return ndimage.generate_binary_structure(3, 1)


def _valley(
    values: NDArray[np.float32], bone: NDArray[np.bool_], spacing: float
) -> NDArray[np.float32]:
    """How much of a dark sheet between bright ones each bony voxel is, 0 to 1."""
    smooth = ndimage.gaussian_filter(
        np.clip(values, 0.0, 700.0), SETTINGS.valley_mm / spacing, truncate=3.0
    )
    index = np.nonzero(bone)
    matrix = np.empty((len(index[0]), 3, 3), dtype=np.float32)
    for a in range(3):
        first = np.gradient(smooth, spacing, axis=a)
        for b in range(a, 3):
            second = np.gradient(first, spacing, axis=b)[index]
            matrix[:, a, b] = matrix[:, b, a] = second
    curved = np.linalg.eigvalsh(matrix)
    sheet = curved[:, 2] - np.maximum(curved[:, 1], 0.0)
    return np.asarray(np.clip(sheet / SETTINGS.valley_hu_mm2, 0.0, 1.0), dtype=np.float32)


def share_out(
    box: Volume, canal: TrackedCanal, bodies: Sequence[Body], *, with_ribs: Sequence[bool]
) -> Shared:
    """Give every bony voxel to a vertebra or to the ribs.

    Parameters
    ----------
    box : Volume
        Hounsfield units on even voxels.
    canal : TrackedCanal
        Behind the bodies.
    bodies : sequence of Body
        From the head to the feet, the cut ones at the ends too.
    with_ribs : sequence of bool
        Whether the vertebra has ribs.

    Returns
    -------
    Shared
        Owners.
    """
    from vertebloc.outlining.first_drafts._kernels import grow  # brings numba

    cost = bone_cost(box)
    seeds = np.zeros(cost.shape, dtype=np.int32)
    rib = len(bodies) + 1
    in_body = np.zeros(cost.shape, dtype=np.int32)
    for number, body in enumerate(bodies, start=1):
        in_body[body.box][body.inside] = number
    coordinates = _along_canal(box, canal)
    hollow = coordinates.in_canal
    cost[hollow] = 0.0
    cost[in_body > 0] = 0.0
    for body in bodies:
        _clear_disc(cost, box, body)
    for number, body in enumerate(bodies, start=1):
        _plant_arch(seeds, number, body, coordinates)
        if with_ribs[number - 1]:
            _plant_processes(seeds, number, rib, body, coordinates, cost)
    aside = np.zeros(cost.shape, dtype=np.int32)
    _plant_ribs(aside, rib, bodies, with_ribs, coordinates)
    seeds[aside > 0] = rib
    seeds[cost <= 0.0] = 0
    ring = (coordinates.beyond_wall_mm < SETTINGS.ring_mm) & (coordinates.back_mm > -9.0)
    barred = np.where(ring, np.float32(0.0), cost)
    for body, has in zip(bodies, with_ribs, strict=True):
        if has:
            lead_rib_to_head(box, barred, seeds, rib, body)
    start = np.zeros(rib + 1, dtype=np.float32)
    _, owner, _ = grow(cost, seeds, start)
    owner = np.where(in_body > 0, in_body, owner)
    owner[hollow] = 0
    return Shared(owner=owner.astype(np.int32), rib=rib, canal=hollow)


def lead_rib_to_head(
    box: Volume, cost: NDArray[np.float32], seeds: NDArray[np.int32], rib: int, body: Body
) -> None:
    """Seed the cheapest way through bone from the side to where a rib's head should lie.

    Parameters
    ----------
    box : Volume
        Hounsfield units on even voxels.
    cost : (ni, nj, nk) float32, -
        Cost of a step.
    seeds : (ni, nj, nk) int32, -
        Rib seeds at the sides; those of the ways are added.
    rib : int
        The number that stands for ribs.
    body : Body
        Whose ribs.
    """
    from vertebloc.outlining.first_drafts._kernels import grow

    spacing = float(box.grid.spacing_mm[0])
    half = np.array([62.0, 45.0, 30.0])
    index = box.grid.lps_from_ijk.inverse.points(body.centre + np.array([0.0, 15.0, -4.0]))[0]
    low = np.maximum(np.rint(index - half / spacing).astype(int), 0)
    high = np.minimum(np.rint(index + half / spacing).astype(int), box.grid.shape)
    near = tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))
    here = np.where(seeds[near] == rib, np.int32(1), np.int32(0))
    way = np.where((seeds[near] > 0) & (seeds[near] != rib), np.float32(0.0), cost[near])
    arrival, _, came = grow(np.ascontiguousarray(way), here, np.zeros(2, dtype=np.float32))
    where = body.own(box.grid.crop(low, high).centres())
    aside = np.abs(where[:, 0]) - body.half_width_mm
    zone = (aside > -2.0) & (aside < 6.0)
    zone &= (where[:, 1] > 0.1 * body.half_depth_mm) & (where[:, 1] < body.half_depth_mm + 2.0)
    zone &= (where[:, 2] > 0.5 * body.height_mm - 11.0) & (
        where[:, 2] < 0.5 * body.height_mm + 4.0
    )
    flat = arrival.ravel()
    for side in (1.0, -1.0):
        mine = np.flatnonzero(zone & (where[:, 0] * side > 0.0) & np.isfinite(flat))
        if not len(mine):
            continue
        total = flat[mine] + SETTINGS.rib_short_of_head * np.maximum(aside[mine] - 1.0, 0.0)
        best = int(mine[np.argmin(total)])
        if flat[best] > SETTINGS.rib_most_cost / spacing:
            continue
        path = np.zeros(here.shape, dtype=bool)
        while best >= 0:
            path.flat[best] = True
            best = int(came[best])
        thick = ndimage.binary_dilation(path, _cross(), iterations=2) & (way > 0.0)
        seeds[near][thick & (seeds[near] == 0)] = rib


def canal_voxels(box: Volume, canal: TrackedCanal) -> NDArray[np.bool_]:
    """Voxels inside the canal's wall.

    Parameters
    ----------
    box : Volume
        Hounsfield units on even voxels.
    canal : TrackedCanal
        Followed in the same CT.

    Returns
    -------
    (ni, nj, nk) bool, -
        Between the ends of what was followed.
    """
    return _along_canal(box, canal).in_canal


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Coordinates:
    """Where each voxel lies along and across the canal."""

    s_mm: NDArray[np.float32]
    left_mm: NDArray[np.float32]
    back_mm: NDArray[np.float32]
    wall_mm: NDArray[np.float32]  #: of the canal in the voxel's direction
    in_canal: NDArray[np.bool_]

    @property
    def beyond_wall_mm(self) -> NDArray[np.float32]:
        """How far outside the canal's wall."""
        return np.asarray(np.hypot(self.left_mm, self.back_mm) - self.wall_mm)


def _along_canal(box: Volume, canal: TrackedCanal) -> _Coordinates:
    """Canal coordinates of all voxels: the canal's own plane through each slice's voxels."""
    grid = box.grid
    spacing = float(grid.spacing_mm[0])
    origin = grid.lps_from_ijk.origin
    s = canal.s_mm
    line = canal.line.at(s)
    left, back, up = canal.axes(s)
    shape = grid.shape
    x = (origin[0] + spacing * np.arange(shape[0]))[:, None, None]
    y = (origin[1] + spacing * np.arange(shape[1]))[None, :, None]
    z = origin[2] + spacing * np.arange(shape[2])
    order = np.argsort(line[:, 2])
    row = np.interp(z, line[order, 2], s[order])
    s_mm = np.empty(shape, dtype=np.float32)
    out = [np.empty(shape, dtype=np.float32) for _ in range(2)]
    row3 = np.broadcast_to(row, shape).astype(np.float32)
    for _ in range(2):  # foot of the perpendicular, by two steps along the tangent
        n = np.clip(np.rint(row3 - s[0]).astype(np.int32), 0, len(s) - 1)
        dx, dy = x - line[n, 0], y - line[n, 1]
        dz = np.broadcast_to(z, shape) - line[n, 2]
        along = dx * up[n, 0] + dy * up[n, 1] + dz * up[n, 2]
        s_mm = (s[n] - along).astype(np.float32)
        row3 = s_mm
    for m, axis in enumerate((left, back)):
        out[m][...] = dx * axis[n, 0] + dy * axis[n, 1] + dz * axis[n, 2]
    rays = canal.wall_mm.shape[1]
    angle = np.arctan2(out[0], -out[1]) % (2.0 * np.pi)
    m = np.rint(angle / (2.0 * np.pi) * rays).astype(np.int32) % rays
    wall = canal.wall_mm[n, m].astype(np.float32)
    inside = (np.hypot(out[0], out[1]) < wall) & (s_mm > s[0] - 1.0) & (s_mm < s[-1] + 1.0)
    return _Coordinates(s_mm=s_mm, left_mm=out[0], back_mm=out[1], wall_mm=wall, in_canal=inside)


def _clear_disc(cost: NDArray[np.float32], box: Volume, body: Body) -> None:
    """Nobody grows through the discs: in some people they are as bright as bone."""
    half = np.array([body.half_width_mm, body.half_depth_mm, 0.0]) + 8.0
    index = box.grid.lps_from_ijk.inverse.points(body.centre + np.stack((-half, half)) * 1.5)
    reach = 0.5 * body.height_mm + 8.0
    spacing = float(box.grid.spacing_mm[0])
    index[:, 2] = box.grid.lps_from_ijk.inverse.points(body.centre)[0, 2] + np.array(
        [-reach, reach]
    ) * (1.2 / spacing)
    start = np.maximum(np.floor(index.min(axis=0)).astype(int), 0)
    stop = np.minimum(np.ceil(index.max(axis=0)).astype(int) + 1, box.grid.shape)
    piece = tuple(slice(int(a), int(b)) for a, b in zip(start, stop, strict=True))
    where = box.grid.crop(start, stop).centres()
    own = body.own(where)
    column = np.hypot(own[:, 0] / body.half_width_mm, own[:, 1] / body.half_depth_mm) < 1.0
    for disc in (body.above, body.below):
        flat = np.abs((where - disc.centre) @ disc.up) < SETTINGS.disc_half_mm
        gap = (column & flat).reshape(cost[piece].shape)
        cost[piece][gap] = 0.0


def _plant_arch(seeds: NDArray[np.int32], number: int, body: Body, at: _Coordinates) -> None:
    """Seeds in both pedicles and in the laminae's middle."""
    top, bottom = body.above.s_mm, body.below.s_mm
    height = bottom - top
    beyond = at.beyond_wall_mm
    if not body.above.is_end or body.is_whole:
        pedicle = (at.s_mm > top + 0.12 * height) & (at.s_mm < top + 0.55 * height)
        pedicle &= (beyond > 0.0) & (beyond < 6.0)
        pedicle &= (at.back_mm > -9.0) & (at.back_mm < 3.0)
        pedicle &= np.abs(at.left_mm) > 0.6 * at.wall_mm
        seeds[pedicle] = number
    if not body.below.is_end:
        lamina = (at.s_mm > top + 0.55 * height) & (at.s_mm < bottom - 0.02 * height)
        lamina &= (beyond > 0.0) & (beyond < 6.0)
        lamina &= (np.abs(at.left_mm) < 5.0) & (at.back_mm > 0.0)
        seeds[lamina] = number


def _plant_processes(
    seeds: NDArray[np.int32],
    number: int,
    rib: int,
    body: Body,
    at: _Coordinates,
    cost: NDArray[np.float32],
) -> None:
    """Seeds where, from behind, first a transverse process is met and then a rib's neck."""
    low, high = SETTINGS.process_aside_mm
    top, height = body.above.s_mm, body.below.s_mm - body.above.s_mm
    zone = (at.s_mm > top) & (at.s_mm < top + 0.7 * height)
    zone &= (np.abs(at.left_mm) > low) & (np.abs(at.left_mm) < high)
    zone &= (at.back_mm > -14.0) & (at.back_mm < 30.0)
    if not zone.any():
        return
    ends = [np.flatnonzero(zone.any(axis=tuple(a for a in range(3) if a != n))) for n in range(3)]
    box = tuple(slice(int(e[0]), int(e[-1]) + 1) for e in ends)
    clear = zone[box] & (cost[box] > 0.0) & (cost[box] < SETTINGS.seam_cost)
    begins = clear & ~np.roll(clear, 1, axis=1)
    runs = np.cumsum(begins, axis=1)
    length = np.stack([(clear & (runs == n)).sum(axis=1) for n in (1, 2)])
    two = (runs.max(axis=1) == 2) & (length.min(axis=0) >= 3) & (length.max(axis=0) <= 16)
    ours = clear & two[:, None, :]
    seeds[box][ours & (runs == 2)] = number
    seeds[box][ours & (runs == 1)] = rib


def _plant_ribs(
    seeds: NDArray[np.int32],
    rib: int,
    bodies: Sequence[Body],
    with_ribs: Sequence[bool],
    at: _Coordinates,
) -> None:
    """Seeds in whatever bone lies so far to the side that it can only be a rib."""
    for body, has in zip(bodies, with_ribs, strict=True):
        if not has:
            continue
        level = (at.s_mm >= body.above.s_mm - 2.0) & (at.s_mm <= body.below.s_mm)
        seeds[level & (np.abs(at.left_mm) > SETTINGS.rib_aside_mm)] = rib
