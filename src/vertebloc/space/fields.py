"""Signed distance fields, each on its solid's own box and a rim around it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from vertebloc.errors import InputError
from vertebloc.space import _kernels
from vertebloc.space.grids import Grid, Volume
from vertebloc.space.label_surfaces import surface_from_mask
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.space.transforms import as_points

#: Rim around a solid in which distances are on the grid, mm; farther out its box is measured.
RIM_MM = 25.0

#: Within this distance triangles are measured, beyond it vertices, with straight steps between
#: nodes. What each of the two adds (with edges of 0.6 mm and nodes 1 mm apart 0.06 mm at most) is
#: taken off again.
_EXACT_WITHIN_MM = 5.0

#: Nearest vertices are carried outwards between nodes this far apart (or one voxel), and found
#: from the nodes around for the voxels between.
_NODES_MM = 1.0

#: Far nodes, of which distances beyond the rim are read, are so many nodes apart.
_FAR_NODES = 4


@dataclass(frozen=True, slots=True, eq=False)
class DistanceField:
    """Signed distances on a grid, negative inside; read between voxels by trilinear steps."""

    distances: Volume  #: float32, mm
    solid_low_ijk: NDArray[np.float64]  #: (3,) the solid's box in index space
    solid_high_ijk: NDArray[np.float64]
    _ijk_from_lps: NDArray[np.float64] = field(init=False, repr=False)
    _box: tuple[NDArray[np.float64], NDArray[np.float64]] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        """Keep what each look-up needs."""
        inverse = np.ascontiguousarray(self.distances.grid.lps_from_ijk.inverse.matrix)
        low = np.concatenate((self.solid_low_ijk, self.distances.grid.spacing_mm))
        object.__setattr__(self, "_ijk_from_lps", inverse)
        object.__setattr__(self, "_box", (low, np.asarray(self.solid_high_ijk, np.float64)))

    def signed_distance_mm(self, points: ArrayLike) -> NDArray[np.float64]:
        """Distance of (n, 3) patient-LPS points to the surface, (n,) mm, negative inside."""
        p = np.ascontiguousarray(as_points(points))
        out = np.empty(len(p))
        _kernels.look_up(self.distances.values, self._ijk_from_lps, *self._box, p, out)
        return out

    @property
    def arrays(self) -> tuple[NDArray[np.float32], NDArray[np.float64], NDArray[np.float64],
                              NDArray[np.float64]]:  # fmt: skip
        """The arrays that kernels read: field, index from LPS, box with spacing, box end."""
        return self.distances.values, self._ijk_from_lps, *self._box  # type: ignore[return-value]


def distance_field_of_mask(mask: Volume, rim_mm: float = RIM_MM) -> DistanceField:
    """Signed distance to a mask's surface, never optimistic on smooth solids.

    Parameters
    ----------
    mask : Volume
        Boolean, on a grid with perpendicular axes; only its own box is looked at.
    rim_mm : float, mm
        How far around the solid the field reaches.

    Returns
    -------
    DistanceField
        On the mask's voxels, continued beyond the mask's grid where the rim needs it.

    Raises
    ------
    InputError
        If the mask is empty, or its grid is sheared (a tilted stack: resample it first).
    """
    if mask.grid.is_sheared:
        raise InputError(
            "distances need a grid with perpendicular axes: resample the tilted stack"
        )
    if not np.any(mask.values):
        raise InputError("the mask is empty: nothing to measure distances from")
    surface = surface_from_mask(mask)
    return _field_on(mask, surface, rim_mm)


def distance_field_of_surface(
    surface: TriangleSurface, pitch_mm: float = 0.5, rim_mm: float = RIM_MM
) -> DistanceField:
    """Signed distance to a closed surface, on a grid of its own.

    Parameters
    ----------
    surface : TriangleSurface
        Closed and outward.
    pitch_mm : float, mm
        Spacing of the grid; triangles are divided until their edges are under 1.5 mm.
    rim_mm : float, mm
        How far around the solid the field reaches.

    Returns
    -------
    DistanceField
        Along the patient axes.

    Raises
    ------
    InputError
        If the surface is not closed or is inside out.
    """
    if not surface.is_closed or surface.volume_mm3 <= 0:
        raise InputError("the surface must be closed with its triangles facing outwards")
    low, high = surface.vertices.min(axis=0), surface.vertices.max(axis=0)
    # nodes lie at whole steps: a solid and its mirror image are then measured alike
    first, last = np.floor(low / pitch_mm) - 1.0, np.ceil(high / pitch_mm) + 1.0
    shape = (last - first).astype(int) + 1
    matrix = np.diag([pitch_mm] * 3 + [1.0])
    matrix[:3, 3] = first * pitch_mm
    grid = Grid.from_matrix((int(shape[0]), int(shape[1]), int(shape[2])), matrix)
    return _field_on(mask_of_surface(surface, grid), divided(surface, 1.5), rim_mm)


def mask_of_surface(surface: TriangleSurface, grid: Grid) -> Volume:
    """Mark the voxel centres of a grid that lie inside a closed surface.

    Parameters
    ----------
    surface : TriangleSurface
        Closed.
    grid : Grid
        Where to look.

    Returns
    -------
    Volume
        Boolean.
    """
    corners = grid.lps_from_ijk.inverse.points(surface.vertices)
    # a hair aside, so that no voxel column runs exactly along an edge
    corners = corners + np.array([1.3e-7, 2.9e-7, 0.0])
    mask = np.zeros(grid.shape, dtype=np.bool_)
    _kernels.fill_columns(np.ascontiguousarray(corners[surface.triangles]), mask)
    return Volume(grid, mask)


def divided(surface: TriangleSurface, edge_mm: float) -> TriangleSurface:
    """The same surface with every triangle edge under ``edge_mm``."""
    from trimesh.remesh import subdivide_to_size

    edges = np.linalg.norm(np.diff(surface.corners[:, [0, 1, 2, 0]], axis=1), axis=2)
    if edges.max() <= edge_mm:
        return surface
    vertices, triangles = subdivide_to_size(surface.vertices, surface.triangles, edge_mm, 20)
    return TriangleSurface(vertices, triangles)


def _field_on(mask: Volume, surface: TriangleSurface, rim_mm: float) -> DistanceField:
    """Field on the mask's voxels around the surface, signed by the mask."""
    spacing = mask.grid.spacing_mm
    index = mask.grid.lps_from_ijk.inverse.points(surface.vertices)
    rim = np.ceil(rim_mm / spacing).astype(int)
    start = np.floor(index.min(axis=0)).astype(int) - rim
    stop = np.ceil(index.max(axis=0)).astype(int) + rim + 1
    grid = mask.grid.crop(start, stop)
    inside = np.zeros(grid.shape, dtype=np.bool_)
    low, high = np.maximum(start, 0), np.minimum(stop, mask.grid.shape)
    source = tuple(slice(a, b) for a, b in zip(low, high, strict=True))
    target = tuple(slice(a - s, b - s) for a, b, s in zip(low, high, start, strict=True))
    inside[target] = mask.values[source]
    local = index - start
    vertices = np.ascontiguousarray(local * spacing)
    stride = np.maximum(1, np.floor(_NODES_MM / spacing + 1e-6)).astype(np.int64)
    first, owned = _triangles_of_vertices(surface)
    # the corner after this one in each triangle: on a closed surface that names all neighbours
    ring = np.ascontiguousarray(surface.triangles[owned // 3, (owned % 3 + 1) % 3])
    nodes = tuple((n - 2) // int(s) + 2 for n, s in zip(grid.shape, stride, strict=True))
    nearest, distances = _nearest_vertices(vertices, first, ring, nodes, spacing * stride, rim_mm)
    corners = vertices[surface.triangles]
    # triangles come nearer than their corners by up to half an edge, squared, over 2 d
    half_edge = float(np.median(np.linalg.norm(corners[:, 0] - corners[:, 1], axis=1))) / 2.0
    steps = float(np.sum(np.where(stride > 1, spacing * stride, 0.0) ** 2))
    out = np.empty(grid.shape, dtype=np.float32)
    _kernels.measure_distances(
        vertices, corners, first, owned // 3, ring, nearest, distances, stride, spacing,
        _EXACT_WITHIN_MM, steps / 8.0 + half_edge**2 / 2.0, inside, out,
    )  # fmt: skip
    return DistanceField(Volume(grid, out), local.min(axis=0), local.max(axis=0))


def _nearest_vertices(
    vertices: NDArray[np.float64],
    first: NDArray[np.int64],
    ring: NDArray[np.int32],
    nodes: tuple[int, ...],
    step: NDArray[np.float64],
    rim_mm: float,
) -> tuple[NDArray[np.int32], NDArray[np.float32]]:
    """Nearest vertex of each node and its distance; beyond the rim from far nodes alone.

    An oblique solid's box is mostly corners beyond the rim: two thirds of a case's voxels.
    """

    def spread(
        nearest: NDArray[np.int32],
        distances: NDArray[np.float32],
        step: NDArray[np.float64],
        rounds: int,
    ) -> NDArray[np.int32]:
        _kernels.seed_nearest(vertices, step, nearest)
        _kernels.spread_nearest(vertices, step, nearest)
        for turn in range(rounds):
            before, nearest = nearest, np.empty_like(nearest)
            _kernels.polish_nearest(
                vertices, first, ring, step, turn > 0, before, nearest, distances
            )
        return nearest

    far_step = _FAR_NODES * step
    far = np.full(tuple((n - 2) // _FAR_NODES + 2 for n in nodes), -1, dtype=np.int32)
    far_distances = np.empty(far.shape, dtype=np.float32)
    spread(far, far_distances, far_step, 6)
    nearest = np.full(nodes, -1, dtype=np.int32)
    distances = np.empty(nearest.shape, dtype=np.float32)
    limit = max(rim_mm + float(np.linalg.norm(step)), 2.0 * float(np.linalg.norm(far_step)))
    _kernels.leave_out_far(far_distances, _FAR_NODES, step, limit, nearest, distances)
    return spread(nearest, distances, step, 3), distances


def _triangles_of_vertices(
    surface: TriangleSurface,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    flat = surface.triangles.reshape(-1)
    order = np.argsort(flat, kind="stable")
    first = np.searchsorted(flat[order], np.arange(len(surface.vertices) + 1))
    return first, order
