"""How near a moved body comes to an obstacle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vertebloc.space.fields import DistanceField, distance_field_of_surface
from vertebloc.space.surfaces import TriangleSurface
from vertebloc.way_out import _kernels
from vertebloc.way_out.model import Obstacle, Substance, WayOutSettings
from vertebloc.way_out.poses import inverse_moves
from vertebloc.way_out.samples import (
    PointTree,
    Samples,
    between_samples,
    point_tree,
    sample_surface,
    thinned,
)

#: Clearances are told apart up to this, mm; beyond it there is room in any case.
CLIP_MM = 8.0
#: And down to this: deeper in is as shut as can be.
FLOOR_MM = -14.0
_THIN_MM = 0.5  #: a thing that is hardly thicker than it may be pressed counts as thin
_MANY = 200  #: poses from which on threads bring more than they cost


@dataclass(frozen=True, slots=True, eq=False)
class Body:
    """What moves: the piece, or a part of it that stands for all its tilts."""

    samples: Samples
    tree: PointTree  #: all samples: for the closer look
    thin_tree: (
        PointTree  #: some of them: for maps, which a closer look checks or which bound above
    )
    field: DistanceField


def make_body(surface: TriangleSurface, settings: WayOutSettings) -> Body:
    """Prepare a moving body.

    Parameters
    ----------
    surface : TriangleSurface
        Closed; in the frame of travel, where it is at rest.
    settings : WayOutSettings
        How finely.

    Returns
    -------
    Body
        Its points and its own distance field.
    """
    samples = sample_surface(surface, settings.edge_mm)
    thin = thinned(samples.points, settings.thin_mm)
    return Body(samples, point_tree(samples.points), point_tree(thin), field_of(surface, settings))


def field_of(
    surface: TriangleSurface, settings: WayOutSettings, rim_mm: float = CLIP_MM + 1.0
) -> DistanceField:
    """Distance field of a solid as far as clearances are told apart.

    Parameters
    ----------
    surface : TriangleSurface
        Closed and outward.
    settings : WayOutSettings
        Knows the pitch.
    rim_mm : float, mm
        How far around it distances count.

    Returns
    -------
    DistanceField
        On a grid along the axes of travel.
    """
    return distance_field_of_surface(surface, settings.pitch_mm, rim_mm)


@dataclass(frozen=True, slots=True, eq=False)
class Gauge:
    """Measures one body against one obstacle."""

    field: DistanceField
    tree: PointTree
    piece_moves: bool  #: the body's points in the obstacle's field; else the other way round
    radius_mm: float
    cover_mm: float  #: of the points
    range_mm: tuple[float, float] = (FLOOR_MM, CLIP_MM)  #: what is told apart when it counts

    def measure(
        self,
        moves: NDArray[np.float64],
        tree: PointTree | None = None,
        range_mm: tuple[float, float] | None = None,
    ) -> NDArray[np.float32]:
        """Clearance at poses, as the points say; never less than the truth, but for the field.

        Parameters
        ----------
        moves : (n, 3, 4) float64
            Motions of the body from its rest.
        tree : PointTree or None
            Other points of the body, such as with something added to each.
        range_mm : tuple of float, mm, or None
            Told apart between these; None: what counts for the answer.

        Returns
        -------
        (n,) float32, mm
            Within that range.
        """
        floor, clip = self.range_mm if range_mm is None else range_mm
        values, index_from_mm, low, high = self.field.arrays
        used = moves if self.piece_moves else inverse_moves(moves)
        flat = index_from_mm[:3, :3] @ used
        flat[:, :, 3] += index_from_mm[:3, 3]
        points = tree or self.tree
        out = np.empty(len(used), dtype=np.float32)
        many = len(flat) > _MANY
        least = _kernels.least_distances_of_many if many else _kernels.least_distances
        least(
            values, low[:3], high, float(low[3]), points.points, points.balls,
            flat.reshape(-1, 12), clip + self.radius_mm, floor + self.radius_mm, out,
        )  # fmt: skip
        return np.asarray(out - np.float32(self.radius_mm))

    def at_least(
        self, measured: NDArray[np.float64], settings: WayOutSettings
    ) -> NDArray[np.float64]:
        """What the true clearance is at least.

        Parameters
        ----------
        measured : (n,) float64, mm
            From ``measure``.
        settings : WayOutSettings
            Knows the error of fields.

        Returns
        -------
        (n,) float64, mm
            Less what lies between sample points, and the field's error.
        """
        far = np.asarray(measured, dtype=np.float64) + self.radius_mm
        return between_samples(far, self.cover_mm) - self.radius_mm - settings.field_error_mm


def make_gauge(body: Body, obstacle: Obstacle, settings: WayOutSettings) -> Gauge:
    """Choose how a body is measured against an obstacle.

    Parameters
    ----------
    body : Body
        What moves.
    obstacle : Obstacle
        A surface is looked up with the body's points in its own field. Points of a line, and of a
        surface that is not much thicker than it may be pressed, are looked up in the body's
        field: thin things would not be in the way at all the other way round.
    settings : WayOutSettings
        How finely.

    Returns
    -------
    Gauge
        Ready to measure.
    """
    matters = matters_mm(obstacle.may_press_mm, settings)
    if obstacle.substance is Substance.CROWDED:
        matters = (FLOOR_MM, CLIP_MM)
    if obstacle.line is not None:
        return Gauge(
            body.field,
            point_tree(obstacle.line),
            False,
            obstacle.radius_mm,
            obstacle.cover_mm,
            matters,
        )
    assert obstacle.surface is not None
    field = field_of(obstacle.surface, settings, matters[1] + 1.0)
    deepest = -float(np.min(field.distances.values))
    if deepest > obstacle.may_press_mm + _THIN_MM:
        return Gauge(field, body.tree, True, 0.0, body.samples.cover_mm, matters)
    own = sample_surface(obstacle.surface, settings.edge_mm)
    return Gauge(body.field, point_tree(own.points), False, 0.0, own.cover_mm, matters)


def matters_mm(may_press_mm: float, settings: WayOutSettings) -> tuple[float, float]:
    """Clearances between which it is decided whether an obstacle shuts a pose.

    Parameters
    ----------
    may_press_mm : float, mm
        How far it may be pressed; negative: clearance that is demanded.
    settings : WayOutSettings
        Errors, by which obstacles are grown.

    Returns
    -------
    tuple of float, mm
        ``FLOOR_MM``, and where every judgement finds room.
    """
    errors = settings.contour_error_mm + settings.field_error_mm + settings.check_mm
    between = 2.0  # and cells of poses are told apart from it
    return FLOOR_MM, min(CLIP_MM, float(max(0.0, -may_press_mm) + errors + between + 0.5))
