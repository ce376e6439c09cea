"""The piece as one solid to print: discs within it filled in, what is still loose bridged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from vertebloc.anatomy.model import Vertebra
from vertebloc.resection.kinds import SAGITTAL_CUT
from vertebloc.resection.model import HalfCut, ResectionPlan
from vertebloc.space.frames import Side
from vertebloc.space.planes import Plane
from vertebloc.space.sections import Solid, solid_from_surface, surface_of_solid, trimmed, united
from vertebloc.space.surfaces import TriangleSurface

NOTHING_MM3 = 0.1  #: smaller bodies are a rounding error of the boolean library
CRUMB_MM3 = 20.0  #: loose bits of bone smaller than this are not printed (assumed)
BRIDGE_RADIUS_MM = 2.0  #: of the thinnest bridge: what a printer's material carries (assumed)
_REACH_MM = 2.0  #: a bridge springs from what faces the other part within the gap and this
_EVERY_MM = 2.0  #: corners on flat faces are made at least so dense
_BODY_CUT = 0.5  #: cosine to the vertebra's axis above which a cut runs across the body


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FilledPiece:
    """The piece with what holds it together when it is printed."""

    surface: TriangleSurface
    disc_ml: float  #: added: outlined discs between its cuts
    bridge_ml: float  #: added: bridges between parts that no outline joins; no anatomy
    left_out_ml: float  #: loose bits too small to print
    loose_parts: int  #: 1 prints as one


def filled_piece(
    plan: ResectionPlan,
    vertebra: Vertebra,
    discs: Sequence[TriangleSurface],
    sac: TriangleSurface | None,
) -> FilledPiece:
    """Fill the piece so that it prints as one solid part.

    Parameters
    ----------
    plan : ResectionPlan
        Holds the piece and its cuts.
    vertebra : Vertebra
        The diseased one.
    discs : sequence of TriangleSurface
        All outlined ones; a little outward, so that they overlap their endplates.
    sac : TriangleSurface or None
        Nothing is filled in there.

    Returns
    -------
    FilledPiece
        What is added lies between the cuts and outside of the sac.
    """
    piece = solid_from_surface(plan.piece)
    kept = without_crumbs(piece, CRUMB_MM3)
    spaces = _between_cuts(plan, vertebra)
    inside = [trimmed(solid_from_surface(disc), planes) for planes in spaces for disc in discs]
    filling = united([one for one in inside if not one.is_empty()])
    taken = solid_from_surface(sac) if sac is not None else manifold3d.Manifold()
    with_discs = without_crumbs(kept + (filling - taken), CRUMB_MM3)
    whole = bridged(with_discs, taken)
    return FilledPiece(
        surface=surface_of_solid(whole),
        disc_ml=(with_discs.volume() - kept.volume()) / 1000.0,
        bridge_ml=(whole.volume() - with_discs.volume()) / 1000.0,
        left_out_ml=max(0.0, piece.volume() - (piece ^ whole).volume()) / 1000.0,
        loose_parts=len(whole.decompose()),
    )


def _between_cuts(plan: ResectionPlan, vertebra: Vertebra) -> list[list[Plane]]:
    """By side, what bounds the bodies' part of the piece; none if no body is cut."""
    lps = vertebra.lps_from_vertebra
    up = lps.axis(2)

    def crosses(cut: HalfCut) -> bool:
        return abs(float(cut.plane.normal @ up)) > _BODY_CUT

    found = []
    for side in Side:
        planes = [cut.plane for cut in plan.cuts if cut.side is side and crosses(cut)]
        if len(planes) == 2:
            # halves overlap by a hair, as the piece's own do
            middle = Plane(lps.points([-0.02 * side.sign, 0, 0])[0], -side.sign * lps.axis(0))
            found.append([*planes, *_lengthwise(plan), middle])
    if len(found) == 1:  # half a body: bounded by its own cut lengthwise, not by the middle
        found[0].pop()
    return found


def _lengthwise(plan: ResectionPlan) -> list[Plane]:
    """The cut along half a body, if there is one."""
    return [cut.plane for cut in plan.cuts if cut.name == SAGITTAL_CUT]


def without_crumbs(solid: Solid, least_mm3: float) -> Solid:
    """A solid without its crumbs, and with its closed hollows filled.

    Parameters
    ----------
    solid : Solid
        Such as bones and discs that touch with small gaps between them.
    least_mm3 : float, mm3
        Smaller bodies are left out.

    Returns
    -------
    Solid
        Only its bodies of that volume or more.
    """
    parts = solid.decompose()  # a closed hollow is a part of its own, of negative volume
    return united([part for part in parts if part.volume() >= least_mm3])


def bridged(solid: Solid, taken: Solid) -> Solid:
    """Join loose bodies by the shortest bridges, each as wide as what faces the other body.

    Parameters
    ----------
    solid : Solid
        One or several bodies.
    taken : Solid
        Where no bridge may be; may be empty.

    Returns
    -------
    Solid
        One body, unless every bridge to one of them would run through what is taken.
    """
    solid = without_crumbs(solid, NOTHING_MM3)
    for _ in range(len(solid.decompose()) - 1):
        parts = sorted(solid.decompose(), key=lambda part: -float(part.volume()))
        if len(parts) < 2:
            break
        others = [_corners(part) for part in parts]
        trees = [cKDTree(corners) for corners in others]
        gaps = [
            (float(np.min(trees[n].query(others[m])[0])), n, m)
            for m in range(1, len(parts))
            for n in range(m)
        ]
        gap, n, m = min(gaps)
        bridge = _bridge(others[n], others[m], gap) ^ solid.hull()
        # where surfaces nearly touch, a union leaves bits that are no part to be bridged
        solid = without_crumbs(united([solid, bridge - taken]), NOTHING_MM3)
    return solid


def _corners(part: Solid) -> NDArray[np.float64]:
    mesh = part.refine_to_length(_EVERY_MM).to_mesh64()
    return np.asarray(mesh.vert_properties)[:, :3]


def _bridge(one: NDArray[np.float64], other: NDArray[np.float64], gap_mm: float) -> Solid:
    """What lies between the two faces that look at each other, at least a rod."""
    reach = gap_mm + _REACH_MM
    away, nearest = cKDTree(other).query(one)
    back, _ = cKDTree(one).query(other)
    closest = int(np.argmin(away))
    start, end = one[closest], other[np.asarray(nearest)[closest]]
    ball = manifold3d.Manifold.sphere(BRIDGE_RADIUS_MM, 24)
    rod = [_corners(ball.translate(tuple(map(float, at)))) for at in (start, end)]
    return manifold3d.Manifold.hull_points(
        np.concatenate([one[away < reach], other[back < reach], *rod])
    )
